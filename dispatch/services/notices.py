"""Notices: owed in the transaction of the change, sent later, never while a row is locked."""

from datetime import datetime, timedelta

from django.db import transaction

from dispatch.models import Booking, BookingState, Notice, NoticeKind, Stint

# Inside this time a calendar feed is too slow and the crew must be told directly.
CREW_MUST_KNOW = timedelta(hours=48)


def owe(booking: Booking, kind: NoticeKind, *, now: datetime, why: str = "") -> None:
    """Write down what the customer must be told of this version of the booking."""
    customer = booking.job.customer
    if booking.state == BookingState.HELD or not customer.email:
        return
    _write(booking, kind, audience="customer", to=customer.email, now=now, facts={"why": why})


def owe_crew(stint: Stint, *, now: datetime, text: str) -> None:
    """Write down a change within 48 hours that the crew's lead must be seen to have read."""
    if stint.start - now > CREW_MUST_KNOW or stint.end < now:
        return
    lead = stint.crew.lead
    _write(
        stint.booking,
        NoticeKind.CREW_CHANGE,
        audience="crew",
        to=lead.name if lead else stint.crew.name,
        now=now,
        facts={"text": text, "crew": stint.crew_id},
        stint=stint,
    )


def _write(
    booking: Booking,
    kind: NoticeKind,
    *,
    audience: str,
    to: str,
    now: datetime,
    facts: dict[str, object],
    stint: Stint | None = None,
) -> None:
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("a notice is owed inside the transaction of its change")
    crew = f":{facts.get('crew')}" if audience == "crew" else ""
    Notice.objects.bulk_create(
        [
            Notice(
                key=f"{kind}:{booking.pk}:{booking.version}:{audience}{crew}",
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
