"""Chances counted from the members of an ensemble: in how many of them does it rain?

A member is one whole story of the days ahead, so "does it rain at some time in these six
hours" is asked of each member and the answers are counted. Nothing is multiplied over hours,
and the event is the one the other services write their chance for.
"""

from dataclasses import replace
from datetime import datetime

import numpy as np

from weather.rules.hours import HOUR, Hours, Members, Series, floor_hour

# 0.01 inch, the US service's event (National Weather Service glossary, "PoP").
WET_MM = 0.254
PERIOD_H = 6
# A share of fewer stories than this is too coarse to be called a chance; common practice.
FEWEST_MEMBERS = 10


def wet_share_pct(members_mm: Members, first: int, last: int, *, least_mm: float = WET_MM) -> float:
    """Share (%) of the members with `least_mm` or more between two positions; NaN if too few.

    A member that is silent in one of the hours does not count, neither as wet nor as dry.
    """
    told = members_mm[:, max(0, first) : max(0, last)]
    whole = told[~np.isnan(told).any(axis=1)] if told.shape[1] else told[:0]
    if len(whole) < FEWEST_MEMBERS:
        return float("nan")
    return float(100 * np.mean(whole.sum(axis=1) >= least_mm - 1e-9))


def wet_within_pct(
    hours: Hours | None, start: datetime, end: datetime, *, least_mm: float = WET_MM
) -> float:
    """Share (%) of the members of `hours` with `least_mm` or more in [`start`, `end`).

    Hours that the time only touches count whole. NaN without members for all of it.
    """
    if hours is None or hours.members_mm is None or end <= start:
        return float("nan")
    first, last = hours.index(start), hours.index(end)
    last += floor_hour(end) < end
    if first < 0 or last > len(hours):
        return float("nan")
    return wet_share_pct(hours.members_mm, first, last, least_mm=least_mm)


def member_chances(members_mm: Members, *, start: datetime) -> tuple[Series, Series]:
    """Chance (%) by the hour, and the period (h) it holds for: six hours of UTC, less at an end."""
    count = members_mm.shape[1]
    chances, windows = np.full(count, np.nan), np.ones(count)
    first = 0
    while first < count:
        last = min(count, first + PERIOD_H - (start + first * HOUR).hour % PERIOD_H)
        chances[first:last] = round(wet_share_pct(members_mm, first, last), 1)
        windows[first:last] = last - first
        first = last
    return chances, windows


def with_members(hours: Hours, members_mm: Members, *, start: datetime) -> Hours:
    """`hours` with members that begin at `start`, and chances counted from them where they tell."""
    chances, windows = member_chances(members_mm, start=start)
    told = Hours.unknown(start=start, count=members_mm.shape[1])
    told = replace(told, rain_chance_pct=chances, chance_window_h=windows, members_mm=members_mm)
    note = f"rain chance counted from {len(members_mm)} members of an ensemble"
    return replace(hours.over(told), notes=(*hours.notes, note))
