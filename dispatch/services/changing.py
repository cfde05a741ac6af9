"""What every change of a booking begins and ends with: the lock, the version, the record."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, transaction
from django.db.models import F, prefetch_related_objects

from dispatch.models import OPEN_STATES, Booking, BookingState, PromiseLevel, Stint, StintState
from dispatch.rules.asking import Promised
from dispatch.rules.firmness import Firmness
from dispatch.services import entries, notices
from jobs import audit
from jobs.access import Actor
from jobs.models import Branch, Job
from jobs.refusals import NotFound, Refusal, Stale
from jobs.rules.clock import say_span


class AlreadyBooked(Refusal):
    """The job has a booking that still stands."""

    code = "already_booked"
    status = 409


class CannotChange(Refusal):
    """The booking is past the point where this could be done."""

    code = "cannot_change"
    status = 409


def locked_job(branch: Branch, job_id: int) -> Job:
    """The job of this branch, locked, so that whoever books it next waits."""
    wanted = Job.objects.of_branch(branch).filter(pk=job_id)
    wanted = wanted.select_related("customer", "site", "system")
    if connection.features.has_select_for_update:
        wanted = wanted.select_for_update(of=("self",), no_key=True)
    job: Job | None = wanted.first()
    if job is None:
        raise NotFound("There is no such job in this branch.")
    return job


def open_booking(
    branch: Branch,
    booking_id: int,
    version: int,
    states: Collection[BookingState] = OPEN_STATES,
) -> Booking:
    """The booking, locked, as the asker saw it. Raises NotFound, Stale, CannotChange."""
    wanted = (
        Booking.objects.of_branch(branch)
        .filter(pk=booking_id)
        .select_related("job__customer", "job__site", "job__system", "branch")
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


def as_firm_as_known(job: Job, promised: Promised, *, now: datetime) -> Promised:
    """The promise, but only planned where something that must be known first is not."""
    if promised.level is Firmness.CONFIRMED and job.missing(today=job.branch.today(now)):
        return replace(promised, level=Firmness.PLANNED)
    return promised


def promise(booking: Booking, promised: Promised, *, now: datetime) -> None:
    """Write down what the customer is promised; the caller saves."""
    booking.promise = PromiseLevel(promised.level)
    booking.walk_on_at = promised.walk_on_at
    booking.drive_on_at = promised.drive_on_at
    booking.drive_on_basis = promised.drive_on_basis
    firm = promised.level is Firmness.CONFIRMED and booking.state == BookingState.BOOKED
    booking.confirmed_at = now if firm else None


def finish(
    booking: Booking,
    job: Job,
    *,
    action: str,
    before: dict[str, Any],
    by: Actor,
    why: str,
    now: datetime,
    group: str = "",
) -> list[Stint]:
    """Versions up, calendar entries, audit: the tail of every change. The stints as they are."""
    booking.version += 1
    booking.save()
    job.version += 1
    job.save(update_fields=["state", "version"])
    stints = stints_of(booking)
    entries.follow(stints, now=now)
    audit.record(
        branch=booking.branch,
        by=by,
        subject="booking",
        subject_id=booking.pk,
        action=action,
        now=now,
        before=before,
        after=snapshot(booking, stints),
        why=why,
        group=group,
    )
    _tell_of_change(booking.branch_id)
    return stints


def _tell_of_change(branch_id: int) -> None:
    """Tell prepared answers that the calendar is another now.

    Where rows are locked, after the commit: whoever holds the branch's row keeps all its other
    writers waiting. If the program dies in between, a prepared answer is old, which booking it
    finds out. On SQLite a second transaction would come back to the gate ahead of everybody who
    has waited: among eight writers one then waited for four seconds instead of half of one.
    """
    if connection.features.has_select_for_update:
        transaction.on_commit(lambda: _raise_calendar(branch_id), robust=True)
    else:
        _raise_calendar(branch_id)


def _raise_calendar(branch_id: int) -> None:
    Branch.objects.filter(pk=branch_id).update(calendar_version=F("calendar_version") + 1)


def stints_of(booking: Booking) -> list[Stint]:
    """The stints of a booking as they are stored now, with all that is told of them."""
    booking.job.branch = booking.branch
    prefetch_related_objects([booking.job], "floors")
    stints = Stint.objects.filter(booking=booking).order_by("number").select_related("crew__lead")
    found = list(stints.prefetch_related("machines", "entries"))
    for stint in found:
        stint.booking = booking
    return found


def crew_days(booking: Booking, stints: Sequence[Stint]) -> list[notices.CrewDay]:
    """The standing ones of a booking's stints as their crews know them."""
    job = booking.job
    where = f"{job.customer}, {job.site.street}"
    return [
        notices.CrewDay(
            crew=stint.crew,
            start=stint.start,
            leaves=stint.start - timedelta(minutes=stint.travel_before_min),
            text=f"{where}, {say_span(stint.start, stint.end, job.site.tz)}",
        )
        for stint in stints
        if stint.state != StintState.CALLED_OFF
    ]


def snapshot(booking: Booking, stints: Sequence[Stint] | None = None) -> dict[str, Any]:
    """The booking as the audit keeps it: enough to put it back where it stood."""
    if stints is None:
        stints = list(booking.stints.order_by("number").prefetch_related("machines"))
    return {
        "state": str(booking.state),
        "promise": str(booking.promise),
        "held_until": _iso(booking.held_until),
        "confirmed_at": _iso(booking.confirmed_at),
        "drive_on_at": _iso(booking.drive_on_at),
        "walk_on_at": _iso(booking.walk_on_at),
        "drive_on_basis": booking.drive_on_basis,
        "moves": booking.moves,
        "stints": [_stint_kept(stint) for stint in stints],
    }


def _stint_kept(stint: Stint) -> dict[str, Any]:
    return {
        "crew": stint.crew_id,
        "start": stint.start.isoformat(),
        "end": stint.end.isoformat(),
        "state": str(stint.state),
        "machines": sorted(machine.pk for machine in stint.machines.all()),
        "machine_spans": stint.machine_spans,
        "people_spans": stint.people_spans,
        "travel_min": [stint.travel_before_min, stint.travel_after_min],
        "stages": stint.stages,
        "pour_at": _iso(stint.pour_at),
        "wet_until": _iso(stint.wet_until),
    }


def _iso(instant: datetime | None) -> str | None:
    return instant.isoformat() if instant else None


def refuse_begun(booking: Booking, *, now: datetime) -> None:
    """Refuse where the work is under way or done: days that have begun stay where they are."""
    standing = booking.stints.exclude(state=StintState.CALLED_OFF)
    if standing.filter(state=StintState.DONE).exists() or standing.filter(start__lte=now).exists():
        raise CannotChange(f"The work for {booking.job.customer} has begun.")
