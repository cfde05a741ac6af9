"""The floors of a plan: those that wait, and those whose booking may move."""

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from dispatch.models import Booking, BookingState, PromiseLevel, Stint, StintState
from dispatch.reads.free_time import GRAIN_MIN, Prepared, prepared, renewed
from dispatch.reads.plan_search import PlanSearch
from dispatch.reads.staffing import Staffing, Taken
from dispatch.rules.granules import granules
from jobs.models import Branch, Job

MOST_A_DAY = 2  # floors of one crew that a plan looks at; a fuller day stays as it is
DAYS = 28


@dataclass(frozen=True)
class Away:
    """Somebody or something that a plan does without: who is ill, what is broken."""

    resource_id: int
    start: datetime
    end: datetime


@dataclass(frozen=True, eq=False)
class Standing:
    """A booking as it stands, as far as a plan may change it."""

    booking: Booking
    stints: tuple[Stint, ...]

    @property
    def start(self) -> datetime:
        """When its first visit begins."""
        return self.stints[0].start

    @property
    def crew_id(self) -> int:
        """The crew of all its visits."""
        return self.stints[0].crew_id

    def days(self, branch: Branch) -> list[date]:
        """The day of each visit."""
        return [stint.start.astimezone(branch.tz).date() for stint in self.stints]

    def told(self, day: date, new: date) -> bool:
        """Whether the customer was told something else than `new`: a day, or only its week."""
        if self.booking.promise == PromiseLevel.CONFIRMED:
            return day != new
        return day.isocalendar()[:2] != new.isocalendar()[:2]


@dataclass(frozen=True, eq=False)
class PlanFloor:
    """One order of a plan with its search; `standing` where it has a day already."""

    job: Job
    search: PlanSearch
    standing: Standing | None = None


@dataclass(frozen=True, eq=False)
class PlanFloors:
    """Everything a plan is made of. `calendar` is bare of the bookings that may move."""

    branch: Branch
    now: datetime
    days: int
    floors: tuple[PlanFloor, ...]
    calendar: Prepared
    staff: Staffing  # with every booking in its place

    @property
    def first_day(self) -> date:
        """The day it begins with."""
        return self.calendar.first_day


def plan_floors(
    branch: Branch, *, now: datetime, days: int = DAYS, away: Sequence[Away] = ()
) -> PlanFloors:
    """Every waiting floor and every booking that may move within `days` from today on."""
    calendar = _without(prepared(branch, now=now), away)
    moving = _movable(branch, calendar, now=now, days=days)
    bare = bare_of(calendar, [each.booking.pk for each in moving])
    waiting = Job.objects.of_branch(branch).waiting().with_floors()
    wanted: list[tuple[Job, Standing | None]] = [(job, None) for job in waiting]
    wanted += [(each.booking.job, each) for each in moving]
    floors = []
    for job, standing in wanted:
        job.branch = branch
        search = PlanSearch(job=job, now=now, calendar=bare, days=days)
        floors.append(PlanFloor(job, search, standing))
    return PlanFloors(branch, now, days, tuple(floors), bare, calendar.staff)


def _without(calendar: Prepared, away: Sequence[Away]) -> Prepared:
    """The calendar with somebody away who may still be booked then."""
    if not away:
        return calendar
    taken, days = dict(calendar.staff.taken), set[int]()
    for each in away:
        numbers = granules(each.start, each.end)
        gone = Taken(numbers.start, numbers.stop, None, None)
        taken[each.resource_id] = (*taken.get(each.resource_id, ()), gone)
        days |= set(calendar.free.days_touched(numbers.start * GRAIN_MIN, numbers.stop * GRAIN_MIN))
    return renewed(calendar, replace(calendar.staff, taken=taken), days)


def bare_of(calendar: Prepared, booking_ids: Collection[int]) -> Prepared:
    """The calendar as if these bookings did not stand."""
    gone = frozenset(booking_ids)
    days = {
        day
        for several in calendar.staff.taken.values()
        for each in several
        if each.booking_id in gone
        for day in calendar.free.days_touched(each.first * GRAIN_MIN, each.until * GRAIN_MIN)
    }
    return renewed(calendar, calendar.staff.without(gone), days)


def _movable(branch: Branch, calendar: Prepared, *, now: datetime, days: int) -> list[Standing]:
    """Bookings that have not begun, of one crew, on days that a plan can tell apart.

    A hold for a caller, a floor of two crews, and a crew's day with three floors stay as they
    are: their time is taken.
    """
    until = branch.at(calendar.first_day + timedelta(days=days), datetime.min.time())
    found = [_standing(each) for each in _open_bookings(branch)]
    crews = {crew.pk for crew in calendar.staff.crews}
    may = [
        each
        for each in found
        if each is not None and now < each.start < until and each.crew_id in crews
    ]
    load = Counter(slot for each in found if each for slot in _slots(branch, each))
    return [each for each in may if _alone_enough(each, branch, load)]


def _alone_enough(standing: Standing, branch: Branch, load: Counter[tuple[int, date]]) -> bool:
    most = MOST_A_DAY if len(standing.stints) == 1 else 1
    return all(load[slot] <= most for slot in _slots(branch, standing))


def _slots(branch: Branch, standing: Standing) -> Sequence[tuple[int, date]]:
    return [(standing.crew_id, day) for day in standing.days(branch)]


def _open_bookings(branch: Branch) -> list[Booking]:
    booked = Booking.objects.of_branch(branch).filter(state=BookingState.BOOKED)
    return list(
        booked.with_job().prefetch_related("stints__installers", "stints__machines").order_by("pk")
    )


def _standing(booking: Booking) -> Standing | None:
    stints = [each for each in booking.stints.all() if each.state != StintState.CALLED_OFF]
    whole = all(each.state == StintState.PLANNED for each in stints)
    if not stints or not whole or len({each.crew_id for each in stints}) > 1:
        return None
    return Standing(booking, tuple(sorted(stints, key=lambda each: each.number)))
