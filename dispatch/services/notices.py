"""Notices: owed in the transaction of the change, sent later, never while a row is locked."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction

from dispatch.models import Booking, BookingState, Crew, Notice, NoticeKind, NoticeState, Stint

# Inside this time a calendar feed is too slow and the crew must be told directly.
CREW_MUST_KNOW = timedelta(hours=48)
# What replaces a word the customer has just had is rung first; its mail follows so much later.
RING_FIRST = timedelta(minutes=30)
JUST_TOLD = timedelta(hours=12)
TURNING = (NoticeKind.MOVED, NoticeKind.CALLED_OFF)
# A day that began longer ago is nobody's surprise any more.
GONE_BY = timedelta(hours=12)


def owe(
    booking: Booking,
    kind: NoticeKind,
    *,
    now: datetime,
    why: str = "",
    lines: Sequence[str] = (),
    tag: str = "",
    due_at: datetime | None = None,
    stint: Stint | None = None,
) -> None:
    """Write down what the customer must be told of this version of the booking, or of one visit.

    `lines` are sentences of this notice alone. `tag` tells notices of one kind and version
    apart; a mail that is `due_at` a later time waits until somebody has rung first, as does
    one that turns what another mail has just said.
    """
    customer = booking.job.customer
    if booking.state == BookingState.HELD or not customer.email:
        return
    facts: dict[str, object] = {"why": why}
    if due_at is None and kind in TURNING and _just_told(booking, now=now):
        due_at = now + RING_FIRST
    if lines:
        facts["lines"] = [line for line in lines if line]
    if due_at is not None:
        facts["ring_first"] = True
    _write(
        booking,
        kind,
        audience="customer",
        to=customer.email,
        now=due_at or now,
        facts=facts,
        tag=tag,
        stint=stint,
    )


def _just_told(booking: Booking, *, now: datetime) -> bool:
    """Whether a mail of this evening or morning said that the day stands, or moved it."""
    return Notice.objects.filter(
        booking=booking,
        kind__in=(NoticeKind.FINAL_CALL, NoticeKind.MOVED),
        state=NoticeState.SENT,
        sent_at__gt=now - JUST_TOLD,
    ).exists()


@dataclass(frozen=True)
class CrewDay:
    """One stint as its crew knows it."""

    crew: Crew
    start: datetime
    text: str
    leaves: datetime | None = None  # for the site; not known: when it starts


def owe_crews(
    booking: Booking, *, before: Sequence[CrewDay], after: Sequence[CrewDay], now: datetime
) -> None:
    """Write down, for each crew, what has changed within 48 hours of an old or a new start.

    A crew that lost a day is told as well: it would drive to it otherwise.
    """
    for crew in {day.crew.pk: day.crew for day in (*before, *after)}.values():
        old = [day for day in before if day.crew.pk == crew.pk]
        new = [day for day in after if day.crew.pk == crew.pk]
        if [day.text for day in old] == [day.text for day in new]:
            continue
        starts = [day.start for day in (*old, *new)]
        if not any(-GONE_BY < start - now <= CREW_MUST_KNOW for start in starts):
            continue
        _write(
            booking,
            NoticeKind.CREW_CHANGE,
            audience="crew",
            to=crew.lead.name if crew.lead else crew.name,
            now=now,
            facts={
                "text": _say_change(old, new),
                "crew": crew.pk,
                "until": max(starts).isoformat(),
                "leaves": min(day.leaves or day.start for day in (*old, *new)).isoformat(),
            },
        )


def _say_change(old: Sequence[CrewDay], new: Sequence[CrewDay]) -> str:
    was = "; ".join(day.text for day in old)
    now_on = "; ".join(day.text for day in new)
    if not new:
        return f"Not on: {was}"
    return f"Moved: {now_on} (was {was})" if old else f"New: {now_on}"


def _write(
    booking: Booking,
    kind: NoticeKind,
    *,
    audience: str,
    to: str,
    now: datetime,
    facts: dict[str, object],
    tag: str = "",
    stint: Stint | None = None,
) -> None:
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("a notice is owed inside the transaction of its change")
    apart = f":{facts.get('crew')}" if audience == "crew" else f":{tag}" if tag else ""
    Notice.objects.bulk_create(
        [
            Notice(
                key=f"{kind}:{booking.pk}:{booking.version}:{audience}{apart}",
                branch_id=booking.branch_id,
                kind=kind,
                booking=booking,
                booking_version=booking.version,
                stint=stint,
                audience=audience,
                to=to,
                facts=facts,
                due_at=now,
                next_try_at=now,
            )
        ],
        ignore_conflicts=True,  # the same change is owed once, however often it is tried
    )
