"""Whether the work behind the pages is being done, and what waits: for monitors and the office."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from django.db.models import Max, Min

from dispatch.models import Booking, BookingState, Notice, NoticeState
from weather.models import Chore, Forecast

KINDS = ("forecast", "verdicts", "notices")
# Beside the chores that are claimed under their own names.
HEARTBEAT = "heartbeat: "
BEAT_EVERY = timedelta(seconds=20)
# The clock ticks each minute, and a round behind slow services may take another two.
SILENT_AFTER = timedelta(minutes=11)


def heartbeat_ages_s(*, now: datetime) -> dict[str, float]:
    """Seconds since each kind of work last ran; a kind that never ran is not among them."""
    beats = Chore.objects.filter(name__startswith=HEARTBEAT, begun_at__isnull=False)
    return {
        beat.name.removeprefix(HEARTBEAT): max((now - beat.begun_at).total_seconds(), 0.0)
        for beat in beats.order_by("name")
        if beat.begun_at is not None
    }


def silent(*, now: datetime) -> list[str]:
    """The kinds of work that nobody has done for eleven minutes, or ever."""
    ages = heartbeat_ages_s(now=now)
    limit_s = SILENT_AFTER.total_seconds()
    return [kind for kind in KINDS if ages.get(kind, limit_s + 1) > limit_s]


def figures(*, now: datetime) -> Iterator[tuple[str, str, float]]:
    """Name, meaning and value of each figure; one that is not known is left out."""
    waiting = Notice.objects.due(now)
    yield "notices_due", "Notices that should have gone out by now.", waiting.count()
    oldest = waiting.aggregate(oldest=Min("due_at"))["oldest"]
    yield (
        "notices_oldest_due_seconds",
        "How long the oldest of them has been due.",
        (now - oldest).total_seconds() if oldest else 0,
    )
    for state in (NoticeState.FAILED, NoticeState.HELD):
        yield (
            f"notices_{state.value}",
            f"Notices that are {state.label.lower()}.",
            Notice.objects.filter(state=state).count(),
        )
    newest = Forecast.objects.filter(second=False).aggregate(at=Max("fetched_at"))["at"]
    if newest is not None:
        yield (
            "forecast_newest_age_seconds",
            "Since any forecast was last stored: forecasts are coming in while this is small.",
            (now - newest).total_seconds(),
        )
    for booked in (BookingState.HELD, BookingState.BOOKED):
        yield (
            f"bookings_{booked.value}",
            f"Bookings in the state: {booked.label.lower()}.",
            Booking.objects.filter(state=booked).count(),
        )
