"""What must hold of the calendar at every moment; `broken()` names whatever does not.

It trusts no guard: who is where is counted again from the stints, not read from the claims.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import datetime, time, timedelta
from itertools import pairwise
from typing import Any

from dispatch.models import (
    OPEN_STATES,
    Absence,
    Booking,
    BookingState,
    Claim,
    EntryStatus,
    Stint,
    StintState,
)
from dispatch.rules.granules import granules
from jobs.models import AuditEvent, Branch, Job, JobState

Quarters = set[tuple[int, int]]


def broken(branch: Branch | None = None) -> list[str]:
    """A sentence for each rule that the rows of `branch`, or of all, break. Empty is well."""
    stints = Stint.objects.select_related("booking__branch", "crew").prefetch_related(
        "installers", "machines", "claims", "entries"
    )
    bookings = Booking.objects.select_related("job")
    jobs = Job.objects.all()
    if branch is not None:
        stints, bookings = stints.of_branch(branch), bookings.of_branch(branch)
        jobs = jobs.of_branch(branch)
    return [
        *_claims(stints),
        *_two_places(stints),
        *_absences(branch),
        *_one_open_booking(bookings, jobs),
        *_branches(stints),
        *_calendar(stints),
        *_audit(bookings),
    ]


def stands(stint: Stint) -> bool:
    """Whether somebody is expected there: neither the visit nor the booking was called off."""
    return stint.state != StintState.CALLED_OFF and stint.booking.state != BookingState.CALLED_OFF


def quarters(stint: Stint) -> Quarters:
    """(resource, granule) of everybody and everything the stint needs, with its travel."""
    start = stint.start - timedelta(minutes=stint.travel_before_min)
    end = stint.end + timedelta(minutes=stint.travel_after_min)
    needed = {stint.crew.resource_id: (start, end)}
    needed |= {each.resource_id: (start, end) for each in stint.installers.all()}
    spans = {span["machine"]: span for span in stint.machine_spans}
    for machine in stint.machines.all():
        span = spans.get(machine.pk)
        needed[machine.resource_id] = _hours_of(span) if span else (start, end)
    return {
        (resource, granule) for resource, hours in needed.items() for granule in granules(*hours)
    }


def _hours_of(span: dict[str, Any]) -> tuple[datetime, datetime]:
    on_the_road = timedelta(minutes=span["travel_after_min"])
    until = datetime.fromisoformat(span["until"]) + on_the_road
    return datetime.fromisoformat(span["start"]), until


def rest(stint: Stint) -> Quarters:
    """(resource, granule) of the people's ten hours of rest after a stint at night."""
    zone = stint.booking.branch.tz
    began, ended = stint.start.astimezone(zone), stint.end.astimezone(zone)
    day_work = began.hour >= 5 and ended.date() == began.date()
    if day_work and ended.time() <= time(22):
        return set()
    home = stint.end + timedelta(minutes=stint.travel_after_min)
    after = set(granules(home, home + timedelta(hours=10))) - set(granules(stint.start, home))
    return {(each.resource_id, granule) for each in stint.installers.all() for granule in after}


def _claims(stints: Iterable[Stint]) -> Iterator[str]:
    for stint in stints:
        held = {(claim.resource_id, claim.granule) for claim in stint.claims.all()}
        wanted = quarters(stint) if stands(stint) else set()
        resting = rest(stint) if stands(stint) else set()
        foreign = held - wanted - resting
        if foreign:
            yield f"stint {stint.pk} holds {len(foreign)} quarters that are not its own"
        # Whoever is away needs no rest of their own.
        tired = {
            spot for spot in resting - held if not Claim.objects.filter(**_absent(spot)).exists()
        }
        if tired and stint.state == StintState.PLANNED:
            yield f"stint {stint.pk} lacks {len(tired)} quarters of rest"
        # Work that is done may have given its past back.
        if wanted - held and stint.state == StintState.PLANNED:
            yield f"stint {stint.pk} lacks {len(wanted - held)} of its quarters"


def _absent(spot: tuple[int, int]) -> dict[str, Any]:
    return {"resource_id": spot[0], "granule": spot[1], "absence__isnull": False}


def _two_places(stints: Iterable[Stint]) -> Iterator[str]:
    where = Counter(
        spot for stint in stints if stands(stint) for spot in quarters(stint) | rest(stint)
    )
    twice = {resource for (resource, _), count in where.items() if count > 1}
    for resource in sorted(twice):
        yield f"resource {resource} is in two places"


def _absences(branch: Branch | None) -> Iterator[str]:
    absences = Absence.objects.all()
    if branch is not None:
        absences = absences.filter(resource__branch=branch)
    for absence in absences:
        held = set(Claim.objects.filter(absence=absence).values_list("resource_id", "granule"))
        span = granules(absence.start, absence.end)
        if held != {(absence.resource_id, granule) for granule in span}:
            yield f"absence {absence.pk} does not hold its own time"


def _one_open_booking(bookings: Iterable[Booking], jobs: Iterable[Job]) -> Iterator[str]:
    standing = [booking for booking in bookings if booking.state in OPEN_STATES]
    for job, count in Counter(booking.job_id for booking in standing).items():
        if count > 1:
            yield f"job {job} has {count} open bookings"
    booked = {booking.job_id for booking in standing}
    for job in jobs:
        if (job.pk in booked) != (job.state == JobState.BOOKED):
            yield f"job {job.pk} is {job.state}, and its bookings say otherwise"


def _branches(stints: Iterable[Stint]) -> Iterator[str]:
    for stint in stints:
        people = (stint.crew, *stint.installers.all(), *stint.machines.all())
        if {each.branch_id for each in people} != {stint.booking.branch_id}:
            yield f"stint {stint.pk} uses another branch's crew, person or machine"


def _calendar(stints: Iterable[Stint]) -> Iterator[str]:
    for stint in stints:
        shown = {
            entry.audience: (entry.start, entry.end)
            for entry in stint.entries.all()
            if entry.status != EntryStatus.CANCELLED
        }
        crews = {audience for audience in shown if audience.startswith("crew:")}
        if crews != ({f"crew:{stint.crew_id}"} if stands(stint) else set()):
            yield f"stint {stint.pk} is in the wrong calendars: {sorted(shown)}"
        if set(shown.values()) - {(stint.start, stint.end)}:
            yield f"stint {stint.pk} is shown at another time than it is"
        if shown and not stands(stint):
            yield f"stint {stint.pk} was called off and still shows"


def _audit(bookings: Iterable[Booking]) -> Iterator[str]:
    for booking in bookings:
        events = AuditEvent.objects.filter(subject="booking", subject_id=booking.pk)
        # What a customer said of a version changes nothing, and so has no version of its own.
        changes = [event for event in events.order_by("pk") if "version" not in event.after]
        if len(changes) != booking.version:
            yield f"booking {booking.pk} is at {booking.version}, with {len(changes)} on record"
        if any(one.after != two.before for one, two in pairwise(changes)):
            yield f"booking {booking.pk} has a gap in its record"
        if changes and changes[-1].after.get("state", booking.state) != booking.state:
            yield f"booking {booking.pk} is {booking.state}, and its record says otherwise"
