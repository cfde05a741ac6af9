"""The weather watch: what the customer of a confirmed day is shown before the final call.

A forecast flutters; a customer must not. So what they see turns at most once, from clear to
"the day may move", and only after several forecasts in a row agree; it never turns back by
itself. The next word is the final call's, and that is a person's.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from dispatch.rules.findings import Level


class Shown(StrEnum):
    """What the customer sees."""

    CLEAR = "clear"
    WATCH = "watch"


@dataclass(frozen=True, kw_only=True)
class WatchLimits:
    """When a watch begins. Settings of a branch, by these names among its thresholds."""

    # The horizon to which a forecast of rain means something, and so the customer's notice.
    watch_days: float = 3.0
    # So many forecasts in a row must say no.
    watch_forecasts: int = 2
    # So short before the final call nothing is announced any more: the call itself speaks.
    watch_quiet_h: float = 2.0


DEFAULT_LIMITS = WatchLimits()


@dataclass(frozen=True)
class Watched:
    """The state of one watch. `turns` counts how often what the customer sees has changed."""

    shown: Shown = Shown.CLEAR
    turns: int = 0
    bad_in_a_row: int = 0
    seen_forecast: int | None = None
    since: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class News:
    """A verdict on one forecast, for a stint that starts at `start`."""

    level: Level
    forecast: int | None  # which forecast; the same one is counted once
    start: datetime
    call_at: datetime  # the hour of the final call
    now: datetime
    confirmed: bool
    open_floor: bool
    decided: bool  # a person has taken the final call


def after(state: Watched, news: News, *, limits: WatchLimits = DEFAULT_LIMITS) -> Watched:
    """The watch after one more verdict. Unknown neither begins a watch nor clears the count."""
    if news.forecast == state.seen_forecast or not _counts(news):
        return state
    if news.level is Level.UNKNOWN or news.forecast is None:
        return replace(state, seen_forecast=news.forecast)
    bad = state.bad_in_a_row + 1 if news.level is Level.NO else 0
    seen = replace(state, bad_in_a_row=bad, seen_forecast=news.forecast)
    if state.shown is Shown.WATCH or bad < limits.watch_forecasts or _silent(news, limits):
        return seen
    return replace(seen, shown=Shown.WATCH, turns=state.turns + 1, since=news.now)


def _counts(news: News) -> bool:
    """Planned days shift silently, roofed floors are not watched, a decided day is decided."""
    return news.confirmed and news.open_floor and not news.decided and news.now < news.start


def _silent(news: News, limits: WatchLimits) -> bool:
    """Too early to mean something, or so late that the final call itself is the next word."""
    early = news.start - news.now > timedelta(days=limits.watch_days)
    return early or news.now >= news.call_at - timedelta(hours=limits.watch_quiet_h)
