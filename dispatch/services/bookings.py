"""Bookings: book, move, call off, confirm, and holds that lapse. Each is one transaction."""

from datetime import datetime
from typing import Any

from dispatch.models import (
    OPEN_STATES,
    Booking,
    BookingState,
    NoticeKind,
    PromiseLevel,
    Stint,
    StintState,
)
from dispatch.rules.asking import Ask, Promised
from dispatch.services import claims, notices, proposals
from dispatch.services.changing import (
    AlreadyBooked,
    CannotChange,
    as_firm_as_known,
    crew_days,
    finish,
    locked_job,
    open_booking,
    promise,
    snapshot,
    stints_of,
)
from dispatch.services.handing_over import hand_over
from dispatch.services.placing import place
from dispatch.services.swapping import swap
from dispatch.services.undoing import undo
from jobs import idempotency
from jobs.access import PROGRAM, Actor
from jobs.models import Branch, JobState
from jobs.refusals import NotFound, Stale
from jobs.services import questions
from jobs.writing import run_write

__all__ = [
    "AlreadyBooked",
    "CannotChange",
    "book",
    "call_off",
    "confirm",
    "hand_over",
    "lapse_holds",
    "leave",
    "move",
    "move_within",
    "promise_later",
    "snapshot",
    "swap",
    "undo",
]

WATCHED_STATES = (*OPEN_STATES, BookingState.DONE)


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
    job = locked_job(branch, job_id)
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
    promise(booking, as_firm_as_known(job, ask.promised, now=now), now=now)
    booking.save()
    place(booking, ask.stints)
    job.state = JobState.BOOKED
    stints = finish(booking, job, action="book", before={}, by=by, why=ask.why, now=now)
    notices.owe(booking, NoticeKind.BOOKED, now=now)
    notices.owe_crews(booking, before=(), after=crew_days(booking, stints), now=now)
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
    *,
    branch: Branch,
    booking_id: int,
    version: int,
    ask: Ask,
    by: Actor,
    now: datetime,
    agreed: bool = False,
) -> Booking:
    """Move a booking to other days or another crew; its calendar entries keep their UIDs.

    A customer who knew a day is asked whether the new one works, unless it was `agreed`.
    """
    return move_within(
        branch=branch, booking_id=booking_id, version=version, ask=ask, by=by, now=now,
        agreed=agreed,
    )  # fmt: skip


def move_within(
    *,
    branch: Branch,
    booking_id: int,
    version: int,
    ask: Ask,
    by: Actor,
    now: datetime,
    agreed: bool = False,
) -> Booking:
    """`move` inside the transaction of a service that keeps more than the move."""
    booking = open_booking(branch, booking_id, version)
    seen = stints_of(booking)
    before, told = snapshot(booking, seen), crew_days(booking, seen)
    knew = booking.promise == PromiseLevel.CONFIRMED and not agreed
    was = [stint.start for stint in seen if stint.state != StintState.CALLED_OFF and knew]
    if booking.state == BookingState.HELD and ask.held_until is None:
        booking.state, booking.held_until = BookingState.BOOKED, None
    booking.moves += 1
    promise(booking, as_firm_as_known(booking.job, ask.promised, now=now), now=now)
    place(booking, ask.stints)
    stints = finish(booking, booking.job, action="move", before=before, by=by, why=ask.why, now=now)
    starts = [stint.start for stint in stints if stint.state != StintState.CALLED_OFF]
    lines = proposals.propose(booking, starts=starts, was=was, now=now)
    notices.owe(booking, NoticeKind.MOVED, now=now, why=ask.why, lines=lines)
    notices.owe_crews(booking, before=told, after=crew_days(booking, stints), now=now)
    return booking


@run_write
def call_off(
    *, branch: Branch, booking_id: int, version: int, by: Actor, now: datetime, why: str
) -> Booking:
    """Call a booking off; the job waits again in its old place in line."""
    booking = open_booking(branch, booking_id, version)
    return _call_off(booking, by=by, now=now, why=why)


@run_write
def confirm(*, branch: Branch, booking_id: int, version: int, by: Actor, now: datetime) -> Booking:
    """Make a held or planned day a confirmed one; the customer is told.

    Raises NotKnown where something that must be known first is not.
    """
    booking = open_booking(branch, booking_id, version)
    questions.refuse_missing(booking.job, now=now)
    before = snapshot(booking)
    booking.state, booking.held_until = BookingState.BOOKED, None
    booking.promise = PromiseLevel.CONFIRMED
    booking.confirmed_at = now
    finish(booking, booking.job, action="confirm", before=before, by=by, why="", now=now)
    notices.owe(booking, NoticeKind.BOOKED, now=now)
    return booking


@run_write
def leave(*, branch: Branch, stint_id: int, by: Actor, now: datetime) -> Booking:
    """The crew has left: the stint is done, and with its last stint the booking and the job."""
    stint = Stint.objects.of_branch(branch).select_related("booking").filter(pk=stint_id).first()
    if stint is None:
        raise NotFound("There is no such stint in this branch.")
    booking = open_booking(branch, stint.booking_id, stint.booking.version)
    before = snapshot(booking)
    Stint.objects.filter(pk=stint.pk).update(state=StintState.DONE)
    if not booking.stints.filter(state=StintState.PLANNED).exists():
        booking.state, booking.held_until, booking.done_at = BookingState.DONE, None, now
        booking.job.state = JobState.DONE
    finish(booking, booking.job, action="left the site", before=before, by=by, why="", now=now)
    return booking


@run_write
def promise_later(
    *, branch: Branch, booking_id: int, version: int, promised: Promised, now: datetime, why: str
) -> Booking:
    """Move walk-on and drive-on later because it got colder; never earlier by itself.

    A coated floor stays under watch until its drive-on.
    """
    booking = open_booking(branch, booking_id, version, states=WATCHED_STATES)
    old = booking.drive_on_at
    if promised.drive_on_at is None or (old and promised.drive_on_at <= old):
        raise CannotChange("A promise moves earlier only by a person.")
    before = snapshot(booking)
    booking.drive_on_at, booking.drive_on_basis = promised.drive_on_at, promised.drive_on_basis
    if promised.walk_on_at and (not booking.walk_on_at or promised.walk_on_at > booking.walk_on_at):
        booking.walk_on_at = promised.walk_on_at
    finish(
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


def _call_off(booking: Booking, *, by: Actor, now: datetime, why: str) -> Booking:
    seen = stints_of(booking)
    before, told = snapshot(booking, seen), crew_days(booking, seen)
    was_held = booking.state == BookingState.HELD
    booking.state = BookingState.CALLED_OFF
    booking.held_until = None
    booking.called_off_at, booking.called_off_why = now, why[:500]
    claims.lock(
        booking.stints.filter(claims__isnull=False).values_list("claims__resource_id", flat=True)
    )
    claims.release(booking)
    booking.stints.update(state=StintState.CALLED_OFF)
    booking.job.state = JobState.WAITING
    finish(booking, booking.job, action="call off", before=before, by=by, why=why, now=now)
    if not was_held:
        notices.owe(booking, NoticeKind.CALLED_OFF, now=now, why=why)
        notices.owe_crews(booking, before=told, after=(), now=now)
    return booking
