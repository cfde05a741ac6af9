"""Where two services' forecasts for the same hours part by so much that a person should know."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from weather.rules.hours import Hours, Series

# Set amounts, our choice: two issues of one service part by 10 to 17 points of rain chance
# (standard deviation, New York and Denver records), and a card's margin to dew is 3 °C.
CHANCE_POINTS = 30.0
AIR_C = 3.0


@dataclass(frozen=True)
class Apart:
    """Two values for one thing: the first service's, the second's, and the hour they are of."""

    first: float
    second: float
    at: datetime


@dataclass(frozen=True)
class Differences:
    """What two forecasts say differently; None where they agree or one of them is silent."""

    chance_pct: Apart | None
    air_c: Apart | None

    def __bool__(self) -> bool:
        return self.chance_pct is not None or self.air_c is not None


def differences(
    first: Hours,
    second: Hours,
    *,
    start: datetime,
    end: datetime,
    chance_points: float = CHANCE_POINTS,
    air_c: float = AIR_C,
) -> Differences:
    """Where `second` parts from `first` between `start` and `end`.

    Chances are compared by their highest, since services write them for other periods; air
    by the hour in which it is furthest apart. An hour only one of them knows is no difference.
    """
    mine, theirs = first.between(start, end), second.between(start, end)
    return Differences(
        chance_pct=_chances(mine, theirs, chance_points),
        air_c=_airs(mine, theirs, air_c),
    )


def _both(first: Series, second: Series) -> tuple[Series, Series]:
    """Both series with unknown wherever either is."""
    silent = np.isnan(first) | np.isnan(second)
    return np.where(silent, np.nan, first), np.where(silent, np.nan, second)


def _chances(first: Hours, second: Hours, points: float) -> Apart | None:
    mine, theirs = _both(first.rain_chance_pct, second.rain_chance_pct)
    if np.isnan(mine).all():
        return None
    high, other = float(np.nanmax(mine)), float(np.nanmax(theirs))
    if abs(high - other) < points:
        return None
    wetter = mine if high > other else theirs
    return Apart(high, other, first.hour(int(np.nanargmax(wetter))))


def _airs(first: Hours, second: Hours, most_c: float) -> Apart | None:
    mine, theirs = _both(first.air_c, second.air_c)
    if np.isnan(mine).all():
        return None
    position = int(np.nanargmax(np.abs(mine - theirs)))
    # Both are rounded when they are stored; 2.9996 apart is 3 apart.
    if abs(mine[position] - theirs[position]) < most_c - 0.001:
        return None
    return Apart(float(mine[position]), float(theirs[position]), first.hour(position))
