"""Undoing: the last move, call-off, confirmation or hand-over of a booking is taken back."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from dispatch.models import (
    OPEN_STATES,
    Booking,
    BookingState,
    Notice,
    NoticeKind,
    NoticeState,
    PromiseLevel,
)
from dispatch.rules.history import UNDOABLE, last_change
from dispatch.rules.kept import DONE, instant, is_whole, planned_stints
from dispatch.services import notices
from dispatch.services.changing import (
    AlreadyBooked,
    CannotChange,
    crew_days,
    finish,
    locked_job,
    open_booking,
    refuse_begun,
    snapshot,
    stints_of,
)
from dispatch.services.placing import place
from jobs.access import Actor
from jobs.models import AuditEvent, Branch, JobState
from jobs.writing import run_write

STATES = (*OPEN_STATES, BookingState.CALLED_OFF)
GONE_OUT = (NoticeState.SENDING, NoticeState.SENT)
TELLS = {"move": NoticeKind.MOVED}


@run_write
def undo(*, branch: Branch, booking_id: int, version: int, by: Actor, now: datetime) -> Booking:
    """Put a booking back where it stood before its last change.

    Its time is claimed anew like any other: raises SlotTaken where it was taken meanwhile,
    AlreadyBooked where its floor was, CannotChange where that day has begun or the last
    change is of another kind, and Stale where somebody changed it since it was seen.
    """
    booking = open_booking(branch, booking_id, version, states=STATES)
    event = last_change(AuditEvent.objects.filter(subject="booking", subject_id=booking.pk))
    before = snapshot(booking)
    if event is None or event.action not in UNDOABLE or event.after != before:
        raise CannotChange(
            f"The last change of the booking of {booking.job.customer} cannot be undone."
        )
    kept = event.before
    _check(booking, kept, now=now)
    stood = booking.state in OPEN_STATES
    told = crew_days(booking, stints_of(booking)) if stood else []
    if booking.state == BookingState.CALLED_OFF:
        booking.job = locked_job(branch, booking.job_id)
        if booking.job.state != JobState.WAITING:
            raise AlreadyBooked(f"{booking.job.customer} has another booking by now.")
        booking.job.state = JobState.BOOKED
    _restore(booking, kept)
    booking.save()
    place(booking, planned_stints(kept))
    why = f"Taken back: {event.action}"
    stints = finish(booking, booking.job, action="undo", before=before, by=by, why=why, now=now)
    if event.action != "hand over":  # which no customer was told of
        notices.owe(booking, TELLS.get(event.action, NoticeKind.BOOKED), now=now)
    notices.owe_crews(booking, before=told, after=crew_days(booking, stints), now=now)
    return booking


def _check(booking: Booking, kept: Mapping[str, Any], *, now: datetime) -> None:
    """Refuse what time or a letter has made impossible."""
    customer = booking.job.customer
    if booking.state != BookingState.CALLED_OFF:
        refuse_begun(booking, now=now)
    if not is_whole(kept) or not planned_stints(kept):
        raise CannotChange(f"Too little was kept of the booking of {customer} to put it back.")
    begun = any(stint["state"] == DONE for stint in kept["stints"])
    if begun or min(stint.start for stint in planned_stints(kept)) <= now:
        raise CannotChange(f"The day of {customer} has begun, so it cannot be put back.")
    if kept["state"] == BookingState.HELD:
        held_until = instant(kept["held_until"])
        if held_until is None or held_until <= now:
            raise CannotChange(f"The hold for {customer} has run out. Please book the day again.")
        _unsay(booking)


def _unsay(booking: Booking) -> None:
    """A hold says nothing to a customer: what has not gone out stays here, else it is too late."""
    said = Notice.objects.filter(booking=booking, booking_version=booking.version)
    letters = said.filter(audience="customer")
    letters.filter(state=NoticeState.PENDING).update(state=NoticeState.OBSOLETE)
    if letters.filter(state__in=GONE_OUT).exists():
        raise CannotChange(f"{booking.job.customer} has been told already.")


def _restore(booking: Booking, kept: Mapping[str, Any]) -> None:
    booking.state = BookingState(kept["state"])
    booking.promise = PromiseLevel(kept["promise"])
    booking.moves = kept["moves"]
    booking.held_until = instant(kept["held_until"])
    booking.confirmed_at = instant(kept["confirmed_at"])
    booking.walk_on_at = instant(kept["walk_on_at"])
    booking.drive_on_at = instant(kept["drive_on_at"])
    booking.drive_on_basis = kept["drive_on_basis"]
    booking.called_off_at, booking.called_off_why = None, ""
