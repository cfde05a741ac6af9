"""Swapping: two bookings exchange their crews and days in one transaction."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from uuid import uuid4

from dispatch.models import Booking, BookingState, NoticeKind
from dispatch.rules.asking import Ask, PlannedStint, Promised
from dispatch.rules.firmness import Firmness
from dispatch.rules.kept import exchanged, planned_stints
from dispatch.services import claims, notices
from dispatch.services.changing import (
    CannotChange,
    crew_days,
    finish,
    open_booking,
    promise,
    refuse_begun,
    snapshot,
    stints_of,
)
from dispatch.services.placing import gather, give_back, put
from jobs.access import Actor
from jobs.models import Branch, DayWish
from jobs.refusals import Refusal
from jobs.rules.clock import round_up_quarter, say_day, say_moment, say_time
from jobs.writing import run_write


@dataclass(frozen=True)
class Side:
    """One of two bookings, as the asker saw it.

    `ask` is what it is to become where somebody has reckoned it anew for that day. Without
    it the booking takes the other's crew, machines and starts, and keeps its own length.
    """

    booking_id: int
    version: int
    ask: Ask | None = None


@run_write
def swap(
    *, branch: Branch, first: Side, second: Side, by: Actor, now: datetime, why: str = ""
) -> tuple[Booking, Booking]:
    """Exchange the crews and days of two bookings; both or neither.

    Raises SlotTaken or CannotChange where one no longer fits in the other's place, and Stale
    where either was changed since it was seen.
    """
    if first.booking_id == second.booking_id:
        raise Refusal("A booking cannot be swapped with itself.")
    one, two = _locked(branch, (first, second), now=now)
    asks = (first.ask or _ask_for(one, two), second.ask or _ask_for(two, one))
    _exchange(branch, ((one, asks[0]), (two, asks[1])), action="swap", by=by, now=now, why=why)
    return one, two


@run_write
def move_together(
    *, branch: Branch, sides: Sequence[Side], by: Actor, now: datetime, why: str = ""
) -> list[Booking]:
    """Move bookings that stand in each other's way, all or none; each side has its ask.

    Raises SlotTaken, CannotChange, Stale and NotFound as a move does.
    """
    found = _locked(branch, sides, now=now)
    asks = [side.ask for side in sides]
    pairs = [(booking, ask) for booking, ask in zip(found, asks, strict=True) if ask is not None]
    if len(pairs) != len(sides):
        raise Refusal("A booking that moves with others needs its new days.")
    _exchange(branch, pairs, action="move", by=by, now=now, why=why)
    return found


def _locked(branch: Branch, sides: Sequence[Side], *, now: datetime) -> list[Booking]:
    """The bookings of the sides, in their order, none of them begun."""
    # In key order, so that two swaps of the same pair never wait for each other in a ring.
    seen = {
        side.booking_id: open_booking(branch, side.booking_id, side.version)
        for side in sorted(sides, key=lambda side: side.booking_id)
    }
    found = [seen[side.booking_id] for side in sides]
    for booking in found:
        refuse_begun(booking, now=now)
    return found


def _exchange(
    branch: Branch,
    pairs: Sequence[tuple[Booking, Ask]],
    *,
    action: str,
    by: Actor,
    now: datetime,
    why: str,
) -> None:
    """Give all time back, take all of it anew, and write down and tell what changed."""
    group = uuid4().hex
    there = {booking.pk: stints_of(booking) for booking, _ in pairs}
    before = {booking.pk: snapshot(booking, there[booking.pk]) for booking, _ in pairs}
    told = {booking.pk: crew_days(booking, there[booking.pk]) for booking, _ in pairs}
    needed = [gather(branch, ask.stints) for _, ask in pairs]
    claims.lock(resource.pk for side in needed for each in side for resource in each.resources)
    for booking, _ in pairs:
        give_back(booking)
    for (booking, ask), side in zip(pairs, needed, strict=True):
        put(booking, side)
        booking.moves += 1
        promise(booking, ask.promised, now=now)
    for booking, _ in pairs:
        stints = finish(
            booking,
            booking.job,
            action=action,
            before=before[booking.pk],
            by=by,
            why=why,
            now=now,
            group=group,
        )
        if _promised(before[booking.pk]) != _promised(snapshot(booking, stints)):
            notices.owe(booking, NoticeKind.MOVED, now=now, why=why)
        notices.owe_crews(
            booking, before=told[booking.pk], after=crew_days(booking, stints), now=now
        )


def _promised(kept: dict[str, object]) -> tuple[object, ...]:
    """What the customer was told of a booking, as far as a swap can change it."""
    stints = kept["stints"]
    starts = [stint["start"] for stint in stints] if isinstance(stints, list) else []
    return (starts, kept["promise"], kept["walk_on_at"], kept["drive_on_at"])


def _ask_for(mine: Booking, other: Booking) -> Ask:
    """My booking in the other's place."""
    own, theirs = planned_stints(snapshot(mine)), planned_stints(snapshot(other))
    if len(own) != len(theirs):
        raise CannotChange(
            f"{mine.job.customer} needs {_visits(own)} and {other.job.customer} "
            f"{_visits(theirs)}, so they cannot be swapped as they are."
        )
    if any(stint.machine_spans for stint in (*own, *theirs)):
        raise CannotChange("A machine is handed over on one of these days. Please move them.")
    stints = exchanged(own, theirs)
    later = stints[-1].start - own[-1].start
    promised = Promised(
        level=Firmness(mine.promise),
        walk_on_at=_later(mine.walk_on_at, later),
        drive_on_at=_later(mine.drive_on_at, later),
        drive_on_basis=mine.drive_on_basis,
    )
    _check_fits(mine, stints, theirs, promised)
    held = mine.held_until if mine.state == BookingState.HELD else None
    return Ask(stints=stints, promised=promised, held_until=held)


def _later(instant: datetime | None, by: timedelta) -> datetime | None:
    return round_up_quarter(instant + by) if instant else None


def _visits(stints: Sequence[PlannedStint]) -> str:
    return "one visit" if len(stints) == 1 else f"{len(stints)} visits"


def _check_fits(
    booking: Booking,
    stints: Sequence[PlannedStint],
    theirs: Sequence[PlannedStint],
    promised: Promised,
) -> None:
    """Refuse days that the customer cannot, and work that would end after everybody's day."""
    job, branch = booking.job, booking.branch
    for stint, there in zip(stints, theirs, strict=True):
        day = stint.start.astimezone(branch.tz).date()
        if day in job.days_off():
            raise CannotChange(f"{job.customer} cannot on {say_day(day)}.")
        closes = branch.at(day, min(branch.day_ends, job.site.closes or time(23, 59)))
        if stint.end > max(closes, there.end):
            raise CannotChange(
                f"{job.customer}'s floor would end at {say_time(stint.end, branch.tz)} on "
                f"{say_day(day)}, and work ends at {say_time(closes, branch.tz)}."
            )
        if job.site.opens and stint.start < branch.at(day, job.site.opens):
            raise CannotChange(f"{job.customer} opens at {job.site.opens:%H:%M}.")
    first = stints[0].start.astimezone(branch.tz).date()
    if job.day_wish == DayWish.FIXED and job.wished_day not in (None, first):
        raise CannotChange(f"{job.customer} can only on {say_day(job.wished_day)}.")
    if job.car_needed_by and promised.drive_on_at and promised.drive_on_at > job.car_needed_by:
        raise CannotChange(
            f"{job.customer} needs the car by {say_moment(job.car_needed_by, job.site.tz)}."
        )
