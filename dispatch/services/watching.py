"""The weather watch of confirmed days under the sky, kept so that a fluttering forecast does not
flutter in front of the customer."""

from datetime import datetime

from dispatch.models import (
    Booking,
    BookingState,
    FinalCall,
    NoticeKind,
    PromiseLevel,
    Stint,
    Watch,
)
from dispatch.reads.chain import thresholds_of
from dispatch.reads.final_call import is_open
from dispatch.rules.final_call import call_moment
from dispatch.rules.final_words import customer_watch
from dispatch.rules.findings import Level
from dispatch.rules.watching import News, Shown, Watched, WatchLimits, after
from dispatch.services import notices
from jobs.writing import run_write


def follow(
    booking: Booking, stint: Stint, *, level: Level, forecast: int | None, now: datetime
) -> None:
    """Count one more verdict on `stint`; the customer is told where a watch begins.

    Nothing is written for a day that is not watched: planned ones shift silently.
    """
    if booking.promise != PromiseLevel.CONFIRMED or booking.state != BookingState.BOOKED:
        return
    if stint.start <= now or not is_open(booking.job):
        return
    _count(booking.pk, stint, level=level, forecast=forecast, now=now)


@run_write
def _count(
    booking_id: int, stint: Stint, *, level: Level, forecast: int | None, now: datetime
) -> None:
    booking = Booking.objects.select_related("branch", "job__customer", "job__site").get(
        pk=booking_id
    )
    branch = booking.branch
    day = stint.start.astimezone(branch.tz).date()
    row, _ = Watch.objects.select_for_update().get_or_create(booking=booking, day=day)
    call_at = call_moment(day, at=branch.final_call_at, zone=branch.tz)
    news = News(
        level=level,
        forecast=forecast,
        start=stint.start,
        call_at=call_at,
        now=now,
        confirmed=booking.promise == PromiseLevel.CONFIRMED,
        open_floor=is_open(booking.job),
        decided=FinalCall.objects.filter(stint=stint, day=day).exists(),
    )
    before = _state(row)
    state = after(before, news, limits=_limits(booking))
    if state == before:
        return
    row.shown, row.turns, row.since = state.shown.value, state.turns, state.since
    row.bad_in_a_row, row.seen_forecast = min(state.bad_in_a_row, 1000), state.seen_forecast
    row.save()
    if state.shown is Shown.WATCH and before.shown is not Shown.WATCH:
        lines = customer_watch(call_at=call_at, zone=booking.job.site.tz)
        notices.owe(booking, NoticeKind.WATCH, now=now, lines=lines, tag=day.isoformat())


def _state(row: Watch) -> Watched:
    return Watched(
        shown=Shown(row.shown),
        turns=row.turns,
        bad_in_a_row=row.bad_in_a_row,
        seen_forecast=row.seen_forecast,
        since=row.since,
    )


def _limits(booking: Booking) -> WatchLimits:
    limits = thresholds_of(booking.branch)
    return WatchLimits(
        watch_days=limits.watch_days,
        watch_forecasts=limits.watch_forecasts,
        watch_quiet_h=limits.watch_quiet_h,
    )
