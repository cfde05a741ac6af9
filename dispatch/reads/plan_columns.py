"""The columns of one floor of a plan: every crew and day it could have, and the place it has."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from dispatch.reads.offer_screen import NO_COST, Screen
from dispatch.reads.plan_floors import PlanFloor, PlanFloors, Standing
from dispatch.rules.free_time import NEVER
from dispatch.rules.granules import EPOCH
from dispatch.rules.planning.candidates import NOWHERE
from dispatch.rules.planning.model import DEAREST_CENTS, Flags, Floats, Ints
from dispatch.rules.planning.moving import OTHER_CREW, move_price
from dispatch.rules.screening import Way

CANNOT_STAY = 3000.0  # of a booking whose crew cannot do it where it stands
ARRIVAL_MIN = 60  # a customer who knows the day need not hear of a smaller shift
TEAM = 2


@dataclass(frozen=True, eq=False)
class Columns:
    """One line each: where and when a floor would be, what it costs and whether anybody is rung.

    `cost` is everything (cents); `alone` is the part of it that falls away where the crew has
    another floor that day, `moving` the price of telling the customer. Minutes count from 1970.
    `stays` is the booking as it stands.
    """

    floor: Ints
    crew: Ints
    day: Ints
    second: Ints  # day of the second visit, or NOWHERE
    start: Ints
    end: Ints  # of the first visit
    latest: Ints
    cost: Ints
    alone: Ints
    moving: Ints
    rings: Flags
    stays: Flags

    def __len__(self) -> int:
        return len(self.floor)

    def some(self, which: Flags) -> "Columns":
        """Those that are marked."""
        return Columns(**{name: values[which] for name, values in vars(self).items()})


def joined(parts: list[Columns]) -> Columns:
    """All of them, one floor after the other."""
    flags = {"rings", "stays"}
    return Columns(
        **{
            name: np.concatenate(
                [
                    np.zeros(0, dtype=np.bool_ if name in flags else np.int64),
                    *(getattr(each, name) for each in parts),
                ]
            )
            for name in Columns.__dataclass_fields__
        }
    )


def columns_of(floors: PlanFloors, number: int) -> Columns:
    """Every crew and day of one floor within the horizon; a booking's own place among them."""
    floor = floors.floors[number]
    screen = floor.search.screen
    found = _screened(screen, number, floors.days)
    if floor.standing is None:
        return found
    here = _place_of(floors, floor.standing)
    other = ~((found.crew == here[0]) & (found.day == here[1]))
    moved = _as_moves(floors, floor.standing, found.some(other))
    return joined([moved, _staying(floors, number, floor, floor.standing)])


def _screened(screen: Screen, number: int, days: int) -> Columns:
    """The cheapest start of each crew and day that passed the rough look."""
    rows = screen.candidates
    alone = np.array([not way.lent for way in screen.ways], dtype=bool)
    may = (rows.cost < NO_COST) & (rows.day < days)
    may &= alone[rows.way] if len(alone) else False
    at = np.flatnonzero(may)
    _, first = np.unique(rows.crew[at] * days + rows.day[at], return_index=True)
    at = at[first]
    day, crew, start, way = rows.day[at], rows.crew[at], rows.start[at], rows.way[at]
    end, second = np.zeros(len(at), dtype=np.int64), np.full(len(at), NOWHERE, dtype=np.int64)
    for n, each in enumerate(screen.ways):
        here = way == n
        end[here] = _ends(screen, each, day[here], start[here])
        if each.second is not None:
            second[here] = each.second.day[day[here]]
    latest = screen.asked.latest[day]
    none = np.zeros(len(at), dtype=np.int64)
    return Columns(
        floor=np.full(len(at), number, dtype=np.int64),
        crew=crew,
        day=day,
        second=second,
        start=start,
        end=end,
        latest=latest,
        cost=_cents(rows.cost[at]),
        alone=_alone(screen, day, crew, end),
        moving=none,
        rings=none.astype(bool),
        stays=none.astype(bool),
    )


def _ends(screen: Screen, way: Way, day: Ints, start: Ints) -> Ints:
    asked = screen.asked
    step = np.clip((start - asked.opens[day]) // asked.step_min, 0, way.end.shape[1] - 1)
    ends: Ints = way.end[day, step] + start - (asked.opens[day] + asked.step_min * step)
    return ends


def _alone(screen: Screen, day: Ints, crew: Ints, end: Ints) -> Ints:
    """What a floor pays for a crew's day of its own: the day, one road home, the hours left."""
    asked = screen.asked
    home = asked.road_cost * float(asked.road_min[0])
    left = np.maximum(0, asked.latest[day] - end)
    return _cents(asked.fresh_day_cost + home + asked.idle_cost * left)


def _as_moves(floors: PlanFloors, standing: Standing, found: Columns) -> Columns:
    """The same columns with what it means for a customer who has a day already."""
    old = standing.days(floors.branch)[0]
    days = floors.calendar.days
    told = np.array([standing.told(old, each) for each in days[: floors.days]], dtype=bool)
    rings = told[found.day]
    number = (old - floors.first_day).days
    # Whoever knows the day knows the hour too.
    if told.any() and not told[min(number, floors.days - 1)]:
        shift = np.abs(found.start - _minute(standing.start))
        confirmed = standing.booking.confirmed_at is not None
        rings = rings | (confirmed & (found.day == number) & (shift > ARRIVAL_MIN))
    price = float(
        move_price(
            (old - floors.branch.today(floors.now)).days,
            moves=standing.booking.moves,
            short_notice=standing.booking.job.can_come_soon,
        )[0]
    )
    moving = _cents(np.where(rings, price, OTHER_CREW))
    values = {**vars(found), "cost": found.cost + moving, "moving": moving, "rings": rings}
    return Columns(**values)


def _place_of(floors: PlanFloors, standing: Standing) -> tuple[int, int]:
    """Number of its crew and of its first day."""
    crews = [crew.pk for crew in floors.calendar.staff.crews]
    day = standing.days(floors.branch)[0]
    return crews.index(standing.crew_id), (day - floors.first_day).days


def _staying(floors: PlanFloors, number: int, floor: PlanFloor, standing: Standing) -> Columns:
    """The booking as it stands, at what it costs there on the newest forecast."""
    crew, day = _place_of(floors, standing)
    days = standing.days(floors.branch)
    second = (days[1] - floors.first_day).days if len(days) > 1 else NOWHERE
    dollars = stay_cost(floors, floor, standing)
    end = _minute(standing.stints[0].end)
    screen = floor.search.screen
    known = bool(screen.asked.latest[day] != NEVER)
    latest = max(end, int(screen.asked.latest[day]) if known else end)

    def one(value: int) -> Ints:
        return np.array([value], dtype=np.int64)

    alone = _alone(screen, one(day), one(crew), one(end)) if known else one(0)
    return Columns(
        floor=one(number),
        crew=one(crew),
        day=one(day),
        second=one(second),
        start=one(_minute(standing.start)),
        end=one(end),
        latest=one(latest),
        cost=_cents(np.array([dollars])),
        alone=alone,
        moving=one(0),
        rings=one(0).astype(bool),
        stays=one(1).astype(bool),
    )


def stay_cost(floors: PlanFloors, floor: PlanFloor, standing: Standing) -> float:
    """What leaving a booking where it stands costs (the branch's money).

    It stays possible whatever the forecast says: a bad day costs the loss of the floor, and a
    crew that cannot come as much as a floor without a day.
    """
    if not can_stay(floors, standing):
        return CANNOT_STAY
    screen = floor.search.screen
    day = (standing.days(floors.branch)[0] - floors.first_day).days
    asked = screen.asked
    loss = floor.search.costs.loss(float(floor.job.price or 0))
    road = 2 * asked.road_cost * float(asked.road_min[0])
    end = _minute(standing.stints[0].end)
    left = max(0.0, float(asked.latest[day] - end)) if asked.latest[day] != NEVER else 0.0
    people = max(TEAM, len(standing.stints[0].installers.all()))
    weather = _weather(screen, people, len(standing.stints), day, _minute(standing.start))
    if weather is None:
        return min(CANNOT_STAY, loss)
    return float(
        (loss if weather >= NO_COST else weather)
        + asked.day_cost[day]
        + road
        + asked.fresh_day_cost
        + asked.idle_cost * left
    )


def _weather(screen: Screen, people: int, visits: int, day: int, start: int) -> float | None:
    """What weather and measures cost at the nearest hour; None where no way is like it."""
    asked = screen.asked
    for way in screen.ways:
        if way.lent or way.people != people or way.visits != visits:
            continue
        step = int(np.clip((start - asked.opens[day]) // asked.step_min, 0, way.end.shape[1] - 1))
        cost = float(way.cost[day, step])
        return cost if np.isfinite(cost) else None
    return None


def can_stay(floors: PlanFloors, standing: Standing) -> bool:
    """Whether crew, people and machines of every visit can still be there."""
    staff = floors.calendar.staff
    crews = {crew.pk: crew for crew in staff.crews}
    for stint in standing.stints:
        span = stint.start, stint.end
        people = [each.resource_id for each in stint.installers.all()]
        there = [each for each in people if staff.free([each], *span)]
        machines = [each.resource_id for each in stint.machines.all()]
        crew = crews[stint.crew_id]
        lost = [each for each in stint.machines.all() if not each.active]
        if lost or len(there) < TEAM or not staff.free([crew.resource_id, *machines], *span):
            return False
    return True


def _cents(dollars: Floats) -> Ints:
    found: Ints = np.rint(np.minimum(100 * dollars, DEAREST_CENTS - 1)).astype(np.int64)
    return found


def _minute(instant: datetime) -> int:
    return int((instant - EPOCH) / timedelta(minutes=1))
