"""What makes the hours of any service usable: ranges, dew point, stand-in chances. Pure."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np

from weather.answers import BadAnswer
from weather.rules.chances import with_derived_chances
from weather.rules.hours import HOUR, LAYERS, Hours
from weather.rules.moist_air import dew_point_c, humidity_pct

# Beyond these a value is a mistake of the service, not weather. The coldest and hottest air
# measured in the United States: -62 °C and 57 °C (NOAA, state climate extremes).
RANGES = {
    "air_c": (-65.0, 58.0),
    "dew_c": (-80.0, 36.0),
    "humidity_pct": (0.0, 100.0),
    "rain_chance_pct": (0.0, 100.0),
    "rain_mm": (0.0, 500.0),
    "snow_mm": (0.0, 500.0),
    "wind_kmh": (0.0, 430.0),
    "gust_kmh": (0.0, 430.0),
    "cloud_pct": (0.0, 100.0),
}
MOST_HOURS = 400
LONGEST_LEAD = timedelta(days=16)
# A clock may run ahead a little; an issue from tomorrow would stay the newest for ever.
MOST_AHEAD = timedelta(hours=2)
# A service that is wrong about one hour in five is not believed about the other four.
MOST_BAD_SHARE = 0.2
DEW_OVER_AIR_C = 0.5  # rounding of both to whole °F can put dew this far above the air


def usable(hours: Hours) -> Hours:
    """`hours` with every impossible value made unknown and what follows from others filled in.

    Refuses an answer without any air temperature, one that reaches too far, and one in
    which more than a fifth of the hours are impossible.
    """
    if hours.issued_at is None:
        raise BadAnswer("the answer does not say when it was issued")
    if len(hours) > MOST_HOURS or hours.end > hours.issued_at + LONGEST_LEAD:
        raise BadAnswer(f"the answer speaks of {len(hours)} hours, to {hours.end:%Y-%m-%d}")
    if hours.fetched_at is not None and hours.issued_at > hours.fetched_at + MOST_AHEAD:
        raise BadAnswer(f"the answer was issued in the future, {hours.issued_at:%Y-%m-%d %H:%M}")
    known, bad = _in_range(hours)
    if np.isnan(known.air_c).all():
        raise BadAnswer("the answer holds no air temperature")
    if bad > MOST_BAD_SHARE * len(known):
        raise BadAnswer(f"{bad} of {len(known)} hours hold impossible values")
    filled = _with_moisture(_within_air(known))
    if bad:
        filled = replace(filled, notes=(*filled.notes, f"{bad} hours with impossible values"))
    return with_derived_chances(filled, issued_at=hours.issued_at)


def _in_range(hours: Hours) -> tuple[Hours, int]:
    """Impossible values as unknown, and in how many hours there were any."""
    bad = np.zeros(len(hours), dtype=bool)
    kept: dict[str, Any] = {}
    for name in LAYERS:
        values = getattr(hours, name)
        low, high = RANGES[name]
        wrong = (values < low) | (values > high)
        bad |= wrong
        kept[name] = np.where(wrong, np.nan, values)
    above = kept["dew_c"] > kept["air_c"] + DEW_OVER_AIR_C
    bad |= above
    # Which of the two is wrong cannot be told, and both feed the dew-point spread.
    kept["dew_c"] = np.where(above, np.nan, np.fmin(kept["dew_c"], kept["air_c"]))
    kept["dew_c"] = np.where(np.isnan(hours.dew_c), np.nan, kept["dew_c"])
    kept["air_c"] = np.where(above, np.nan, kept["air_c"])
    kept["humidity_pct"] = np.where(above, np.nan, kept["humidity_pct"])
    return replace(hours, **kept), int(bad.sum())


def _within_air(hours: Hours) -> Hours:
    """The hours from the first to the last with an air temperature.

    Past its horizon a service has been seen to go on with rain of zero, which is no forecast.
    """
    known = np.flatnonzero(~np.isnan(hours.air_c))
    first, last = int(known[0]), int(known[-1]) + 1
    start = hours.start + first * HOUR
    return Hours.unknown(start=start, count=last - first).over(hours, keep_stamps=True)


def _with_moisture(hours: Hours) -> Hours:
    """Dew point and humidity, each from the other where only one is stated."""
    no_dew = np.isnan(hours.dew_c)
    no_humidity = np.isnan(hours.humidity_pct)
    if not (no_dew.any() or no_humidity.any()):
        return hours
    dew = dew_point_c(air_c=hours.air_c, humidity_pct=hours.humidity_pct)
    humidity = humidity_pct(air_c=hours.air_c, dew_c=hours.dew_c)
    notes = hours.notes
    if (no_dew & ~np.isnan(dew)).any():
        notes = (*notes, "dew point computed from humidity")
    return replace(
        hours,
        dew_c=np.where(no_dew, dew, hours.dew_c),
        humidity_pct=np.where(no_humidity, humidity, hours.humidity_pct),
        notes=notes,
    )
