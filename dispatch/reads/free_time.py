"""The prepared calendar of a branch: kept by each process, renewed where a booking changed it.

`Branch.calendar_version` tells when it is old. Where only bookings have changed, the record of
changes names their days, and those alone are worked out again.
"""

from collections import OrderedDict, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from threading import Lock
from typing import Any

import numpy as np
import numpy.typing as npt
from django.db.models import Count, Max

from dispatch.models import Absence, Crew, CrewMembership, Machine, Stint
from dispatch.reads.staffing import Staffing, Taken, staffing, with_stints
from dispatch.rules.free_time import AFTER_MIDNIGHT_MIN, DEPOT, NEVER, FreeTime, Stretch
from dispatch.rules.granules import EPOCH, GRANULE
from dispatch.rules.travel import Point
from jobs.models import AuditEvent, Branch, Holiday

AHEAD_DAYS = 90
LATEST_RETURN_DAYS = 5  # a second visit may lie so far behind the last day that is asked about
GRAIN_MIN = int(GRANULE / timedelta(minutes=1))
MOST_BRANCHES = 8
MOST_CHANGES = 400  # with more of them all is read again

Signature = tuple[Any, ...]


@dataclass(frozen=True, eq=False)
class Prepared:
    """What a search asks of the calendar, as it stood at `version`."""

    staff: Staffing
    free: FreeTime
    points: npt.NDArray[np.float64]  # n x 2, degrees; the depot first
    numbers: dict[Point, int]
    first_day: date
    version: int
    signature: Signature
    last_event: int

    @property
    def days(self) -> list[date]:
        """The days of the arrays, the last ones for second visits only."""
        return [self.first_day + timedelta(days=n) for n in range(len(self.free.midnights) - 1)]

    def without(self, booking_id: int) -> "Prepared":
        """The same as if one booking did not stand; for one that is being moved."""
        days = {
            day
            for several in self.staff.taken.values()
            for each in several
            if each.booking_id == booking_id
            for day in self.free.days_touched(each.first * GRAIN_MIN, each.until * GRAIN_MIN)
        }
        staff = self.staff.without([booking_id])
        return renewed(self, staff, days)


_KEPT: "OrderedDict[tuple[str, int], Prepared]" = OrderedDict()
_LOCK = Lock()


def prepared(branch: Branch, *, now: datetime, moving: int | None = None) -> Prepared:
    """The branch's calendar from today on, as new as the database; `moving` counts as free."""
    key = (branch.slug, branch.pk)
    with _LOCK:
        held = _KEPT.get(key)
    found = _fresh(branch, held, today=branch.today(now))
    with _LOCK:
        _KEPT[key] = found
        _KEPT.move_to_end(key)
        while len(_KEPT) > MOST_BRANCHES:
            _KEPT.popitem(last=False)
    return found if moving is None else found.without(moving)


def _fresh(branch: Branch, held: Prepared | None, *, today: date) -> Prepared:
    """`held` if it is still true, else with the changed days renewed, else read anew."""
    # The version is read before the rows: a booking that comes in between is then seen twice
    # rather than never.
    version, signature = _version(branch), _signature(branch)
    if held is None or held.first_day != today or held.signature != signature:
        return _read(branch, today=today, version=version, signature=signature)
    if held.version == version:
        return held
    changed = _changed(branch, held, version=version)
    if changed is None:
        return _read(branch, today=today, version=version, signature=signature)
    return _with_changes(branch, held, changed, version=version)


def _version(branch: Branch) -> int:
    version: int = Branch.objects.values_list("calendar_version", flat=True).get(pk=branch.pk)
    return version


def _signature(branch: Branch) -> Signature:
    """Whatever else the arrays rest on: who and what there is, who is away, the working day."""
    rows = (
        Crew.objects.of_branch(branch).working(),
        CrewMembership.objects.of_branch(branch),
        Machine.objects.of_branch(branch).filter(active=True),
        Absence.objects.filter(resource__branch=branch),
        Holiday.objects.filter(branch=branch),
    )
    counted = tuple(tuple(each.aggregate(Count("pk"), Max("pk")).values()) for each in rows)
    place = branch.depot_place_id
    return (branch.zone, branch.day_starts, branch.day_ends, place, *counted)


def _read(branch: Branch, *, today: date, version: int, signature: Signature) -> Prepared:
    last_event = _last_event(branch)
    count = AHEAD_DAYS + LATEST_RETURN_DAYS + 1
    days = [today + timedelta(days=n) for n in range(count + 1)]
    midnights = [_minute(branch.at(day, datetime.min.time())) for day in days]
    start = branch.at(today - timedelta(days=1), datetime.min.time())
    staff = staffing(branch, start=start, end=branch.at(days[-1], datetime.min.time()))
    depot = branch.depot_place
    here: Point = (float(depot.latitude), float(depot.longitude))
    blank = Prepared(
        staff=staff,
        free=FreeTime.empty(midnights=midnights, crews=len(staff.crews)),
        points=np.array([here]),
        numbers={here: DEPOT},
        first_day=today,
        version=version,
        signature=signature,
        last_event=last_event,
    )
    return renewed(blank, staff, set(range(count)))


def _changed(branch: Branch, held: Prepared, *, version: int) -> list[AuditEvent] | None:
    """The changes of bookings since, or None where something else changed as well."""
    events = list(
        AuditEvent.objects.filter(branch=branch, subject="booking", pk__gt=held.last_event)
        .exclude(after__has_key="version")  # what a customer said changes nothing
        .order_by("pk")[: MOST_CHANGES + 1]
    )
    few = len(events) <= MOST_CHANGES
    return events if few and len(events) == version - held.version else None


def _with_changes(
    branch: Branch, held: Prepared, events: list[AuditEvent], *, version: int
) -> Prepared:
    ids = {event.subject_id for event in events}
    bare = held.staff.without(ids)
    first = held.first_day - timedelta(days=1)
    stints = Stint.objects.of_branch(branch).filter(
        booking_id__in=ids, end__gt=branch.at(first, datetime.min.time())
    )
    staff = with_stints(bare, stints)
    days = {
        day
        for each in (held.staff, staff)
        for several in each.taken.values()
        for one in several
        if one.booking_id in ids
        for day in held.free.days_touched(one.first * GRAIN_MIN, one.until * GRAIN_MIN)
    }
    new = renewed(held, staff, days)
    return replace(new, version=version, last_event=max(event.pk for event in events))


def _last_event(branch: Branch) -> int:
    found = AuditEvent.objects.filter(branch=branch, subject="booking").aggregate(Max("pk"))
    return int(found["pk__max"] or 0)


def renewed(old: Prepared, staff: Staffing, days: set[int]) -> Prepared:
    """`old` on this staffing, with these days of all crews worked out again."""
    free, numbers = old.free.copy(), dict(old.numbers)
    _fill(free, staff, numbers, first_day=old.first_day, days=days)
    points = np.array(list(numbers), dtype=np.float64)
    return replace(old, staff=staff, free=free, points=points, numbers=numbers)


def _fill(
    free: FreeTime,
    staff: Staffing,
    numbers: dict[Point, int],
    *,
    first_day: date,
    days: set[int],
) -> None:
    window = _window(free, days)
    for number, crew in enumerate(staff.crews):
        members = {each.installer.resource_id for each in staff.memberships.get(crew.pk, ())}
        own = _stretches(staff, crew, numbers, window)
        own_by_day = _by_day(((0, each) for each in own), free, days)
        # Somebody away, or lent to another crew, on one of these days.
        theirs = [
            (member, _stretch(each, NEVER))
            for member in sorted(members)
            for each in staff.taken.get(member, ())
            if each.crew_id != crew.pk and _touches(each, window)
        ]
        theirs_by_day = _by_day(theirs, free, days)
        for day in days:
            that_day = first_day + timedelta(days=day)
            among = staff.team if day in theirs_by_day else staff.people
            team = among(crew, that_day)
            going = {each.installer.resource_id for each in team}
            taken = [each for _, each in own_by_day.get(day, ())]
            taken += [each for member, each in theirs_by_day.get(day, ()) if member in going]
            free.put(day, number, people=len(team), taken=taken)


def _by_day(
    stretches: Iterable[tuple[int, Stretch]], free: FreeTime, days: set[int]
) -> dict[int, list[tuple[int, Stretch]]]:
    """Each stretch under the days it touches, the one whose night it lies in among them."""
    found: dict[int, list[tuple[int, Stretch]]] = defaultdict(list)
    for each in stretches:
        for day in free.days_touched(each[1].first, each[1].until):
            if day in days:
                found[day].append(each)
    return found


def _window(free: FreeTime, days: set[int]) -> tuple[int, int]:
    """The quarters from the first of these days to the end of the last one's night."""
    if not days:
        return 0, 0
    first = int(free.midnights[min(days)]) // GRAIN_MIN
    return first, (int(free.midnights[max(days) + 1]) + AFTER_MIDNIGHT_MIN) // GRAIN_MIN


def _touches(each: Taken, window: tuple[int, int]) -> bool:
    return each.first < window[1] and each.until > window[0]


def _stretches(
    staff: Staffing, crew: Crew, numbers: dict[Point, int], window: tuple[int, int]
) -> list[Stretch]:
    """The crew's own work, each with the number of its point, and its people's rest from it."""
    where = {each.booking_id: each.point for each in staff.busy.get(crew.pk, ())}
    found = []
    for each in staff.taken.get(crew.resource_id, ()):
        if not _touches(each, window):
            continue
        point = where.get(each.booking_id or 0)
        number = NEVER if point is None else numbers.setdefault(point, len(numbers))
        found.append(_stretch(each, number))
    spans = {(each.first, each.until) for each in found}
    rests = {
        (each.first * GRAIN_MIN, each.until * GRAIN_MIN)
        for member in staff.memberships.get(crew.pk, ())
        for each in staff.taken.get(member.installer.resource_id, ())
        if each.crew_id == crew.pk and _touches(each, window)
    }
    return [*found, *(Stretch(first, until) for first, until in sorted(rests - spans))]


def _stretch(taken: Taken, point: int) -> Stretch:
    return Stretch(taken.first * GRAIN_MIN, taken.until * GRAIN_MIN, point)


def _minute(instant: datetime) -> int:
    return int((instant - EPOCH) / timedelta(minutes=1))
