"""Who is free when: crews, people, machines and their claims over some days, read once."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from dispatch.models import Claim, Crew, CrewMembership, Machine, MachineKind, Stint
from dispatch.rules.asking import span_of
from dispatch.rules.granules import EPOCH, GRANULE, granules
from dispatch.rules.travel import Point
from jobs.models import Branch, Holiday
from jobs.rules.plan import StageKind


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


@dataclass(frozen=True)
class Staffing:
    """Crews, people and machines of a branch with every quarter hour that is taken."""

    branch: Branch
    crews: tuple[Crew, ...]
    grinders: tuple[Machine, ...]
    memberships: tuple[CrewMembership, ...]
    holidays: dict[date, str]
    taken: dict[int, frozenset[int]]  # resource -> granules
    busy: dict[int, tuple[Busy, ...]]  # crew -> stints
    out: dict[int, tuple[MachineOut, ...]] = field(default_factory=dict)  # machine -> floors

    def people(self, crew: Crew, day: date) -> list[CrewMembership]:
        """Who is in the crew on that day."""
        return [
            each
            for each in self.memberships
            if each.crew_id == crew.pk
            and each.from_day <= day
            and (each.until_day is None or each.until_day >= day)
        ]

    def free(self, resource_ids: Iterable[int], start: datetime, end: datetime) -> bool:
        """Whether none of these resources is claimed in [start, end)."""
        wanted = frozenset(granules(start, end))
        return all(wanted.isdisjoint(self.taken.get(each, frozenset())) for each in resource_ids)

    def free_grinder(self, start: datetime, end: datetime) -> Machine | None:
        """A grinder nobody has in [start, end)."""
        return next(
            (each for each in self.grinders if self.free([each.resource_id], start, end)), None
        )

    def on_day(self, crew: Crew, start: datetime, end: datetime) -> list[Busy]:
        """The crew's stints that touch [start, end), in order."""
        return [b for b in self.busy.get(crew.pk, ()) if b.start < end and b.end > start]


def staffing(
    branch: Branch, *, start: datetime, end: datetime, without: int | None = None
) -> Staffing:
    """Read a branch's calendar for [start, end); `without` leaves out one booking being moved."""
    first, last = (start - EPOCH) // GRANULE, (end - EPOCH) // GRANULE
    claims = Claim.objects.filter(resource__branch=branch, granule__gte=first, granule__lte=last)
    stints = Stint.objects.of_branch(branch).open().overlapping(start, end)
    if without is not None:
        claims = claims.exclude(stint__booking_id=without)
        stints = stints.exclude(booking_id=without)
    busy: dict[int, list[Busy]] = defaultdict(list)
    out: dict[int, list[MachineOut]] = defaultdict(list)
    everything = stints.select_related("booking__job__site", "booking__job__customer")
    for stint in everything.prefetch_related("machines").order_by("start"):
        site = stint.booking.job.site
        for machine in stint.machines.all():
            out[machine.pk].append(_machine_out(stint, machine.pk))
        busy[stint.crew_id].append(
            Busy(
                start=stint.start,
                end=stint.end,
                free_from=stint.end + timedelta(minutes=stint.travel_after_min),
                point=(site.latitude, site.longitude),
                booking_id=stint.booking_id,
            )
        )
    return Staffing(
        branch=branch,
        crews=tuple(Crew.objects.of_branch(branch).working().select_related("resource", "lead")),
        grinders=tuple(
            Machine.objects.of_branch(branch).filter(kind=MachineKind.GRINDER, active=True)
        ),
        memberships=tuple(CrewMembership.objects.of_branch(branch).select_related("installer")),
        holidays=dict(
            Holiday.objects.filter(
                branch=branch, day__gte=start.date() - timedelta(days=1)
            ).values_list("day", "name")
        ),
        taken=_taken(claims.values_list("resource_id", "granule")),
        busy={each: tuple(stints) for each, stints in busy.items()},
        out={each: tuple(floors) for each, floors in out.items()},
    )


def _taken(claimed: Iterable[tuple[int, int]]) -> dict[int, frozenset[int]]:
    """Each resource with the quarters of an hour that are claimed of it."""
    taken: dict[int, set[int]] = defaultdict(set)
    for resource_id, granule in claimed:
        taken[resource_id].add(granule)
    return {each: frozenset(numbers) for each, numbers in taken.items()}


def _machine_out(stint: Stint, machine_id: int) -> MachineOut:
    """Where the machine has hours of its own they count, else the last grinding of the stint."""
    job = stint.booking.job
    point = (job.site.latitude, job.site.longitude)
    spans = [span_of(kept) for kept in stint.machine_spans if kept["machine"] == machine_id]
    if spans:
        return MachineOut(spans[0].until, spans[0].claimed[1], point, str(job.customer))
    grinds = [stage["end"] for stage in stint.stages if stage.get("kind") == StageKind.GRIND.value]
    needed = datetime.fromisoformat(max(grinds)) if grinds else stint.end
    home = stint.end + timedelta(minutes=stint.travel_after_min)
    return MachineOut(needed, home, point, str(job.customer))
