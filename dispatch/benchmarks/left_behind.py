"""What the program leaves behind of a floor that was coated, for invented years only.

Nobody was told anything and nothing was judged, so no service may write this: it would be a
verdict that was never given. In a benchmark it makes tables as long as they would be.
"""

from collections.abc import Sequence
from datetime import timedelta

from dispatch.models import (
    Booking,
    Notice,
    NoticeKind,
    NoticeState,
    Receipt,
    Stint,
    StoredVerdict,
)
from dispatch.services.past_work import PastWork

CHECKS = ("rain", "dryness", "dew", "slab", "air", "wind", "night", "forecast")
JUDGED_BEFORE = timedelta(hours=14)
SENT_AFTER = timedelta(minutes=1)


def leave_behind(bookings: Sequence[Booking], work: Sequence[PastWork]) -> None:
    """A verdict, a mail that went out, and a change that the crew saw, for each booking."""
    stints = dict(Stint.objects.filter(booking__in=bookings).values_list("booking_id", "pk"))
    StoredVerdict.objects.bulk_create(
        _verdict(stints[booking.pk], each) for booking, each in zip(bookings, work, strict=True)
    )
    mails = [_notice(booking, each, NoticeKind.BOOKED) for booking, each in _both(bookings, work)]
    changes = [
        _notice(booking, each, NoticeKind.CREW_CHANGE) for booking, each in _both(bookings, work)
    ]
    Notice.objects.bulk_create([*mails, *changes])
    Receipt.objects.bulk_create(
        Receipt(notice=notice, at=notice.due_at, how="phone page", by="the crew")
        for notice in changes
    )


def _both(
    bookings: Sequence[Booking], work: Sequence[PastWork]
) -> Sequence[tuple[Booking, PastWork]]:
    return list(zip(bookings, work, strict=True))


def _verdict(stint_id: int, each: PastWork) -> StoredVerdict:
    stint = each.stint
    return StoredVerdict(
        stint_id=stint_id,
        made_at=stint.start - JUDGED_BEFORE,
        level="go",
        headline="Every hour of the day lies within the limits.",
        checks=[{"name": name, "level": "go", "sentence": f"{name}: within"} for name in CHECKS],
        wet_from=stint.pour_at,
        wet_until=stint.wet_until,
        last_safe_pour=stint.pour_at,
        latest=True,
    )


def _notice(booking: Booking, each: PastWork, kind: NoticeKind) -> Notice:
    customer = kind == NoticeKind.BOOKED
    return Notice(
        key=f"{booking.pk}:{kind}:1",
        branch=booking.branch,
        kind=kind,
        booking=booking,
        booking_version=1,
        audience="customer" if customer else "crew",
        to=each.job.customer.email if customer else "",
        facts={"crew": each.stint.crew_id, "until": each.stint.end.isoformat()},
        state=NoticeState.SENT,
        due_at=each.booked_at,
        next_try_at=each.booked_at,
        attempts=1,
        sent_at=each.booked_at + SENT_AFTER,
        subject="Your floor",
        text="Your floor is booked. The page behind your link is always current.",
    )
