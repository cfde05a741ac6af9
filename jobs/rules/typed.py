"""What people type into a box or a cell, as values; each refusal is a sentence for them."""

import re
from datetime import date, datetime, time, timedelta

FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2099, 12, 31)
MOST_DAYS = 366
_ISO_DAY = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})", re.ASCII)
_US_DAY = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4})", re.ASCII)
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::00)?\s*([AaPp][Mm])?", re.ASCII)
_US_NUMBER = re.compile(r"[+-]?(\d{1,3}(,\d{3})+|\d*)(\.\d*)?", re.ASCII)
_METRIC_NUMBER = re.compile(r"[+-]?\d*([.,]\d*)?", re.ASCII)
LONGEST_NUMBER = 20


class Unreadable(ValueError):
    """What was typed cannot be read; the message says what to type instead."""


def read_number(text: str, *, us: bool) -> float:
    """A number; a comma parts thousands in the United States and decimals elsewhere."""
    wanted = text.replace("\u00a0", "").replace(" ", "")
    shape = _US_NUMBER if us else _METRIC_NUMBER
    has_digit = any(each in "0123456789" for each in wanted)
    if not (has_digit and len(wanted) <= LONGEST_NUMBER and shape.fullmatch(wanted)):
        raise Unreadable(f"{_short(text)} is not a number; type one such as 450.")
    return float(wanted.replace(",", "" if us else "."))


def read_count(text: str) -> int:
    """A whole number that is not below zero."""
    wanted = text.strip()
    if not re.fullmatch(r"[0-9]{1,6}(\.0+)?", wanted):
        raise Unreadable(f"{_short(text)} is not a count; type a whole number such as 3.")
    return int(wanted.split(".")[0])


def read_yes(text: str) -> bool:
    """Yes or no."""
    wanted = text.strip().casefold()
    if wanted not in {"yes", "y", "true", "1", "no", "n", "false", "0"}:
        raise Unreadable(f"{_short(text)} is neither yes nor no.")
    return wanted in {"yes", "y", "true", "1"}


def read_day(text: str, *, us: bool) -> date:
    """A day as 2026-06-18; in the United States as 6/18/2026 too."""
    day = _calendar_day(text.strip(), us=us)
    if day is None:
        shown = "2026-06-18 or 6/18/2026" if us else "2026-06-18"
        raise Unreadable(f"{_short(text)} is not a day; type it like {shown}.")
    if not FIRST_DAY <= day <= LAST_DAY:
        raise Unreadable(f"{_short(text)} is not a day of this century; check the year.")
    return day


def _calendar_day(text: str, *, us: bool) -> date | None:
    iso = _ISO_DAY.fullmatch(text)
    american = _US_DAY.fullmatch(text) if us else None
    try:
        if iso:
            return date(int(iso[1]), int(iso[2]), int(iso[3]))
        if american:
            return date(int(american[3]), int(american[1]), int(american[2]))
    except ValueError:  # February 30, or month 13
        pass
    return None


def read_days(text: str, *, us: bool) -> tuple[date, ...]:
    """Days and stretches of days, apart by commas, semicolons or lines, each once, in order.

    A stretch is written "2026-06-18 to 2026-06-21" and holds both its ends.
    """
    days: set[date] = set()
    for part in re.split(r"[,;\n]+", text):
        if not part.strip():
            continue
        ends = [read_day(end, us=us) for end in re.split(r"\s+to\s+", part.strip(), maxsplit=1)]
        if ends[-1] < ends[0]:
            raise Unreadable(f"{_short(part)} ends before it starts.")
        length = (ends[-1] - ends[0]).days + 1
        if length + len(days) > MOST_DAYS:
            raise Unreadable(f"{_short(text)} names more than {MOST_DAYS} days.")
        days |= {ends[0] + timedelta(days=number) for number in range(length)}
    return tuple(sorted(days))


def read_moment(text: str, *, us: bool) -> datetime:
    """Day and time as clocks on the site show them: 2026-06-18 17:00, or 5:00 PM."""
    parts = re.split(r"[T\s]+", text.strip(), maxsplit=1)
    if len(parts) != 2:
        raise Unreadable(f"{_short(text)} needs a day and a time; type it like 2026-06-18 17:00.")
    return datetime.combine(read_day(parts[0], us=us), _read_time(parts[1]))


def _read_time(text: str) -> time:
    clock = _CLOCK.fullmatch(text.strip())
    if clock is not None:
        hour, minute, half = int(clock[1]), int(clock[2]), (clock[3] or "").lower()
        readable = 1 <= hour <= 12 if half else hour <= 23
        if readable and minute <= 59:
            return time(hour % 12 + (12 if half == "pm" else 0) if half else hour, minute)
    raise Unreadable(f"{_short(text)} is not a time; type it like 17:00 or 5:00 PM.")


def _short(text: str) -> str:
    """What was typed, in quotes, cut so that a sentence stays one."""
    words = " ".join(text.split())
    return f"“{words[:40]}…”" if len(words) > 40 else f"“{words}”"
