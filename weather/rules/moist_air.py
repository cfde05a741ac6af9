"""Moisture in air: vapour pressure, dew point, wet bulb, water content. °C, Pa, %.

Everything here is over liquid water, below freezing too. Below 0 °C some tables and
libraries switch to the frost point, which lies up to about 2 °C higher: a spread mixed
from the two kinds would be wrong without looking wrong.

Numbers may be single or whole series. Unknown (NaN) goes in and comes out. A single value
outside physics is refused; inside a series it becomes unknown, so that one bad hour of a
forecast does not take the other hours with it.
"""

from typing import Any, TypeVar

import numpy as np

from weather.rules.hours import Series

Value = TypeVar("Value", float, Series)

# Magnus form over liquid water. WMO-No. 8, Guide to Instruments and Methods of Observation,
# annex 4.B: coefficients and range.
MAGNUS_PA = 611.2
MAGNUS_FACTOR = 17.62
MAGNUS_C = 243.12
LOWEST_C, HIGHEST_C = -45.0, 60.0

# Psychrometer coefficient over water, same annex: 6.53e-4 (1 + 0.000944 t') per kelvin.
PSYCHROMETER_PER_K = 6.53e-4
PSYCHROMETER_GROWTH_PER_K = 0.000944

SEA_LEVEL_PA = 101_325.0
VAPOUR_TO_AIR_MASS = 0.622  # ratio of the molar masses of water and dry air
GRAINS_PER_LB = 7000.0


def saturation_vapour_pressure_pa(air_c: Value) -> Value:
    """Vapour pressure (Pa) of air saturated over liquid water at `air_c` (°C)."""
    return _alike(air_c, _saturation_pa(_temperature(air_c)))


def dew_point_c(*, air_c: Value, humidity_pct: Value) -> Value:
    """Temperature (°C) to which air must cool, at constant pressure, for dew to form.

    `humidity_pct` is relative humidity over liquid water: above 0, up to 100. Below 0 °C
    the answer is still the dew point over (supercooled) liquid, not the frost point.
    """
    vapour_pa = _saturation_pa(_temperature(air_c)) * _humidity(humidity_pct) / 100
    exponent = np.log(vapour_pa / MAGNUS_PA)
    return _alike(air_c, MAGNUS_C * exponent / (MAGNUS_FACTOR - exponent))


def humidity_pct(*, air_c: Value, dew_c: Value) -> Value:
    """Relative humidity (%) of air at `air_c` with dew point `dew_c`, both over liquid.

    A dew point above the air is refused by more than rounding (0.1 °C) and read as 100 %
    within it.
    """
    air, dew = _temperature(air_c), _temperature(dew_c)
    dew = _inside(dew, -np.inf, air + 0.1, "°C as dew point is above the air temperature")
    ratio = _saturation_pa(np.minimum(dew, air)) / _saturation_pa(air)
    return _alike(air_c, 100 * ratio)


def wet_bulb_c(*, air_c: Value, humidity_pct: Value, pressure_pa: float = SEA_LEVEL_PA) -> Value:
    """Temperature (°C) of a ventilated wet thermometer: the psychrometer equation solved.

    Over liquid water below freezing too, so it is meant for air above 0 °C.
    """
    air = _temperature(air_c)
    vapour_pa = _saturation_pa(air) * _humidity(humidity_pct) / 100
    low, high = np.minimum(air, air - 60.0), air
    for _ in range(32):  # halving 60 K 32 times leaves far less than any thermometer shows
        wet = (low + high) / 2
        factor = PSYCHROMETER_PER_K * (1 + PSYCHROMETER_GROWTH_PER_K * wet)
        too_warm = _saturation_pa(wet) - factor * pressure_pa * (air - wet) > vapour_pa
        low, high = np.where(too_warm, low, wet), np.where(too_warm, wet, high)
    return _alike(air_c, (low + high) / 2 + 0 * vapour_pa)


def grains_per_lb(*, dew_c: Value, pressure_pa: float = SEA_LEVEL_PA) -> Value:
    """Grains of water vapour in a pound of dry air at that dew point."""
    vapour_pa = _saturation_pa(_temperature(dew_c))
    return _alike(dew_c, GRAINS_PER_LB * VAPOUR_TO_AIR_MASS * vapour_pa / (pressure_pa - vapour_pa))


def dew_point_of_grains_c(*, grains: Value, pressure_pa: float = SEA_LEVEL_PA) -> Value:
    """Dew point (°C) of air that holds so many grains of water: the inverse of `grains_per_lb`."""
    held = _inside(grains, np.nextafter(0.0, 1.0), np.inf, "grains of water are not above 0")
    ratio = held / GRAINS_PER_LB
    exponent = np.log(pressure_pa * ratio / (VAPOUR_TO_AIR_MASS + ratio) / MAGNUS_PA)
    return _alike(grains, MAGNUS_C * exponent / (MAGNUS_FACTOR - exponent))


def spread_c(*, slab_c: Value, dew_c: Value) -> Value:
    """By how much (°C) the slab is above the dew point; below zero it is getting wet.

    A difference: converted to °F it takes the factor 1.8 and no offset.
    """
    return _alike(slab_c, np.asarray(slab_c, dtype=float) - np.asarray(dew_c, dtype=float))


def _saturation_pa(air: Any) -> Any:
    return MAGNUS_PA * np.exp(MAGNUS_FACTOR * air / (MAGNUS_C + air))


def _temperature(given: Any) -> Any:
    return _inside(given, LOWEST_C, HIGHEST_C, f"°C is outside {LOWEST_C:g}..{HIGHEST_C:g} °C")


def _humidity(given: Any) -> Any:
    lowest = np.nextafter(0.0, 1.0)
    return _inside(given, lowest, 100.0, "% relative humidity is not above 0 and up to 100 %")


def _inside(given: Any, low: Any, high: Any, trouble: str) -> Any:
    """`given` as an array, unknown where it is outside; a single value outside is refused."""
    values = np.asarray(given, dtype=float)
    outside = (values < low) | (values > high)
    if values.ndim == 0 and outside.any():
        raise ValueError(f"{float(values):g} {trouble}")
    return np.where(outside, np.nan, values)


def _alike(given: Value, answer: Any) -> Value:
    """`answer` as a plain number if `given` was one, else as a series."""
    if isinstance(given, np.ndarray):
        return np.asarray(answer, dtype=float)
    return float(answer)
