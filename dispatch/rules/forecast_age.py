"""How old the forecast is and, when it is old, why: one or two sentences for every screen."""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from jobs.rules.clock import say_moment, say_time
from weather.rules.hours import HOUR

OLD_H = 12.0
UNUSABLE_H = 24.0


def age_sentence(*, issued_at: datetime | None, now: datetime, zone: ZoneInfo) -> str:
    """ "Forecast of 6 AM, 3 h old."; from 24 h on that it bears no verdict any more."""
    if issued_at is None:
        return "No forecast yet."
    age_h = max(0.0, (now - issued_at) / HOUR)
    moment = say_time(issued_at, zone) if age_h < OLD_H else say_moment(issued_at, zone)
    end = ": too old for any verdict" if is_unusable(issued_at, now=now) else ""
    return f"Forecast of {moment}, {age_h:.0f} h old{end}."


def is_old(issued_at: datetime | None, *, now: datetime) -> bool:
    """Whether there is no forecast, or one so old that somebody should know why."""
    return issued_at is None or (now - issued_at) / HOUR > OLD_H


def is_unusable(issued_at: datetime | None, *, now: datetime) -> bool:
    """Whether no verdict can rest on it."""
    return issued_at is None or (now - issued_at) / HOUR > UNUSABLE_H


def why_sentence(
    *,
    off: str,
    troubles: Sequence[tuple[str, str]],
    checked_at: datetime | None,
    zone: ZoneInfo,
) -> str:
    """Why there is no newer forecast.

    `troubles` are a service's name and what it last said; `off` why nobody is asked at all.
    """
    if off:
        return f"Why: {off}."
    if troubles:
        told = " ".join(f"{name}: {said.rstrip('.')}." for name, said in troubles)
        return f"Why: no service gives a newer one. {told}"
    if checked_at is None:
        return "Why: it has not been asked for yet."
    return (
        f"Why: the services have given nothing newer since {say_moment(checked_at, zone)}, "
        "when they last answered."
    )
