"""Placing: a booking's stints where they are planned, with everybody and everything they claim."""

from collections.abc import Sequence
from dataclasses import dataclass

from dispatch.models import (
    Booking,
    Crew,
    CrewMembership,
    Installer,
    Machine,
    Resource,
    Stint,
    StintState,
)
from dispatch.models.bookings import LONGEST_STINT
from dispatch.rules.asking import PlannedStint
from dispatch.services import claims
from jobs.models import Branch
from jobs.refusals import NotFound, Refusal


@dataclass(frozen=True)
class Needed:
    """One planned stint with the rows of everybody and everything it needs."""

    planned: PlannedStint
    crew: Crew
    installers: tuple[Installer, ...]
    machines: tuple[Machine, ...]

    @property
    def resources(self) -> tuple[Resource, ...]:
        """Everything that must be in one place only."""
        people = (each.resource for each in self.installers)
        machines = (each.resource for each in self.machines)
        return (self.crew.resource, *people, *machines)


def place(booking: Booking, planned: Sequence[PlannedStint]) -> None:
    """Put the booking's stints where they are planned, with people, machines and claims."""
    needed = gather(booking.branch, planned)
    claims.lock(resource.pk for each in needed for resource in each.resources)
    give_back(booking)
    put(booking, needed)


def gather(branch: Branch, planned: Sequence[PlannedStint]) -> list[Needed]:
    """The crew, its people of that day and the machines of each stint; nothing is locked yet."""
    if not planned:
        raise Refusal("A booking needs at least one stretch of work.")
    if any(one.end - one.start >= LONGEST_STINT for one in planned):
        raise Refusal("One stretch of work lasts less than three days; plan it in several.")
    return [_needed(branch, one) for one in planned]


def give_back(booking: Booking) -> None:
    """Give all time of the booking back; its stints stay as they are."""
    claims.release(booking)


def put(booking: Booking, needed: Sequence[Needed]) -> None:
    """Write the stints and claim their time, which the caller has locked. Raises SlotTaken."""
    old = {stint.number: stint for stint in booking.stints.all()}
    for number, each in enumerate(needed, start=1):
        stint = old.pop(number, None) or Stint(booking=booking, number=number)
        _write_stint(stint, each)
        claims.take(
            stint,
            each.resources,
            spans=each.planned.machine_claims({one.pk: one.resource_id for one in each.machines}),
            rest=claims.rest_of(stint, booking.branch, each.installers),
        )
    for stint in old.values():  # fewer visits than before
        stint.state = StintState.CALLED_OFF
        stint.save(update_fields=["state"])


def _write_stint(stint: Stint, needed: Needed) -> None:
    planned = needed.planned
    stint.crew_id = planned.crew_id
    stint.start, stint.end = planned.start, planned.end
    stint.travel_before_min = planned.travel_before_min
    stint.travel_after_min = planned.travel_after_min
    stint.stages = list(planned.stages)
    stint.machine_spans = [span.kept() for span in planned.machine_spans]
    stint.people_spans = [{"installer": each} for each in planned.installer_ids]
    stint.pour_at, stint.wet_until = planned.pour_at, planned.wet_until
    stint.state = StintState.PLANNED
    fresh = stint.pk is None
    stint.save()
    if fresh:  # nothing to compare with, which would be asked for
        stint.installers.add(*needed.installers)
        stint.machines.add(*needed.machines)
    else:
        stint.installers.set(needed.installers)
        stint.machines.set(needed.machines)


def _needed(branch: Branch, planned: PlannedStint) -> Needed:
    crews = Crew.objects.of_branch(branch).working().select_related("resource")
    crew = crews.filter(pk=planned.crew_id).first()
    if crew is None:
        raise NotFound("There is no such crew in this branch.")
    wanted = Machine.objects.of_branch(branch).select_related("resource")
    machines = list(wanted.filter(pk__in=planned.machine_ids, active=True))
    if len(machines) != len(set(planned.machine_ids)):
        raise NotFound("There is no such machine in this branch.")
    if any(span.until <= span.start for span in planned.machine_spans):
        raise Refusal("A machine is asked for until before it is needed.")
    timed = [span.machine_id for span in planned.machine_spans]
    if len(timed) != len(set(timed)) or not set(timed) <= set(planned.machine_ids):
        raise Refusal("A machine has hours twice, or is not among those that are needed.")
    return Needed(planned, crew, _people(branch, crew, planned), tuple(machines))


def _people(branch: Branch, crew: Crew, planned: PlannedStint) -> tuple[Installer, ...]:
    """Those who are named, lent ones among them, else whoever belongs to the crew that day."""
    if planned.installer_ids:
        named = Installer.objects.of_branch(branch).filter(pk__in=planned.installer_ids)
        people = tuple(named.select_related("resource"))
        if len(people) != len(set(planned.installer_ids)):
            raise NotFound("There is no such person in this branch.")
        return people
    day = planned.start.astimezone(branch.tz).date()
    memberships = CrewMembership.objects.filter(crew=crew).on(day)
    return tuple(each.installer for each in memberships.select_related("installer__resource"))
