"""Screening: every crew, day and start of some months at once, by arrays of free stretches.

It says which few candidates are worth being laid out exactly, and why a day has none. What it
lets through is not yet an offer: the exact chain and the calendar have the last word.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dispatch.rules.free_time import NEVER, FreeTime, Minutes

QUARTER_MIN = 15
Money = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Asked:
    """The days that are asked about and what a crew meets on its way. Minutes since 1970.

    `opens` and `latest` have one entry a day, NEVER on a day that is closed. Starts lie
    `step_min` apart from `opens` on.
    """

    opens: Minutes
    latest: Minutes
    step_min: int
    road_min: Minutes  # from every point of the map to the site
    road_cost: float  # of a minute
    day_cost: Money  # waiting, wishes: by day
    fresh_day_cost: float  # of a crew that has no other work that day
    idle_cost: float  # of a minute that is left over of the crew's day
    later_cost: float  # of a minute that the crew could have begun sooner
    prices: Money  # days x crews: what the crew-day is worth to others


@dataclass(frozen=True, eq=False)
class Way:
    """One way to do the job: with so many people, in one visit or in two.

    `end` and `cost` are days x starts: when the first visit ends, NEVER where it cannot be,
    and what weather and measures cost.
    """

    people: int
    visits: int
    end: Minutes
    cost: Money
    second: "Return | None" = None
    lent: int = 0  # people of another crew among them


@dataclass(frozen=True, eq=False)
class Return:
    """The second visit by the day of the first: its day's number, start and end; else NEVER."""

    day: Minutes
    start: Minutes
    end: Minutes


@dataclass(frozen=True, eq=False)
class Candidates:
    """What passed, cheapest first; one row for each gap it fits in."""

    day: Minutes
    crew: Minutes
    start: Minutes
    way: Minutes
    cost: Money

    def __len__(self) -> int:
        return len(self.day)

    def of_day(self, day: int) -> list[int]:
        """Numbers of the rows of one day, cheapest first."""
        return [int(each) for each in np.flatnonzero(self.day == day)]

    def best_of_days(self) -> dict[int, int]:
        """Each day that has any with the row of its cheapest, cheapest day first."""
        days, first = np.unique(self.day, return_index=True)
        order = np.argsort(first)
        return {int(days[n]): int(first[n]) for n in order}


def screen(free: FreeTime, asked: Asked, ways: Sequence[Way]) -> Candidates:
    """Every gap that the job fits into, at its cheapest start, cheapest first."""
    found = [_of_way(free, asked, way, number) for number, way in enumerate(ways)]
    rows = [np.concatenate(column) for column in zip(*found, strict=True)] if found else []
    if not rows:
        nothing = np.empty(0, dtype=np.int64)
        return Candidates(nothing, nothing, nothing, nothing, np.empty(0))
    day, crew, start, way, cost = rows
    order = np.lexsort((crew, day, cost))
    return Candidates(day[order], crew[order], start[order], way[order], cost[order])


@dataclass(frozen=True, eq=False)
class _Gaps:
    """The gaps of one way as flat columns."""

    day: Minutes
    crew: Minutes
    start: Minutes
    end: Minutes
    road_in: Minutes
    road_out: Minutes
    fresh: Flags


def _gaps(free: FreeTime, asked: Asked, way: Way) -> _Gaps:
    days = len(asked.opens)
    with_hands = free.people[:days] + way.lent == way.people
    open_day = (asked.opens != NEVER)[:, None, None]
    begins, ends = free.start[:days], free.end[:days]
    reach = (ends > asked.opens[:, None, None]) & (begins < asked.latest[:, None, None])
    fits = (begins != NEVER) & with_hands[:, :, None] & open_day & reach
    flat = np.flatnonzero(fits)
    gaps = fits.shape[2]
    crew_day = flat // gaps
    crews = fits.shape[1]
    whole = (free.start[:days, :, 1] == NEVER).reshape(-1)
    start, end = begins.reshape(-1)[flat], ends.reshape(-1)[flat]
    return _Gaps(
        day=crew_day // crews,
        crew=crew_day % crews,
        start=start,
        end=end,
        road_in=asked.road_min[free.before[:days].reshape(-1)[flat]],
        road_out=asked.road_min[free.after[:days].reshape(-1)[flat]],
        fresh=whole[crew_day] & (free.before[:days].reshape(-1)[flat] == 0),
    )


def _of_way(
    free: FreeTime, asked: Asked, way: Way, number: int
) -> tuple[Minutes, Minutes, Minutes, Minutes, Money]:
    """Day, crew, start, number of the way and cost of every gap it fits into."""
    gaps = _gaps(free, asked, way)
    if way.second is not None:
        gaps = _with_return(gaps, free, asked, way.second)
    start, cost = _cheapest(gaps, asked, way)
    kept = np.flatnonzero(np.isfinite(cost))
    day, crew = gaps.day[kept], gaps.crew[kept]
    total = (
        cost[kept]
        + asked.day_cost[day]
        + asked.prices[day, crew]
        + asked.road_cost * (gaps.road_in + gaps.road_out)[kept]
        + asked.fresh_day_cost * gaps.fresh[kept]
    )
    return day, crew, start[kept], np.full(len(kept), number, dtype=np.int64), total


def _cheapest(gaps: _Gaps, asked: Asked, way: Way) -> tuple[Minutes, Money]:
    """The cheapest start in every gap with what the hour costs; inf where none fits.

    Three are tried: the cheapest of the day from the hour the crew can be there, the first one
    after that hour, and that hour itself where the crew comes from other work.
    """
    cost = _hour_costs(asked, way)
    opens = asked.opens[gaps.day]
    reached = np.maximum(gaps.start + gaps.road_in, opens)
    reached += -reached % QUARTER_MIN
    last = way.end.shape[1] - 1
    later = reached - opens
    on_grid = np.minimum(-(-later // asked.step_min), last)
    under = np.minimum(later // asked.step_min, last)
    best_cost = np.full(len(gaps.day), np.inf)
    best_start = np.full(len(gaps.day), NEVER, dtype=np.int64)

    def attempt(index: Minutes, rows: Minutes) -> None:
        """Keep the start where it fits and is cheaper than what was found before."""
        day, hour = gaps.day[rows], index[rows]
        at = asked.opens[day] + asked.step_min * hour
        start = np.maximum(at, reached[rows])
        end = way.end[day, hour] + (start - at)
        fits = (end <= asked.latest[day]) & (end + gaps.road_out[rows] <= gaps.end[rows])
        # Hours before the crew can be there are lost to nobody.
        price = cost[day, hour] - (asked.idle_cost + asked.later_cost) * later[rows]
        better = fits & (price < best_cost[rows])
        best_cost[rows[better]] = price[better]
        best_start[rows[better]] = start[better]

    attempt(_best_from(cost)[gaps.day, on_grid], np.arange(len(gaps.day)))
    attempt(on_grid, np.flatnonzero(np.isinf(best_cost)))
    attempt(under, np.flatnonzero(on_grid != under))
    return best_start, best_cost


def _hour_costs(asked: Asked, way: Way) -> Money:
    """Days x starts: what the hour itself costs, with the rest of the day; inf outside it."""
    latest = asked.latest[:, None]
    inside = (way.end != NEVER) & (way.end <= latest) & np.isfinite(way.cost)
    later = asked.step_min * np.arange(way.end.shape[1])[None, :]
    left_over = np.where(inside, latest - way.end + later, 0)
    hours = asked.idle_cost * left_over + asked.later_cost * later
    cost: Money = np.where(inside, way.cost + hours, np.inf)
    return cost


def _best_from(cost: Money) -> Minutes:
    """For each start of a day the number of the cheapest one at or after it."""
    best = np.empty(cost.shape, dtype=np.int64)
    last = cost.shape[1] - 1
    best[:, last] = last
    rows = np.arange(cost.shape[0])
    for start in range(last - 1, -1, -1):
        later = best[:, start + 1]
        best[:, start] = np.where(cost[:, start] <= cost[rows, later], start, later)
    return best


def _with_return(gaps: _Gaps, free: FreeTime, asked: Asked, second: Return) -> _Gaps:
    """Only gaps of crews that are free for the second visit of that day as well."""
    back = np.maximum(second.day, 0)
    home_min = int(asked.road_min[0])
    covers = (free.start[back] != NEVER) & (
        free.start[back] <= (second.start - home_min)[:, None, None]
    )
    covers &= free.end[back] >= (second.end + home_min)[:, None, None]
    possible = covers.any(axis=2) & (second.day != NEVER)[:, None]
    kept = possible[gaps.day, gaps.crew]
    return _Gaps(**{name: column[kept] for name, column in vars(gaps).items()})


def longest_free_min(free: FreeTime, asked: Asked) -> Minutes:
    """Days x crews: the longest free stretch (minutes) of a crew within the day's hours."""
    days = len(asked.opens)
    begins = np.maximum(free.start[:days], asked.opens[:, None, None])
    ends = np.minimum(free.end[:days], asked.latest[:, None, None])
    length = np.where(free.start[:days] == NEVER, 0, np.maximum(0, ends - begins))
    longest: Minutes = length.max(axis=2, initial=0)
    return longest
