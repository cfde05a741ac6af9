"""Letters that a date or a press brings: a week before, on the way, coated, drive-on reached."""

from datetime import datetime, timedelta
from typing import Any

from django.db import models

from dispatch.models import (
    Booking,
    BookingState,
    Notice,
    NoticeKind,
    PromiseLevel,
    Stamp,
    StampKind,
    Stint,
    StintState,
)
from dispatch.services import notices
from dispatch.services.changing import CannotChange
from jobs import audit
from jobs.access import Actor
from jobs.writing import run_write

WEEK = timedelta(days=7)
# Nearer than this the letters of the last two days say it; and so soon after the day was
# confirmed its letter is still fresh.
TOO_NEAR = timedelta(days=3)
STILL_FRESH = timedelta(days=2)
# A floor that was coated, or a drive-on that came, longer ago is no news.
OLD_NEWS = timedelta(days=2)


def owe_due(*, now: datetime) -> int:
    """Write down the letters whose time has come; return how many. Safe to repeat."""
    owed = 0
    for kind, found in DUE.items():
        owed += sum(_owe(booking.pk, kind, now=now) for booking in found(now))
    return owed


def _a_week_ahead(now: datetime) -> models.QuerySet[Booking]:
    return (
        Booking.objects.filter(
            state=BookingState.BOOKED,
            promise=PromiseLevel.CONFIRMED,
            confirmed_at__lte=now - STILL_FRESH,
            stints__state=StintState.PLANNED,
            stints__number=1,
            stints__start__gt=now + TOO_NEAR,
            stints__start__lte=now + WEEK,
        )
        .exclude(pk__in=_told(NoticeKind.WEEK_BEFORE, since=now - WEEK))
        .order_by("pk")
    )


def _coated() -> models.QuerySet[Booking]:
    """Done, with a stamped top coat: a crew that only prepared the floor leaves it as well."""
    topped = Stamp.objects.filter(kind=StampKind.TOPPED)
    return Booking.objects.filter(
        state=BookingState.DONE, pk__in=topped.values("stint__booking_id")
    )


def _just_done(now: datetime) -> models.QuerySet[Booking]:
    return (
        _coated()
        .filter(done_at__gt=now - OLD_NEWS)
        .exclude(pk__in=_told(NoticeKind.FLOOR_DONE, since=now - 2 * OLD_NEWS))
        .order_by("pk")
    )


def _just_reached(now: datetime) -> models.QuerySet[Booking]:
    return (
        _coated()
        .filter(drive_on_at__lte=now, drive_on_at__gt=now - OLD_NEWS)
        .exclude(pk__in=_told(NoticeKind.DRIVE_ON_REACHED, since=now - 2 * OLD_NEWS))
        .order_by("pk")
    )


def _told(kind: NoticeKind, *, since: datetime) -> Any:
    """Bookings that have had a letter of this kind since then, for a query around it."""
    return Notice.objects.filter(kind=kind, due_at__gt=since).values("booking_id")


DUE = {
    NoticeKind.WEEK_BEFORE: _a_week_ahead,
    NoticeKind.FLOOR_DONE: _just_done,
    NoticeKind.DRIVE_ON_REACHED: _just_reached,
}


@run_write
def _owe(pk: int, kind: NoticeKind, *, now: datetime) -> bool:
    """Write one of them down, unless somebody else has or the booking moved on meanwhile."""
    booking = DUE[kind](now).filter(pk=pk).select_related("job__customer").first()
    if booking is None:
        return False
    notices.owe(booking, kind, now=now)
    return True


def may_say_on_the_way(stint: Stint, *, now: datetime) -> bool:
    """Whether the crew may tell the customer so: a confirmed visit of today that stands."""
    booking = stint.booking
    return (
        booking.state == BookingState.BOOKED
        and booking.promise == PromiseLevel.CONFIRMED
        and stint.state == StintState.PLANNED
        and stint.start.astimezone(booking.job.site.tz).date()
        == now.astimezone(booking.job.site.tz).date()
    )


@run_write
def on_the_way(stint_id: int, *, by: Actor, now: datetime) -> None:
    """The crew has set out: the customer is told, once a visit. Raises CannotChange."""
    stint = Stint.objects.select_related(
        "booking__branch", "booking__job__customer", "booking__job__site"
    ).get(pk=stint_id)
    if not may_say_on_the_way(stint, now=now):
        raise CannotChange("This day is not on any more, or not today. Please ring the office.")
    told = Notice.objects.filter(stint=stint, kind=NoticeKind.ON_THE_WAY)
    if told.exists():
        return
    notices.owe(stint.booking, NoticeKind.ON_THE_WAY, now=now, tag=str(stint.number), stint=stint)
    audit.record(
        branch=stint.booking.branch,
        by=by,
        subject="stint",
        subject_id=stint.pk,
        action="on the way",
        now=now,
    )
