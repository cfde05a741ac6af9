"""Receipts: proof that somebody saw what they had to see, and what a customer tells us."""

from datetime import datetime

from django.db import connection

from dispatch.models import Booking, BookingState, Notice, NoticeKind, NoticeState, Receipt
from jobs import audit
from jobs.access import Actor
from jobs.models import ActorKind, AuditEvent
from jobs.refusals import Refusal
from jobs.writing import run_write

PHONE_PAGE, TELEPHONE = "phone page", "telephone"
CANNOT = "customer cannot"
WHY_LETTERS = 300


class TooLate(Refusal):
    """The day is over, or not on any more, so there is nothing left to say about it."""

    code = "too_late"
    status = 409


@run_write
def seen(notice: Notice, *, by: Actor, now: datetime) -> Receipt:
    """The crew pressed "I have seen this" on its phone; pressing again changes nothing."""
    return _receive(notice, how=PHONE_PAGE, by=by, now=now)


@run_write
def told_by_telephone(notice: Notice, *, by: Actor, now: datetime) -> Receipt:
    """Somebody of the office rang and was understood; entering it again changes nothing."""
    return _receive(notice, how=TELEPHONE, by=by, now=now)


@run_write
def customer_cannot(booking: Booking, *, why: str, now: datetime) -> AuditEvent:
    """The customer says that the day no longer works: kept once for each state of the booking.

    Nothing is moved: a person of the office rings. Raises TooLate.
    """
    wanted = Booking.objects.filter(pk=booking.pk).select_related("branch", "job__customer")
    if connection.features.has_select_for_update:
        wanted = wanted.select_for_update(of=("self",), no_key=True)
    current: Booking = wanted.get()
    first = current.stints.standing().order_by("start").first()
    if current.state != BookingState.BOOKED or first is None or first.start <= now:
        raise TooLate("The work has begun or the day is not on any more. Please ring us.")
    said: AuditEvent | None = wish_of(current)
    if said is not None:
        return said
    by = Actor(kind=ActorKind.CUSTOMER, name=current.job.customer.name)
    return audit.record(
        branch=current.branch,
        by=by,
        subject="booking",
        subject_id=current.pk,
        action=CANNOT,
        now=now,
        after={"version": current.version},
        why=why[:WHY_LETTERS],
    )


def wish_of(booking: Booking) -> AuditEvent | None:
    """What the customer said of the booking as it stands now, if they did."""
    found: AuditEvent | None = AuditEvent.objects.filter(
        subject="booking", subject_id=booking.pk, action=CANNOT, after__version=booking.version
    ).first()
    return found


def _receive(notice: Notice, *, how: str, by: Actor, now: datetime) -> Receipt:
    """One receipt for the notice; whoever saw the newest change has seen what it replaced."""
    same = Notice.objects.filter(pk=notice.pk)
    if notice.kind == NoticeKind.CREW_CHANGE:
        same = Notice.objects.filter(
            booking_id=notice.booking_id,
            kind=NoticeKind.CREW_CHANGE,
            audience=notice.audience,
            booking_version__lte=notice.booking_version,
            facts__crew=notice.facts.get("crew"),
        )
        same.filter(state=NoticeState.PENDING).update(state=NoticeState.SENT, sent_at=now)
    Receipt.objects.bulk_create(
        [
            Receipt(notice_id=pk, at=now, how=how, by=by.name[:120], user=by.user)
            for pk in same.filter(receipt__isnull=True).values_list("pk", flat=True)
        ],
        ignore_conflicts=True,  # two thumbs on two phones
    )
    return Receipt.objects.get(notice_id=notice.pk)
