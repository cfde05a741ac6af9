"""Bookings: book, move, call off, confirm, and holds that lapse. Each is one transaction."""

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any

from django.db import connection
from django.db.models import F

from dispatch.models import (
    OPEN_STATES,
    Booking,
    BookingState,
    Crew,
    CrewMembership,
    Installer,
    Machine,
    NoticeKind,
    PromiseLevel,
    Resource,
    Stint,
    StintState,
)
from dispatch.rules.asking import Ask, PlannedStint, Promised
from dispatch.rules.firmness import Firmness
from dispatch.services import claims, entries, notices
from jobs import audit, idempotency
from jobs.access import PROGRAM, Actor
from jobs.models import Branch, Job, JobState
from jobs.refusals import NotFound, Refusal, Stale
from jobs.rules.clock import say_span
from jobs.writing import run_write

WATCHED_STATES = (*OPEN_STATES, BookingState.DONE)


class AlreadyBooked(Refusal):
    """The job has a booking that still stands."""

    code = "already_booked"
    status = 409


class CannotChange(Refusal):
    """The booking is past the point where this could be done."""

    code = "cannot_change"
    status = 409


@run_write
def book(
    *,
    branch: Branch,
    job_id: int,
    version: int,
    ask: Ask,
    by: Actor,
    now: datetime,
    asked: Any = None,
) -> Booking:
    """Promise days to a job: claims, calendar, audit and notices exist exactly if it does.

    `asked` is what makes a repeat the same request where the ask alone, which may hold the
    hour at which a hold lapses, does not. Raises SlotTaken, AlreadyBooked, Stale, NotFound.
    """
    job = _job(branch, job_id)
    what = asked if asked is not None else ("book", job_id, ask)
    # Asked behind the lock on the job: of twenty repeats at once nineteen wait here first.
    answered = idempotency.answered(by=by, key=ask.key, what=what)
    if answered is not None:
        return Booking.objects.get(pk=answered)
    if job.version != version:
        raise Stale(f"{job.customer} was changed by somebody else. Please look at it again.")
    if job.bookings.filter(state__in=OPEN_STATES).exists() or job.state != JobState.WAITING:
        raise AlreadyBooked(f"{job.customer} already has a booking for this floor.")
    booking = Booking(
        branch=branch,
        job=job,
        state=BookingState.HELD if ask.held_until else BookingState.BOOKED,
        held_until=ask.held_until,
        booked_at=now,
    )
    _promise(booking, ask.promised, now=now)
    booking.save()
    _place(booking, ask.stints)
    job.state = JobState.BOOKED
    _finish(booking, job, action="book", before={}, by=by, why=ask.why, now=now)
    notices.owe(booking, NoticeKind.BOOKED, now=now)
    notices.owe_crews(booking, before=(), after=_crew_days(booking), now=now)
    idempotency.keep(
        by=by,
        key=ask.key,
        what=what,
        subject="booking",
        subject_id=booking.pk,
        now=now,
    )
    return booking


@run_write
def move(
    *, branch: Branch, booking_id: int, version: int, ask: Ask, by: Actor, now: datetime
) -> Booking:
    """Move a booking to other days or another crew; its calendar entries keep their UIDs."""
    booking = _open_booking(branch, booking_id, version)
    before = snapshot(booking)
    told = _crew_days(booking)
    if booking.state == BookingState.HELD and ask.held_until is None:
        booking.state, booking.held_until = BookingState.BOOKED, None
    booking.moves += 1
    _promise(booking, ask.promised, now=now)
    _place(booking, ask.stints)
    _finish(booking, booking.job, action="move", before=before, by=by, why=ask.why, now=now)
    notices.owe(booking, NoticeKind.MOVED, now=now, why=ask.why)
    notices.owe_crews(booking, before=told, after=_crew_days(booking), now=now)
    return booking


@run_write
def call_off(
    *, branch: Branch, booking_id: int, version: int, by: Actor, now: datetime, why: str
) -> Booking:
    """Call a booking off; the job waits again in its old place in line."""
    booking = _open_booking(branch, booking_id, version)
    return _call_off(booking, by=by, now=now, why=why)


@run_write
def confirm(*, branch: Branch, booking_id: int, version: int, by: Actor, now: datetime) -> Booking:
    """Make a held or planned day a confirmed one; the customer is told."""
    booking = _open_booking(branch, booking_id, version)
    before = snapshot(booking)
    booking.state, booking.held_until = BookingState.BOOKED, None
    booking.promise = PromiseLevel.CONFIRMED
    booking.confirmed_at = now
    _finish(booking, booking.job, action="confirm", before=before, by=by, why="", now=now)
    notices.owe(booking, NoticeKind.BOOKED, now=now)
    return booking


@run_write
def leave(*, branch: Branch, stint_id: int, by: Actor, now: datetime) -> Booking:
    """The crew has left: the stint is done, and with its last stint the booking and the job."""
    stint = Stint.objects.of_branch(branch).select_related("booking").filter(pk=stint_id).first()
    if stint is None:
        raise NotFound("There is no such stint in this branch.")
    booking = _open_booking(branch, stint.booking_id, stint.booking.version)
    before = snapshot(booking)
    Stint.objects.filter(pk=stint.pk).update(state=StintState.DONE)
    if not booking.stints.filter(state=StintState.PLANNED).exists():
        booking.state, booking.held_until, booking.done_at = BookingState.DONE, None, now
        booking.job.state = JobState.DONE
    _finish(booking, booking.job, action="left the site", before=before, by=by, why="", now=now)
    return booking


@run_write
def promise_later(
    *, branch: Branch, booking_id: int, version: int, promised: Promised, now: datetime, why: str
) -> Booking:
    """Move walk-on and drive-on later because it got colder; never earlier by itself.

    A coated floor stays under watch until its drive-on.
    """
    booking = _open_booking(branch, booking_id, version, states=WATCHED_STATES)
    old = booking.drive_on_at
    if promised.drive_on_at is None or (old and promised.drive_on_at <= old):
        raise CannotChange("A promise moves earlier only by a person.")
    before = snapshot(booking)
    booking.drive_on_at, booking.drive_on_basis = promised.drive_on_at, promised.drive_on_basis
    if promised.walk_on_at and (not booking.walk_on_at or promised.walk_on_at > booking.walk_on_at):
        booking.walk_on_at = promised.walk_on_at
    _finish(
        booking, booking.job, action="drive-on later", before=before, by=PROGRAM, why=why, now=now
    )
    notices.owe(booking, NoticeKind.DRIVE_ON_LATER, now=now, why=why)
    return booking


def lapse_holds(*, now: datetime) -> int:
    """Call off every hold whose time is over; return how many. Safe to run twice at once."""
    lapsed = 0
    for held in Booking.objects.lapsed(now).select_related("branch"):
        try:
            call_off(
                branch=held.branch,
                booking_id=held.pk,
                version=held.version,
                by=PROGRAM,
                now=now,
                why="The hold ran out.",
            )
        except (Stale, NotFound, CannotChange):
            continue  # somebody was quicker, which is as good
        lapsed += 1
    return lapsed


def snapshot(booking: Booking) -> dict[str, Any]:
    """The booking as the audit keeps it."""
    return {
        "state": str(booking.state),
        "promise": str(booking.promise),
        "drive_on_at": booking.drive_on_at.isoformat() if booking.drive_on_at else None,
        "walk_on_at": booking.walk_on_at.isoformat() if booking.walk_on_at else None,
        "stints": [
            {
                "crew": stint.crew_id,
                "start": stint.start.isoformat(),
                "end": stint.end.isoformat(),
                "state": str(stint.state),
            }
            for stint in booking.stints.order_by("number")
        ]
        if booking.pk
        else [],
    }


def _job(branch: Branch, job_id: int) -> Job:
    wanted = Job.objects.of_branch(branch).filter(pk=job_id).select_related("customer", "site")
    if connection.features.has_select_for_update:
        wanted = wanted.select_for_update(of=("self",), no_key=True)
    job: Job | None = wanted.first()
    if job is None:
        raise NotFound("There is no such job in this branch.")
    return job


def _open_booking(
    branch: Branch,
    booking_id: int,
    version: int,
    states: Collection[BookingState] = OPEN_STATES,
) -> Booking:
    wanted = (
        Booking.objects.of_branch(branch)
        .filter(pk=booking_id)
        .select_related("job__customer", "job__site", "branch")
    )
    if connection.features.has_select_for_update:
        wanted = wanted.select_for_update(of=("self",), no_key=True)
    booking: Booking | None = wanted.first()
    if booking is None:
        raise NotFound("There is no such booking in this branch.")
    if booking.version != version:
        raise Stale(
            f"The booking of {booking.job.customer} was changed by somebody else. "
            "Please look at it again."
        )
    if booking.state not in states:
        raise CannotChange(
            f"The booking of {booking.job.customer} is {booking.get_state_display().lower()}."
        )
    return booking


def _promise(booking: Booking, promised: Promised, *, now: datetime) -> None:
    booking.promise = PromiseLevel(promised.level)
    booking.walk_on_at = promised.walk_on_at
    booking.drive_on_at = promised.drive_on_at
    booking.drive_on_basis = promised.drive_on_basis
    firm = promised.level is Firmness.CONFIRMED and booking.state == BookingState.BOOKED
    booking.confirmed_at = now if firm else None


def _place(booking: Booking, planned: Sequence[PlannedStint]) -> None:
    """Put the booking's stints where they are planned, with people, machines and claims."""
    if not planned:
        raise Refusal("A booking needs at least one stretch of work.")
    people = [_resources(booking.branch, one) for one in planned]
    claims.lock(resource.pk for resources, _, _ in people for resource in resources)
    old = {stint.number: stint for stint in booking.stints.all()}
    for stint in old.values():
        claims.release(stint)
    for number, (one, (resources, installers, machines)) in enumerate(
        zip(planned, people, strict=True), start=1
    ):
        stint = old.pop(number, None) or Stint(booking=booking, number=number)
        _write_stint(stint, one, installers, machines)
        claims.take(stint, resources)
    for stint in old.values():  # fewer visits than before
        stint.state = StintState.CALLED_OFF
        stint.save(update_fields=["state"])


def _write_stint(
    stint: Stint,
    planned: PlannedStint,
    installers: list[Installer],
    machines: list[Machine],
) -> None:
    stint.crew_id = planned.crew_id
    stint.start, stint.end = planned.start, planned.end
    stint.travel_before_min = planned.travel_before_min
    stint.travel_after_min = planned.travel_after_min
    stint.stages = list(planned.stages)
    stint.pour_at, stint.wet_until = planned.pour_at, planned.wet_until
    stint.state = StintState.PLANNED
    stint.save()
    stint.installers.set(installers)
    stint.machines.set(machines)


def _resources(
    branch: Branch, planned: PlannedStint
) -> tuple[list[Resource], list[Installer], list[Machine]]:
    """Everything that must be in one place only: the crew, its people of that day, machines."""
    crew = Crew.objects.of_branch(branch).working().filter(pk=planned.crew_id).first()
    if crew is None:
        raise NotFound("There is no such crew in this branch.")
    machines = list(
        Machine.objects.of_branch(branch).filter(pk__in=planned.machine_ids, active=True)
    )
    if len(machines) != len(set(planned.machine_ids)):
        raise NotFound("There is no such machine in this branch.")
    day = planned.start.astimezone(branch.tz).date()
    installers = [
        membership.installer
        for membership in CrewMembership.objects.filter(crew=crew)
        .on(day)
        .select_related("installer__resource")
    ]
    resources = [crew.resource, *(each.resource for each in installers)]
    resources += [machine.resource for machine in machines]
    return resources, installers, machines


def _call_off(booking: Booking, *, by: Actor, now: datetime, why: str) -> Booking:
    before = snapshot(booking)
    told = _crew_days(booking)
    was_held = booking.state == BookingState.HELD
    booking.state = BookingState.CALLED_OFF
    booking.held_until = None
    booking.called_off_at, booking.called_off_why = now, why[:500]
    claims.lock(
        booking.stints.filter(claims__isnull=False).values_list("claims__resource_id", flat=True)
    )
    for stint in booking.stints.all():
        claims.release(stint)
        stint.state = StintState.CALLED_OFF
        stint.save(update_fields=["state"])
    booking.job.state = JobState.WAITING
    _finish(booking, booking.job, action="call off", before=before, by=by, why=why, now=now)
    if not was_held:
        notices.owe(booking, NoticeKind.CALLED_OFF, now=now, why=why)
        notices.owe_crews(booking, before=told, after=(), now=now)
    return booking


def _finish(
    booking: Booking,
    job: Job,
    *,
    action: str,
    before: dict[str, Any],
    by: Actor,
    why: str,
    now: datetime,
) -> None:
    """Versions up, calendar entries, audit: the tail of every change."""
    booking.version += 1
    booking.save()
    job.version += 1
    job.save(update_fields=["state", "version"])
    Branch.objects.filter(pk=booking.branch_id).update(calendar_version=F("calendar_version") + 1)
    stints = Stint.objects.filter(booking=booking).order_by("number")
    for stint in stints.select_related("crew", "booking__branch", "booking__job__site"):
        entries.follow(stint, now=now)
    audit.record(
        branch=booking.branch,
        by=by,
        subject="booking",
        subject_id=booking.pk,
        action=action,
        now=now,
        before=before,
        after=snapshot(booking),
        why=why,
    )


def _crew_days(booking: Booking) -> list[notices.CrewDay]:
    """The standing stints of a booking as their crews know them."""
    job = booking.job
    where = f"{job.customer}, {job.site.street}"
    standing = booking.stints.exclude(state=StintState.CALLED_OFF).order_by("number")
    return [
        notices.CrewDay(
            crew=stint.crew,
            start=stint.start,
            text=f"{where}, {say_span(stint.start, stint.end, job.site.tz)}",
        )
        for stint in standing.select_related("crew__lead")
    ]
