"""A rough verdict for thousands of starts at once: which are worth judging exactly.

It looks at rain, at the spread over the dew point and at the slab's limits, and errs on neither
side on purpose. Nothing of it is ever shown: an offer carries the verdict of `judge` alone.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dispatch.rules.thresholds import Thresholds
from jobs.rules.cards import Card
from jobs.rules.many_starts import ManyPlans
from weather.rules.exposures import Exposure
from weather.rules.hours import Hours, Series, SlabHours

GO, CARE, UNKNOWN, NO = 0, 1, 2, 3
Levels = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class RoughFloor:
    """One floor as far as the rough look goes."""

    exposure: Exposure
    slab: SlabHours


class Tops:
    """The highest value of any stretch of a series, unknown hours left out (-inf if all are)."""

    def __init__(self, values: Series) -> None:
        rows = [np.nan_to_num(values, nan=-np.inf)]
        width = 1
        while 2 * width <= len(values):
            rows.append(np.maximum(rows[-1][:-width], rows[-1][width:]))
            width *= 2
        self._rows = rows
        self._count = len(values)

    def between(self, first: Levels, last: Levels) -> Series:
        """The highest of [first, last) for each pair; -inf where the stretch is empty."""
        first = np.clip(first, 0, self._count)
        last = np.clip(last, 0, self._count)
        length = last - first
        found = np.full(len(first), -np.inf)
        power = np.zeros(len(first), dtype=np.int64)
        some = length > 0
        power[some] = np.log2(length[some]).astype(np.int64)
        for exponent in np.unique(power[some]):
            here = some & (power == exponent)
            row = self._rows[exponent]
            found[here] = np.maximum(row[first[here]], row[last[here] - 2**exponent])
        return found


def rough_levels(
    plans: ManyPlans,
    *,
    floors: tuple[RoughFloor, ...],
    hours: Hours,
    card: Card,
    thresholds: Thresholds,
) -> tuple[Levels, Series]:
    """A rough level for each start, and the highest chance of rain (0 to 1) its floor may meet."""
    first, last = _hours_of(plans.pour_h), _hours_of(plans.rain_safe_h, up=True)
    lost = np.isnan(plans.rain_safe_h) | np.isnan(plans.pour_h)
    levels = np.zeros(len(first), dtype=np.int64)
    chance = np.zeros(len(first))
    for floor in floors:
        rain_level, wet = _rain(floor, hours, thresholds, first, last)
        spread = _spread(floor, hours, card, first, last)
        slab = _slab(plans, card)
        levels = np.maximum.reduce([levels, rain_level, spread, slab])
        chance = np.maximum(chance, wet)
    levels = np.where(lost & (levels < NO), UNKNOWN, levels)
    return levels, chance


def _hours_of(when_h: Series, *, up: bool = False) -> Levels:
    known = np.nan_to_num(when_h)
    whole: Levels = (np.ceil(known) if up else np.floor(known)).astype(np.int64)
    return whole


def _missing(values: Series, first: Levels, last: Levels) -> npt.NDArray[np.bool_]:
    """Whether any hour of a stretch is unknown or lies beyond the series."""
    gaps = np.concatenate(([0], np.cumsum(np.isnan(values))))
    count = len(values)
    begin, end = np.clip(first, 0, count), np.clip(last, 0, count)
    missing: npt.NDArray[np.bool_] = (last > count) | (gaps[end] > gaps[begin])
    return missing


def _rain(
    floor: RoughFloor, hours: Hours, thresholds: Thresholds, first: Levels, last: Levels
) -> tuple[Levels, Series]:
    if floor.exposure.enclosed:
        return np.zeros(len(first), dtype=np.int64), np.zeros(len(first))
    roofed = floor.exposure.roofed
    care = thresholds.roofed_care_pct if roofed else thresholds.rain_care_pct
    no = thresholds.roofed_no_pct if roofed else thresholds.rain_no_pct
    top = Tops(hours.rain_chance_pct).between(first, last)
    level = np.where(top >= no, NO, np.where(top >= care, CARE, GO))
    unknown = _missing(hours.rain_chance_pct, first, last)
    return np.where(unknown & (level < NO), UNKNOWN, level), np.clip(top, 0, 100) / 100


def _spread(floor: RoughFloor, hours: Hours, card: Card, first: Levels, last: Levels) -> Levels:
    count = min(len(hours.dew_c), len(floor.slab))
    spread = floor.slab.mid_c[:count] - hours.dew_c[:count]
    least = -Tops(-spread).between(first, last)
    level = np.where(least < card.spread_min_c, NO, np.where(least < card.spread_amber_c, CARE, GO))
    unknown = _missing(spread, first, last)
    found: Levels = np.where(unknown & (level < NO), UNKNOWN, level)
    return found


def _slab(plans: ManyPlans, card: Card) -> Levels:
    slab_c = plans.slab_c
    bad = (slab_c < card.slab_min_c) | (slab_c > card.slab_max_c)
    careful = (slab_c < card.slab_amber_below_c) | (slab_c > card.slab_amber_above_c)
    found: Levels = np.where(bad, NO, np.where(careful, CARE, GO))
    return np.where(np.isnan(slab_c) & (found < NO), UNKNOWN, found)
