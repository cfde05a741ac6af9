"""Who is free when: crews, people, machines and what takes their time over some months."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import TypeVar

from dispatch.models import (
    Absence,
    BookingState,
    Crew,
    CrewMembership,
    Machine,
    MachineKind,
    Stint,
    StintState,
)
from dispatch.models.bookings import StintQuerySet
from dispatch.rules.asking import span_of
from dispatch.rules.granules import EPOCH, GRANULE, granules
from dispatch.rules.rest import rest_until
from dispatch.rules.travel import Point
from jobs.models import Branch, Holiday
from jobs.rules.plan import StageKind

Stretch = TypeVar("Stretch", "Taken", "Busy", "MachineOut")
TEAM = 2  # resin needs so many at least


@dataclass(frozen=True)
class Busy:
    """A stint that already stands, as far as a neighbour in time needs it."""

    start: datetime
    end: datetime
    free_from: datetime  # the end with the road that is claimed after it
    point: Point
    booking_id: int


@dataclass(frozen=True)
class MachineOut:
    """A machine on a floor: until when it is needed there, and until when it is claimed."""

    needed_until: datetime
    claimed_until: datetime
    point: Point
    where: str
    booking_id: int | None = None


@dataclass(frozen=True)
class Taken:
    """A stretch of somebody's or something's time, in quarters [first, until).

    `crew_id` is the crew of the stint; None where somebody is away.
    """

    first: int
    until: int
    booking_id: int | None
    crew_id: int | None


@dataclass(frozen=True)
class Staffing:
    """Crews, people and machines of a branch with everything that takes their time."""

    branch: Branch
    crews: tuple[Crew, ...]
    machines: tuple[Machine, ...]
    memberships: Mapping[int, tuple[CrewMembership, ...]]  # by crew
    holidays: dict[date, str]
    taken: dict[int, tuple[Taken, ...]]  # by resource
    busy: dict[int, tuple[Busy, ...]]  # by crew
    out: dict[int, tuple[MachineOut, ...]] = field(default_factory=dict)  # by machine

    @property
    def grinders(self) -> tuple[Machine, ...]:
        """The floor grinders."""
        return self.of_kind(MachineKind.GRINDER)

    def of_kind(self, kind: MachineKind) -> tuple[Machine, ...]:
        """The machines of one kind."""
        return tuple(each for each in self.machines if each.kind == kind)

    def people(self, crew: Crew, day: date) -> list[CrewMembership]:
        """Who belongs to the crew on that day."""
        return [
            each
            for each in self.memberships.get(crew.pk, ())
            if each.from_day <= day and (each.until_day is None or each.until_day >= day)
        ]

    def team(self, crew: Crew, day: date) -> list[CrewMembership]:
        """Who can go with the crew on that day: without those who are away or lent.

        Where fewer than two would be left everybody counts, so that what they have to do
        shows as time that is taken.
        """
        everybody = self.people(crew, day)
        there = [each for each in everybody if not self._elsewhere(each, crew, day)]
        return there if len(there) >= TEAM else everybody

    def _elsewhere(self, member: CrewMembership, crew: Crew, day: date) -> bool:
        begins = self.branch.at(day, self.branch.day_starts)
        ends = self.branch.at(day, self.branch.day_ends)
        first, until = (begins - EPOCH) // GRANULE, (ends - EPOCH) // GRANULE
        return any(
            each.crew_id != crew.pk and each.first < until and each.until > first
            for each in self.taken.get(member.installer.resource_id, ())
        )

    def free(self, resource_ids: Iterable[int], start: datetime, end: datetime) -> bool:
        """Whether none of these resources is claimed in [start, end)."""
        wanted = granules(start, end)
        return not any(
            each.first < wanted.stop and each.until > wanted.start
            for resource_id in resource_ids
            for each in self.taken.get(resource_id, ())
        )

    def on_day(self, crew: Crew, start: datetime, end: datetime) -> list[Busy]:
        """The crew's stints that touch [start, end), in order."""
        return [b for b in self.busy.get(crew.pk, ()) if b.start < end and b.end > start]

    def without(self, booking_ids: Iterable[int]) -> "Staffing":
        """The same as if these bookings did not stand."""
        gone = frozenset(booking_ids)
        return replace(
            self,
            taken=_but(self.taken, gone),
            busy=_but(self.busy, gone),
            out=_but(self.out, gone),
        )


def _but(
    kept: Mapping[int, tuple[Stretch, ...]], gone: frozenset[int]
) -> dict[int, tuple[Stretch, ...]]:
    return {
        key: tuple(each for each in several if each.booking_id not in gone)
        for key, several in kept.items()
    }


def staffing(branch: Branch, *, start: datetime, end: datetime) -> Staffing:
    """Read everything that stands in [start, end) from the branch's rows."""
    memberships: dict[int, list[CrewMembership]] = defaultdict(list)
    for each in CrewMembership.objects.of_branch(branch).select_related("installer"):
        memberships[each.crew_id].append(each)
    bare = Staffing(
        branch=branch,
        crews=tuple(Crew.objects.of_branch(branch).working().select_related("resource", "lead")),
        machines=tuple(Machine.objects.of_branch(branch).filter(active=True)),
        memberships={crew: tuple(several) for crew, several in memberships.items()},
        holidays=dict(
            Holiday.objects.filter(
                branch=branch, day__gte=start.date() - timedelta(days=1)
            ).values_list("day", "name")
        ),
        taken=_absences(branch, start, end),
        busy={},
    )
    return with_stints(bare, Stint.objects.of_branch(branch).overlapping(start, end))


def with_stints(staff: Staffing, stints: StintQuerySet) -> Staffing:
    """`staff` with these stints beside what stands already; those called off are left out."""
    taken = defaultdict(list, {key: list(each) for key, each in staff.taken.items()})
    busy = defaultdict(list, {key: list(each) for key, each in staff.busy.items()})
    out = defaultdict(list, {key: list(each) for key, each in staff.out.items()})
    for stint in _with_rows(stints):
        for resource_id, one in _claimed(stint, staff.branch):
            taken[resource_id].append(one)
        if stint.state != StintState.PLANNED or stint.booking.state == BookingState.DONE:
            continue
        busy[stint.crew_id].append(_busy(stint))
        for machine in stint.machines.all():
            out[machine.pk].append(_machine_out(stint, machine.pk))
    return replace(
        staff,
        taken={key: tuple(each) for key, each in taken.items()},
        busy={key: tuple(sorted(each, key=lambda one: one.start)) for key, each in busy.items()},
        out={key: tuple(each) for key, each in out.items()},
    )


def _with_rows(stints: StintQuerySet) -> StintQuerySet:
    """The standing ones with what is read of them, in a fixed number of queries."""
    whole = stints.standing().select_related("crew", "booking__job__site", "booking__job__customer")
    return whole.prefetch_related("machines", "installers").order_by("start")


def _claimed(stint: Stint, branch: Branch) -> Iterator[tuple[int, Taken]]:
    """What a stint claims of whom, as its claims are written."""
    begins = stint.start - timedelta(minutes=stint.travel_before_min)
    home = stint.end + timedelta(minutes=stint.travel_after_min)
    rest = rest_until(start=stint.start, end=stint.end, home=home, zone=branch.tz)
    spans = {span.machine_id: span.claimed for span in map(span_of, stint.machine_spans)}

    def taken(start: datetime, end: datetime) -> Taken:
        numbers = granules(start, end)
        return Taken(numbers.start, numbers.stop, stint.booking_id, stint.crew_id)

    yield stint.crew.resource_id, taken(begins, home)
    for person in stint.installers.all():
        yield person.resource_id, taken(begins, rest or home)
    for machine in stint.machines.all():
        yield machine.resource_id, taken(*spans.get(machine.pk, (begins, home)))


def _absences(branch: Branch, start: datetime, end: datetime) -> dict[int, tuple[Taken, ...]]:
    away: dict[int, list[Taken]] = defaultdict(list)
    found = Absence.objects.filter(resource__branch=branch, start__lt=end, end__gt=start)
    for each in found:
        numbers = granules(each.start, each.end)
        away[each.resource_id].append(Taken(numbers.start, numbers.stop, None, None))
    return {key: tuple(several) for key, several in away.items()}


def _busy(stint: Stint) -> Busy:
    site = stint.booking.job.site
    return Busy(
        start=stint.start.astimezone(UTC),
        end=stint.end.astimezone(UTC),
        free_from=stint.end + timedelta(minutes=stint.travel_after_min),
        point=(site.latitude, site.longitude),
        booking_id=stint.booking_id,
    )


def _machine_out(stint: Stint, machine_id: int) -> MachineOut:
    """Where the machine has hours of its own they count, else the last grinding of the stint."""
    job = stint.booking.job
    point = (job.site.latitude, job.site.longitude)
    where, booking = str(job.customer), stint.booking_id
    spans = [span_of(kept) for kept in stint.machine_spans if kept["machine"] == machine_id]
    if spans:
        return MachineOut(spans[0].until, spans[0].claimed[1], point, where, booking)
    grinds = [stage["end"] for stage in stint.stages if stage.get("kind") == StageKind.GRIND.value]
    needed = datetime.fromisoformat(max(grinds)) if grinds else stint.end
    home = stint.end + timedelta(minutes=stint.travel_after_min)
    return MachineOut(needed, home, point, where, booking)
