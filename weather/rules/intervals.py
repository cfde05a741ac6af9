"""Values that hold for stretches of time, laid out by the hour.

Services write one value for many hours: either a state that holds in every hour of the
stretch, or a total that fell during it. Copying a total, or sharing out a state, would both
be wrong; so the two are two functions. An hour nobody speaks of stays unknown.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from weather.rules.hours import HOUR, Series

# ISO 8601 durations as the services write them: PT1H, P1DT6H, P2D. Months have no length.
DURATION = re.compile(
    r"P(?:(?P<weeks>\d{1,2})W)?(?:(?P<days>\d{1,3})D)?"
    r"(?:T(?=\d)(?:(?P<hours>\d{1,4})H)?(?:(?P<minutes>\d{1,4})M)?(?:(?P<seconds>\d{1,5})S)?)?"
)


@dataclass(frozen=True)
class Stretch:
    """One value for the half-open time [`start`, `end`); NaN says it is unknown."""

    start: datetime
    end: datetime
    value: float

    @property
    def length_h(self) -> float:
        """Length in hours."""
        return (self.end - self.start) / HOUR


def duration(text: str) -> timedelta:
    """The length of an ISO 8601 duration of weeks, days, hours, minutes and seconds."""
    found = DURATION.fullmatch(text)
    parts = {name: int(n) for name, n in found.groupdict().items() if n} if found else {}
    if not parts:
        raise ValueError(f"{text[:40]!r} is not a duration of days and hours")
    length = timedelta(**parts)
    if not length:
        raise ValueError(f"{text[:40]!r} is a duration of no length")
    return length


def interval(text: str) -> tuple[datetime, datetime]:
    """Start and end of "start/duration" or "start/end", as written with its offset."""
    first, slash, second = text.partition("/")
    start = datetime.fromisoformat(first)
    if not slash or start.tzinfo is None:
        raise ValueError(f"{text[:60]!r} is not an interval with an offset")
    end = start + duration(second) if second[:1] == "P" else datetime.fromisoformat(second)
    if end.tzinfo is None or end <= start:
        raise ValueError(f"{text[:60]!r} ends before it starts")
    return start, end


def _pieces(stretch: Stretch, *, start: datetime, count: int) -> Iterator[tuple[int, float]]:
    """The hours `stretch` touches, each with the part of the hour (0 to 1) it covers."""
    first = max(0, int((stretch.start - start) // HOUR))
    last = min(count, -int((start - stretch.end) // HOUR))
    for position in range(first, last):
        hour = start + position * HOUR
        part = (min(stretch.end, hour + HOUR) - max(stretch.start, hour)) / HOUR
        if part > 0:
            yield position, part


def copied(stretches: Sequence[Stretch], *, start: datetime, count: int) -> Series:
    """A state by the hour: each hour takes the value of the stretch it begins in.

    An hour that two stretches claim with different values is unknown: neither is trusted.
    """
    values = np.full(count, np.nan)
    claimed = np.zeros(count, dtype=bool)
    for stretch in stretches:
        for position, _ in _pieces(stretch, start=start, count=count):
            if stretch.start > start + position * HOUR:
                continue  # it begins inside the hour and has no say in how the hour starts
            if claimed[position] and values[position] != stretch.value:
                values[position] = np.nan
            else:
                values[position] = stretch.value
            claimed[position] = True
    return values


def lengths_h(stretches: Sequence[Stretch], *, start: datetime, count: int) -> Series:
    """How long (h) the stretch is that each hour begins in; NaN where there is none."""
    sized = [Stretch(s.start, s.end, s.length_h) for s in stretches]
    return copied(sized, start=start, count=count)


def shared(
    stretches: Sequence[Stretch],
    *,
    start: datetime,
    count: int,
    wet: NDArray[np.bool_] | None = None,
) -> Series:
    """A total by the hour: each stretch's total is shared over its hours, and none is lost.

    Where `wet` marks some hours of a stretch, they take the whole total; else all share
    alike. An hour that is claimed twice, or covered only in part, is unknown.
    """
    totals = np.zeros(count)
    cover = np.zeros(count)
    for stretch in stretches:
        pieces = list(_pieces(stretch, start=start, count=count))
        weights = _weights(pieces, stretch, wet)
        for (position, part), weight in zip(pieces, weights, strict=True):
            totals[position] += stretch.value * weight
            cover[position] += part
    return np.where(np.isclose(cover, 1.0), totals, np.nan)


def _weights(
    pieces: Sequence[tuple[int, float]], stretch: Stretch, wet: NDArray[np.bool_] | None
) -> list[float]:
    """Which share of the total each piece takes.

    Pieces outside the series keep their shares, so a stretch that is cut off by the edge
    of the series is not squeezed into the part inside.
    """
    inside_h = sum(part for _, part in pieces)
    whole = np.isclose(inside_h, stretch.length_h)
    if wet is not None and whole and stretch.value > 0:
        marked_h = sum(part for position, part in pieces if wet[position])
        if marked_h > 0:
            return [part / marked_h if wet[position] else 0.0 for position, part in pieces]
    return [part / stretch.length_h for _, part in pieces]
