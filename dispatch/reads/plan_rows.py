"""From a branch's floors to the column model of their plan."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from dispatch.models import MachineKind
from dispatch.reads.free_time import LATEST_RETURN_DAYS
from dispatch.reads.plan_columns import Columns, columns_of, joined
from dispatch.reads.plan_floors import PlanFloors
from dispatch.rules.free_time import NEVER
from dispatch.rules.granules import EPOCH
from dispatch.rules.planning.building import build
from dispatch.rules.planning.candidates import NOWHERE, Built, Candidates, Horizon, Pairs, no_pairs
from dispatch.rules.planning.model import DEAREST_CENTS, Flags, Floats, Ints
from dispatch.rules.planning.pairing import Clocked, Sharing, pairs_of
from dispatch.rules.travel import travel_min_to

UNPLANNED = 3000.0  # of a waiting floor that finds no day within the horizon
SPARE_FROM_DAYS = 3  # weeks that begin later than this keep one half day of each crew unsold
HALF_DAY_MIN = 300
KINDS = (MachineKind.GRINDER, MachineKind.GENERATOR)
Spot = tuple[int, int, int]  # numbers of a floor, a crew and a day
Two = frozenset[int]  # numbers of two floors


@dataclass(frozen=True, eq=False)
class PlanRows:
    """The floors of a plan and their column model; `columns` go with its candidates."""

    floors: PlanFloors
    columns: Columns
    built: Built
    apart: frozenset[Two] = frozenset()

    def start(self, column: int) -> datetime:
        """When the crew is on the floor."""
        return EPOCH + timedelta(minutes=int(self.columns.start[column]))

    def spot(self, column: int) -> Spot:
        """Floor, crew and day of a column."""
        of = self.columns
        return int(of.floor[column]), int(of.crew[column]), int(of.day[column])

    def without(self, refused: Collection[Spot], apart: Collection[Two]) -> "PlanRows":
        """The same without the places, and the shared days, that a close look refused."""
        spots = (self.spot(column) for column in range(len(self.columns)))
        kept = np.array([spot not in refused for spot in spots], dtype=bool)
        columns = self.columns.some(kept | self.columns.stays)
        return modelled(self.floors, columns, More(apart=frozenset(apart)))

    def as_it_is(self) -> Ints:
        """The plan that leaves every booking where it is, and waiting floors without a day."""
        here = np.flatnonzero(self.columns.stays)
        pairs = self.built.pairs
        both = np.flatnonzero(np.isin(pairs.first, here) & np.isin(pairs.second, here))
        shared = np.concatenate((pairs.first[both], pairs.second[both]))
        alone = here[~np.isin(here, shared)]
        out = np.setdiff1d(np.arange(self.built.floors), self.columns.floor[here])
        columns = [alone, len(self.columns) + both, self.built.column_unplanned(0) + out]
        return np.sort(np.concatenate(columns))


@dataclass(frozen=True)
class More:
    """What a plan is tried with besides: `crew` is the number of one that is there twice.

    Floors that are `apart` never share a crew-day.
    """

    crew: int | None = None
    grinders: int = 0
    apart: frozenset[Two] = frozenset()


def plan_rows(floors: PlanFloors) -> PlanRows:
    """The column model of these floors."""
    parts = [columns_of(floors, number) for number in range(len(floors.floors))]
    return modelled(floors, joined(parts))


def modelled(floors: PlanFloors, columns: Columns, more: More | None = None) -> PlanRows:
    """Columns as a model: with pairs, machines and what is kept unsold."""
    more = more or More()
    days = floors.days + LATEST_RETURN_DAYS
    candidates = _candidates(floors, columns, days)
    pairs = _apart(_pairs(floors, columns, candidates), columns, more.apart)
    horizon = _horizon(floors, columns, candidates, days, more)
    return PlanRows(floors, columns, build(candidates, pairs, horizon), more.apart)


def _apart(pairs: Pairs, columns: Columns, apart: Collection[Two]) -> Pairs:
    """Without the pairs of these floors; where two bookings share a day they go on doing so."""
    if not apart:
        return pairs
    floors = zip(
        columns.floor[pairs.first].tolist(), columns.floor[pairs.second].tolist(), strict=True
    )
    kept = np.array([frozenset(two) not in apart for two in floors], dtype=bool)
    kept |= columns.stays[pairs.first] & columns.stays[pairs.second]
    return Pairs(pairs.first[kept], pairs.second[kept], pairs.cost[kept])


def _candidates(floors: PlanFloors, columns: Columns, days: int) -> Candidates:
    slots = np.full((len(columns), 2), NOWHERE, dtype=np.int64)
    slots[:, 0] = columns.crew * days + columns.day
    back = (columns.second != NOWHERE) & (columns.second < days)
    slots[back, 1] = columns.crew[back] * days + columns.second[back]
    needs = np.array([each.job.site.needs_generator for each in floors.floors], dtype=bool)
    machines = np.full((len(columns), 2), NOWHERE, dtype=np.int64)
    machines[:, 0] = columns.day
    machines[:, 1] = np.where(needs[columns.floor], days + columns.day, NOWHERE)
    short = (columns.end - columns.start <= HALF_DAY_MIN) & ~back
    return Candidates(
        floor=columns.floor,
        crew=columns.crew,
        day=columns.day,
        cost=columns.cost,
        slots=slots,
        machine_days=machines,
        halves=np.where(short, 1, np.where(back, 4, 2)),
        rings=columns.rings,
    )


def _pairs(floors: PlanFloors, columns: Columns, candidates: Candidates) -> Pairs:
    """Two floors of a crew-day that nothing else stands on, and bookings that share one now."""
    points = [each.search.site for each in floors.floors]
    if not points or not len(columns):
        return no_pairs()
    screen = floors.floors[0].search.screen
    coordinates = np.array(points)
    roads = np.array([travel_min_to(coordinates, point) for point in points], dtype=np.float64)
    clocked = Clocked(
        start=columns.start,
        end=columns.end,
        latest=columns.latest,
        fixed=columns.stays,
        alone=columns.alone,
        place=columns.floor,
        open=_whole(floors, columns) | columns.stays,
    )
    asked = screen.asked
    sharing = Sharing(
        road_min=roads,
        road_cents=100 * asked.road_cost,
        fresh_cents=round(100 * asked.fresh_day_cost),
        idle_cents=100 * asked.idle_cost,
    )
    return pairs_of(candidates, clocked, sharing)


def _whole(floors: PlanFloors, columns: Columns) -> Flags:
    """Whether nothing that cannot move stands on the crew-day."""
    free = floors.calendar.free
    one = free.start[columns.day, columns.crew, 1] == NEVER
    whole: Flags = one & (free.before[columns.day, columns.crew, 0] == 0)
    return whole


def _horizon(
    floors: PlanFloors,
    columns: Columns,
    candidates: Candidates,
    days: int,
    more: More,
) -> Horizon:
    crews = len(floors.calendar.staff.crews)
    week = np.array([_week(floors, number) for number in range(days)], dtype=np.int64)
    booked = [each.standing is not None for each in floors.floors]
    here = columns.stays
    capacity = np.ones((crews, days))
    if more.crew is not None:
        capacity[more.crew] += 1
    return Horizon(
        crews=crews,
        days=days,
        capacity=capacity.ravel(),
        machines=_machines(floors, candidates, here, days, more),
        week=week,
        halves=_halves(floors, candidates, here, week, crews),
        # A booking can always stay, so leaving it out is never the answer.
        unplanned=np.where(booked, DEAREST_CENTS - 1, round(100 * UNPLANNED)).astype(np.int64),
        unplanned_rings=np.array(booked, dtype=bool),
    )


def _week(floors: PlanFloors, number: int) -> int:
    """Weeks from Monday to Sunday, counted from the one of today."""
    return (floors.first_day.weekday() + number) // 7


def _machines(
    floors: PlanFloors, candidates: Candidates, here: Flags, days: int, more: More
) -> Floats:
    """How many of each kind are there each day; never fewer than bookings have now."""
    staff = floors.calendar.staff
    count = np.zeros((len(KINDS), days))
    for kind, name in enumerate(KINDS):
        several = staff.of_kind(name)
        for number, day in enumerate(floors.calendar.days[:days]):
            span = (
                floors.branch.at(day, floors.branch.day_starts),
                floors.branch.at(day, floors.branch.day_ends),
            )
            count[kind, number] = sum(staff.free([each.resource_id], *span) for each in several)
    count[0] += more.grinders
    flat = count.ravel()
    used = candidates.machine_days[here]
    return np.maximum(flat, np.bincount(used[used >= 0], minlength=len(flat)))


def _halves(
    floors: PlanFloors, candidates: Candidates, here: Flags, week: Ints, crews: int
) -> Floats:
    """Half days of each crew and week that may be sold: all but one of a week further on."""
    weeks = int(week.max(initial=0)) + 1
    open_days = np.array([each.weekday() in floors.branch.weekdays for each in _days(floors, week)])
    free = floors.calendar.free.people[: len(week)] >= 2
    halves = np.zeros((crews, weeks))
    for number in range(len(week)):
        halves[:, week[number]] += 2 * (open_days[number] & free[number])
    begins = 7 * np.arange(weeks) - floors.first_day.weekday()
    kept = (begins > SPARE_FROM_DAYS) & (halves > 2)
    sold = np.zeros((crews, weeks))
    crew, day = candidates.crew[here], candidates.day[here]
    np.add.at(sold, (crew, week[day]), candidates.halves[here])
    return np.maximum(halves - kept, sold)


def _days(floors: PlanFloors, week: Ints) -> list[date]:
    return floors.calendar.days[: len(week)]
