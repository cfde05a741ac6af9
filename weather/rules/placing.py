"""Where inside its period a chance of rain belongs, by amounts and by the service's words. Pure.

A chance is written for 6 or 12 hours and stands on every hour of them. Where the service says
of some of these hours that nothing falls, in its amounts and in its weather alike, the chance
belongs to the others. Nothing is multiplied or shared out: an hour keeps the whole chance or
takes the little that a service leaves unsaid.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from weather.rules.hours import HOUR, Hours, Series

# Below 15 % the US service writes no weather at all (National Weather Service Instruction
# 10-503, "expressions of uncertainty", from memory); in recorded grids every hour from 15 % on
# has its word. So an hour without a word may still hold this much, and is never zero.
UNSAID_PCT = 14.0


def placed(hours: Hours, *, says_wet: Series) -> Hours:
    """`hours` with each chance put on the hours of its period that may be wet.

    `says_wet` is 1 where the service names something that falls, 0 where it says that nothing
    does, NaN where it says nothing. An hour is lowered only if its amount is zero and its
    word is dry; what is not known stays where it was written. In every period the highest
    chance stays the one written: where all its hours are dry, the service contradicts itself
    and all keep it. What was written is kept in `chance_written_pct`.
    """
    written = hours.rain_chance_pct
    dry = (hours.rain_mm == 0) & (says_wet == 0) & ~(hours.snow_mm > 0)
    chance = written.copy()
    for first, last in periods(hours):
        inside = slice(first, last)
        if not dry[inside].all():
            low = np.minimum(written[inside], UNSAID_PCT)
            chance[inside] = np.where(dry[inside], low, written[inside])
    if np.array_equal(chance, written, equal_nan=True):
        return hours
    return replace(hours, rain_chance_pct=chance, chance_written_pct=written)


def periods(hours: Hours) -> Iterator[tuple[int, int]]:
    """Positions [first, last) of each period of more than an hour with a chance written for it.

    Neighbouring periods may carry the same chance, so a run of it is cut into whole periods.
    """
    position = 0
    while position < len(hours):
        first, last = period_of(hours, position)
        if last - first > 1:
            yield first, last
        position = last


def period_of(hours: Hours, position: int) -> tuple[int, int]:
    """The positions [first, last) of the period that holds the hour at `position`."""
    written, length = hours.written_pct, int(hours.chance_window_h[position])
    alone = position, position + 1
    if length <= 1 or np.isnan(written[position]) or hours.chance_derived[position]:
        return alone
    same = (hours.chance_window_h == length) & (written == written[position])
    first = position
    while first > 0 and same[first - 1]:
        first -= 1
    first += (position - first) // length * length
    last = first
    while last < len(hours) and same[last] and last - first < length:
        last += 1
    return first, last


def chance_period(hours: Hours | None, at: datetime) -> tuple[datetime, datetime]:
    """For which time the chance of the hour `at` holds: its period, or where it is put in it."""
    if hours is None or not 0 <= hours.index(at) < len(hours):
        return at, at + HOUR
    position = hours.index(at)
    first, last = period_of(hours, position)
    chance = hours.rain_chance_pct
    low = high = position
    while low > first and chance[low - 1] == chance[position]:
        low -= 1
    while high + 1 < last and chance[high + 1] == chance[position]:
        high += 1
    return hours.hour(low), hours.hour(high + 1)


def lowered(hours: Hours) -> NDArray[np.bool_]:
    """Hours whose chance was put elsewhere in its period."""
    less: NDArray[np.bool_] = hours.rain_chance_pct < hours.written_pct
    return less
