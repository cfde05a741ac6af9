"""Saying days and times to people, in the zone of the site they are about."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

QUARTER = timedelta(minutes=15)


def say_day(day: date) -> str:
    """A day as people say it: "Tue Dec 1"."""
    return f"{day:%a %b} {day.day}"


def say_time(instant: datetime, zone: ZoneInfo) -> str:
    """The time on the wall at the site: "7:05 AM"."""
    local = instant.astimezone(zone)
    return f"{local.hour % 12 or 12}:{local:%M %p}"


def say_moment(instant: datetime, zone: ZoneInfo) -> str:
    """Day and time at the site: "Tue Dec 1, 7:05 AM"."""
    return f"{say_day(instant.astimezone(zone).date())}, {say_time(instant, zone)}"


def say_span(start: datetime, end: datetime, zone: ZoneInfo) -> str:
    """A stretch of time at the site; the second day is named only if it is another."""
    same_day = start.astimezone(zone).date() == end.astimezone(zone).date()
    until = say_time(end, zone) if same_day else say_moment(end, zone)
    return f"{say_moment(start, zone)} to {until}"


def round_up_quarter(instant: datetime) -> datetime:
    """The next quarter of an hour (UTC) at or after `instant`: promises never round down."""
    if instant.tzinfo is None:
        raise ValueError("a time without a zone names no instant")
    instant = instant.astimezone(UTC)
    past = timedelta(
        minutes=instant.minute % 15, seconds=instant.second, microseconds=instant.microsecond
    )
    return instant + (QUARTER - past) if past else instant


def round_down_quarter(instant: datetime) -> datetime:
    """The quarter of an hour (UTC) in which `instant` lies."""
    up = round_up_quarter(instant)
    return up if up == instant else up - QUARTER
