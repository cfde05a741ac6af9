"""Time zones as yearly rules, taken from the zone database, for calendars that need them.

Calendar programs read a yearly rule alike; lists of single dates they do not. So a zone is
told as two rules that were tried against the zone database for every year in question, and
a zone that keeps no such rule is not told at all: its events are then written in UTC.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

# The rules of the United States stand since 2007: Energy Policy Act of 2005, section 110.
EARLIEST_YEAR = 2007
WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
FOREVER = datetime(1970, 1, 1)  # noqa: DTZ001  a time on the wall, as RFC 5545 wants it
DAY = timedelta(days=1)
MINUTE = timedelta(minutes=1)


@dataclass(frozen=True)
class Yearly:
    """The day of a change: the `nth` weekday of a month (-1 is the last), time on the wall."""

    month: int
    nth: int
    weekday: str
    hour: int
    minute: int


@dataclass(frozen=True)
class Observance:
    """One half of a zone: from `onset` (on the wall, by the old offset), yearly if it recurs."""

    daylight: bool
    name: str
    offset_from: timedelta
    offset_to: timedelta
    onset: datetime
    yearly: Yearly | None


@dataclass(frozen=True)
class _Change:
    """One change of the clocks as the zone database has it."""

    at: datetime  # UTC
    onset: datetime  # on the wall by the old offset, without a zone
    offset_from: timedelta
    offset_to: timedelta
    name: str

    def fits(self, rule: Yearly) -> bool:
        """Whether this change happened as `rule` says."""
        return rule in _readings(self)

    @property
    def offsets(self) -> tuple[timedelta, timedelta]:
        """From what to what."""
        return self.offset_from, self.offset_to


def observances(zone: ZoneInfo, years: Iterable[int]) -> tuple[Observance, ...] | None:
    """The rules of `zone` that hold in all of `years`; None where no yearly rule does."""
    wanted = sorted(set(years))
    if not wanted:
        raise ValueError("a zone is described for at least one year")
    changes = {year: changes_in(zone, year) for year in range(wanted[0], wanted[-1] + 1)}
    if not any(changes.values()):
        return (_only(zone, wanted[0]),)
    pair = changes[wanted[0]]
    rules = [_common(position, list(changes.values())) for position in (0, 1)]
    if len(pair) != 2 or None in rules:
        return None
    kept = [rule for rule in rules if rule is not None]
    first = _first_year(zone, kept, pair, before=wanted[0])
    return tuple(
        Observance(
            daylight=change.offset_to > change.offset_from,
            name=change.name,
            offset_from=change.offset_from,
            offset_to=change.offset_to,
            onset=change.onset,
            yearly=rule,
        )
        for change, rule in zip(changes_in(zone, first), kept, strict=True)
    )


def changes_in(zone: ZoneInfo, year: int) -> list[_Change]:
    """Every change of the clocks of `zone` in a year of UTC, in order."""
    found = []
    day, end = datetime(year, 1, 1, tzinfo=UTC), datetime(year + 1, 1, 1, tzinfo=UTC)
    while day < end:
        if _offset(zone, day) != _offset(zone, day + DAY):
            found.append(_change(zone, day, day + DAY))
        day += DAY
    return found


def is_twice(instant: datetime, zone: ZoneInfo) -> bool:
    """Whether the clock at that instant shows a time that it shows twice, or never ought to."""
    local = instant.astimezone(zone)
    return local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()


def _change(zone: ZoneInfo, before: datetime, after: datetime) -> _Change:
    old = _offset(zone, before)
    while after - before > MINUTE:
        middle = before + (after - before) / 2
        middle = middle.replace(second=0, microsecond=0)
        if _offset(zone, middle) == old:
            before = middle
        else:
            after = middle
    return _Change(
        at=after,
        onset=(after + old).replace(tzinfo=None),
        offset_from=old,
        offset_to=_offset(zone, after),
        name=after.astimezone(zone).tzname() or zone.key,
    )


def _offset(zone: ZoneInfo, instant: datetime) -> timedelta:
    return instant.astimezone(zone).utcoffset() or timedelta(0)


def _readings(change: _Change) -> tuple[Yearly, ...]:
    """The rules that would explain one change: by counting weekdays, or as the last one."""
    onset = change.onset
    nths = [(onset.day - 1) // 7 + 1]
    if (onset + 7 * DAY).month != onset.month:
        nths.append(-1)
    return tuple(
        Yearly(onset.month, nth, WEEKDAYS[onset.weekday()], onset.hour, onset.minute)
        for nth in nths
    )


def _common(position: int, years: list[list[_Change]]) -> Yearly | None:
    """The one rule that explains the first (or second) change of every year, if any does."""
    if any(len(changes) != 2 for changes in years):
        return None
    first = years[0][position]
    for rule in reversed(_readings(first)):
        if all(
            changes[position].fits(rule) and changes[position].offsets == first.offsets
            for changes in years
        ):
            return rule
    return None


def _first_year(zone: ZoneInfo, rules: list[Yearly], pair: list[_Change], *, before: int) -> int:
    """The earliest year from which the rules hold without a break, so that it stays the same."""
    first = before
    while first > EARLIEST_YEAR:
        earlier = changes_in(zone, first - 1)
        if len(earlier) != 2 or not all(
            change.fits(rule) and change.offsets == known.offsets
            for change, rule, known in zip(earlier, rules, pair, strict=True)
        ):
            break
        first -= 1
    return first


def _only(zone: ZoneInfo, year: int) -> Observance:
    """A zone whose clocks never change in the years in question."""
    sample = datetime(year, 7, 1, tzinfo=UTC).astimezone(zone)
    offset = sample.utcoffset() or timedelta(0)
    return Observance(
        daylight=False,
        name=sample.tzname() or zone.key,
        offset_from=offset,
        offset_to=offset,
        onset=FOREVER,
        yearly=None,
    )
