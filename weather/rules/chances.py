"""Rain chances: for which period they were written, where rain falls inside, what stands in.

A service writes a chance for a period of 6 or 12 hours on every hour of it. For a working
window the highest counts; hours of one period are one event and are never multiplied.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from weather.rules.hours import HOUR, Hours, Series

# The US service's chance is for 0.01 inch in an official period of 12 hours (National
# Weather Service glossary, "PoP"); equal neighbours are written as one longer run.
LONGEST_PERIOD_H = 12.0

# A stand-in where a service states amounts only: our own choice, held on the careful side,
# in the spirit of published reliability (daily forecasts of rain come true about 6 times in
# 10 at one day, and about 1 dry forecast in 10 is wrong). Amount in mm over three hours.
AMOUNT_STEPS_MM = np.array([0.0, 0.05, 0.5, 2.0, 5.0])
CHANCE_STEPS_PCT = np.array([8.0, 30.0, 55.0, 70.0, 80.0])
# Share of 6-hour periods with rain, New York 2013, three airports: 0.14.
USUAL_PCT = 14.0
# How much of the statement is left by days of lead; 0 would be the usual chance alone.
LEFT_DAYS = np.array([0.0, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0])
LEFT = np.array([1.0, 0.95, 0.85, 0.72, 0.50, 0.33, 0.20])


@dataclass(frozen=True)
class Spell:
    """A time in which rain is likely enough to mention: "60 % between 14 and 20"."""

    start: datetime
    end: datetime
    chance_pct: float
    amount_mm: float
    window_h: float
    derived: bool


def period_h(run_h: Series) -> Series:
    """The period (h) a chance stands for when it is written as one run of `run_h` hours."""
    return np.clip(np.where(np.isnan(run_h), 1.0, run_h), 1.0, LONGEST_PERIOD_H)


def chance_from_amount_pct(*, rain_mm: Series, lead_h: Series) -> Series:
    """A stand-in chance for each hour, from what is forecast to fall within an hour of it.

    Rain seldom keeps to its hour, so the neighbours count. With lead it shrinks to the
    usual chance: ten days ahead "no rain" means little. Unknown where the amount is.
    """
    padded = np.pad(np.nan_to_num(rain_mm), 1)
    around_mm = padded[:-2] + padded[1:-1] + padded[2:]
    stated = np.interp(around_mm, AMOUNT_STEPS_MM, CHANCE_STEPS_PCT)
    left = np.interp(np.maximum(lead_h, 0) / 24, LEFT_DAYS, LEFT)
    chance = np.round(USUAL_PCT + left * (stated - USUAL_PCT))
    return np.where(np.isnan(rain_mm), np.nan, chance)


def with_derived_chances(hours: Hours, *, issued_at: datetime) -> Hours:
    """`hours` with a stand-in, marked as such, wherever an amount is known but no chance."""
    missing = np.isnan(hours.rain_chance_pct) & ~np.isnan(hours.rain_mm)
    if not missing.any():
        return hours
    first_h = (hours.start - issued_at) / HOUR
    lead_h = first_h + np.arange(len(hours), dtype=float)
    derived = chance_from_amount_pct(rain_mm=hours.rain_mm, lead_h=lead_h)
    return replace(
        hours,
        rain_chance_pct=np.where(missing, derived, hours.rain_chance_pct),
        chance_window_h=np.where(missing, 1.0, hours.chance_window_h),
        chance_derived=hours.chance_derived | missing,
    )


def spells(hours: Hours, *, least_pct: float = 15.0) -> list[Spell]:
    """The times with a chance of `least_pct` or more, narrowed to where the rain is put.

    Inside a period of several hours the amounts say where: hours at either end that are
    known to bring nothing are left out of the words, though their chance stays as written.
    """
    found = []
    for first, last in _runs(hours.rain_chance_pct, least_pct):
        low, high = _narrowed(hours.rain_mm, first, last, hours.chance_window_h)
        inside = slice(low, high)
        found.append(
            Spell(
                start=hours.hour(low),
                end=hours.hour(high),
                chance_pct=float(np.nanmax(hours.rain_chance_pct[first:last])),
                amount_mm=float(np.sum(hours.rain_mm[inside])),
                window_h=float(np.max(hours.chance_window_h[inside])),
                derived=bool(hours.chance_derived[inside].any()),
            )
        )
    return found


def _runs(chance_pct: Series, least_pct: float) -> Iterator[tuple[int, int]]:
    """Positions [first, last) of the runs that reach `least_pct`; unknown ends a run."""
    reached = np.concatenate([[False], np.nan_to_num(chance_pct, nan=-1.0) >= least_pct, [False]])
    edges = np.flatnonzero(reached[1:] != reached[:-1])
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def _narrowed(rain_mm: Series, first: int, last: int, window_h: Series) -> tuple[int, int]:
    wet = np.flatnonzero(rain_mm[first:last] > 0)
    unknown = np.isnan(rain_mm[first:last]).any()
    if not wet.size or unknown or (window_h[first:last] <= 1).all():
        return first, last
    return first + int(wet[0]), first + int(wet[-1]) + 1
