"""Wet hours: from when until when wet resin may lie on a floor that day, and if that is enough.

The opening is the first hour of the day from which everything holds: the site is open, the
slab has had its time to dry, rain is over, the slab is above the dew point. The closing is
the hour that ends it. Between them must fit what the limit that binds asks for: for rain all
of pour to rain-safe, for a hot slab only pour to the top coat.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta

import numpy as np

from dispatch.rules.checks import visit_end
from dispatch.rules.dryness import earliest_pour
from dispatch.rules.findings import Scene
from dispatch.rules.last_pour import Bar, bars_of, binds
from weather.rules.hours import HOUR, floor_hour

NOTHING = timedelta(0)
DAY = timedelta(hours=24)


@dataclass(frozen=True)
class WetHours:
    """The hours of one floor on one day. `closes` is None where nothing known ends them.

    `needed` is how long the limit that binds must hold from the pour on, `short` by how much
    the day falls short of it.
    """

    opens: datetime
    opens_because: str
    closes: datetime | None
    closes_because: str
    needed: timedelta
    sentence: str

    @property
    def short(self) -> timedelta:
        """By how much the day falls short; zero where it is long enough."""
        if self.closes is None:
            return NOTHING
        return max(NOTHING, self.needed - (self.closes - self.opens))


@dataclass(frozen=True)
class _Try:
    """One opening with the limit that leaves the least time after it."""

    opens: datetime
    because: str
    slack: timedelta
    needed: timedelta
    closes: datetime | None
    name: str


def wet_hours(scene: Scene) -> WetHours | None:
    """The hours on the day of the pour; None where too little is known to lay them."""
    plan = scene.plan
    if scene.hours is None or plan.rain_safe is None or plan.tack_free is None:
        return None
    bars = [bar for surface in scene.surfaces for bar in bars_of(scene, surface)]
    tries = [_try(scene, bars, at, why) for at, why in _openings(scene, bars)]
    # The first that is long enough; where none is, the one that comes nearest.
    enough = [each for each in tries if each.slack >= NOTHING and each.needed > NOTHING]
    best = enough[0] if enough else max(tries, key=lambda each: each.slack)
    ends = binds(scene, best.name, best.closes) if best.closes else ""
    return WetHours(
        opens=best.opens,
        opens_because=best.because,
        closes=best.closes,
        closes_because=ends,
        needed=best.needed,
        sentence=_sentence(scene, best, ends),
    )


def _openings(scene: Scene, bars: Sequence[Bar]) -> list[tuple[datetime, str]]:
    """Every hour of the day from which things are better than before, with what ended then."""
    zone, say = scene.words.zone, scene.words
    midnight = datetime.combine(scene.plan.pour.astimezone(zone).date(), time(0), tzinfo=zone)
    first = scene.day_start or midnight.astimezone(scene.plan.pour.tzinfo)
    because = "site opens" if scene.day_start else "day begins"
    dry = earliest_pour(scene)
    if dry is not None and dry > first:
        first, because = dry, f"dry long enough from {say.clock(dry)}"
    last = scene.day_end or midnight + DAY
    ends = {
        at: f"after {binds(scene, bar.name, _run_start(bar, at)).partition(' from ')[0]}"
        for bar in bars
        for at in bar.ends()
        if first < at < last
    }
    return [(first, because), *sorted(ends.items())]


def _run_start(bar: Bar, end: datetime) -> datetime:
    """The start of the bad run that ends `lead` after `end`."""
    position = int((end + bar.lead - bar.start) / HOUR) - 1
    while position > 0 and bar.bad[position - 1]:
        position -= 1
    return bar.hour(position)


def _try(scene: Scene, bars: Sequence[Bar], opens: datetime, because: str) -> _Try:
    """What a pour at `opens` would run into first."""
    plan = scene.plan
    room = _Try(opens, because, DAY, (plan.rain_safe or plan.top_end) - plan.pour, None, "")
    for bar in bars:
        at = _next_bad(bar, opens + bar.lead)
        if at is not None:
            needed = bar.lead + bar.length
            slack = max(at, opens) - opens - needed
            if slack < room.slack:
                room = _Try(opens, because, slack, needed, max(at, opens), bar.name)
    if scene.day_end is not None:
        needed = visit_end(scene) - plan.pour
        slack = scene.day_end - opens - needed
        if slack < room.slack:
            room = _Try(opens, because, slack, needed, max(scene.day_end, opens), "closing")
    return room


def _next_bad(bar: Bar, since: datetime) -> datetime | None:
    """The start of the first bad hour at or after `since`, or `since` inside one."""
    first = max(0, int((floor_hour(since) - bar.start) / HOUR))
    bad = np.flatnonzero(bar.bad[first:])
    return max(since, bar.hour(first + int(bad[0]))) if len(bad) else None


def _sentence(scene: Scene, best: _Try, ends: str) -> str:
    say = scene.words
    if best.closes is not None and best.closes <= best.opens:
        why = best.because if scene.day_end and best.opens >= scene.day_end else ends
        return f"No wet resin may lie that day: {why}."
    start = f"Wet resin may lie from {say.clock(best.opens)} ({best.because})"
    if best.closes is None:
        return f"{start}; {_hours(best.needed)} are needed, and nothing known ends them."
    held = best.closes - best.opens
    told = (
        f"{start} until {say.clock(best.closes)} ({ends}): {_hours(held)}, "
        f"{_hours(best.needed)} are needed"
    )
    if best.slack < NOTHING:
        return f"{told}, so {_hours(-best.slack)} too few."
    return f"{told}, so {_hours(best.slack)} to spare."


def _hours(length: timedelta) -> str:
    """A length as hours and minutes."""
    minutes = round(length.total_seconds() / 60)
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"
