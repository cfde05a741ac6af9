"""Heaters: what equipment that stands in a room before or after the crew does to its slab.

The room is one body of air between the floor and its walls. What a heater gives, less what
the room loses, goes into the slab over days; burnt gas that is not led outside leaves its
water in the room. Sizes of a plain closed garage, common practice, unless another source
is named.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import isfinite

import numpy as np

from weather.rules.hours import HOUR, Hours, Series
from weather.rules.moist_air import dew_point_of_grains_c, grains_per_lb, humidity_pct

# Heat that walls, roof, door and leaks let go, per m² of floor and degree: 2 m² of shell at
# 2 W/m²K each, and one change of air an hour.
LOSS_W_M2K = 4.8
HEIGHT_M = 2.5
CHANGES_PER_H = 1.0
AIR_KG_M3 = 1.2
# Burnt propane leaves 0.98 US gallons of water for 100,000 Btu: constructionheatersinc.com,
# combustion moisture.
WATER_KG_PER_KWH = 0.98 * 3.785412 / (100_000 * 0.000293071)
MOST_KW, LEAST_M2 = 500.0, 1.0
FEWEST_FILM = 0.5


@dataclass(frozen=True)
class Heater:
    """Equipment that gives `power_kw` of heat to a floor of `floor_m2` from `start` to `end`.

    `vented`: electric, or fired with its fumes led outside. `most_c` is the thermostat.
    """

    power_kw: float
    floor_m2: float
    start: datetime
    end: datetime
    vented: bool = True
    most_c: float = 30.0

    def __post_init__(self) -> None:
        if not (isfinite(self.power_kw) and 0 < self.power_kw <= MOST_KW):
            raise ValueError(f"a heater gives above 0 and up to {MOST_KW:g} kW")
        if not (isfinite(self.floor_m2) and self.floor_m2 >= LEAST_M2):
            raise ValueError("a heated floor has an area of 1 m² at least")
        if self.end <= self.start:
            raise ValueError("a heater leaves after it has come")

    @property
    def water_grains(self) -> float:
        """Grains of water by lb of dry air that it adds to the room's air while it burns."""
        if self.vented:
            return 0.0
        burnt_kg_h = self.power_kw * WATER_KG_PER_KWH
        air_kg_h = self.floor_m2 * HEIGHT_M * CHANGES_PER_H * AIR_KG_M3
        return 7000 * burnt_kg_h / air_kg_h


def share_on(hours: Hours, heater: Heater) -> Series:
    """Share (0..1) of each hour for which the heater stands there."""
    begins = np.arange(len(hours), dtype=float)
    first, last = (heater.start - hours.start) / HOUR, (heater.end - hours.start) / HOUR
    share: Series = np.clip(np.minimum(begins + 1, last) - np.maximum(begins, first), 0, 1)
    return share


def heated(
    *,
    hours: Hours,
    drive_c: Series,
    film_w_m2k: Series,
    heaters: Sequence[Heater],
    door_share: Series,
) -> tuple[Series, Series]:
    """Drive (°C) and film (W/m²K) that a slab feels with these heaters in its room.

    The room's air is reckoned out of the balance of heater, loss and slab: what is left is
    the slab behind a weaker film, driven by the air as it would be without a floor. While the
    door stands open the heat goes out with it, so nothing is counted.
    """
    for heater in heaters:
        on = share_on(hours, heater) * (1 - door_share)
        heat_w_m2 = 1000 * heater.power_kw / heater.floor_m2
        warmest = np.maximum(drive_c, heater.most_c)
        drive = np.minimum(drive_c + heat_w_m2 / LOSS_W_M2K, warmest)
        film = film_w_m2k * LOSS_W_M2K / (film_w_m2k + LOSS_W_M2K)
        # Where the thermostat rules, the air itself is held and the film is its own.
        film = np.where(drive >= warmest, film_w_m2k, film)
        drive_c = drive_c + on * (drive - drive_c)
        mixed = film_w_m2k + on * (film - film_w_m2k)
        film_w_m2k = np.maximum(np.round(mixed / FEWEST_FILM) * FEWEST_FILM, FEWEST_FILM)
    return drive_c, film_w_m2k


def with_water(hours: Hours, heaters: Sequence[Heater]) -> Hours:
    """`hours` with the dew point that unvented heaters give the room; unknown stays unknown."""
    dew_c = hours.dew_c.copy()
    for heater in heaters:
        if heater.vented:
            continue
        added = heater.water_grains * share_on(hours, heater)
        wetter = dew_point_of_grains_c(grains=np.asarray(grains_per_lb(dew_c=dew_c)) + added)
        dew_c = np.where(added > 0, wetter, dew_c)
    damp = humidity_pct(air_c=np.maximum(hours.air_c, dew_c), dew_c=dew_c)
    return replace(
        hours,
        dew_c=dew_c,
        humidity_pct=np.where(dew_c > hours.dew_c, damp, hours.humidity_pct),
    )
