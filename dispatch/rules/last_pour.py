"""The last safe pour: the latest start after which every hour still holds, and what binds.

Each limit is a row of bad hours and a length: the pour may come as late as leaves the whole
length, from the pour on, free of bad hours. Rain counts from the lower of its two lines and
an hour that is not known counts as bad, so a late start is never bought with ignorance.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from dispatch.rules.checks import coating_spans, visit_end
from dispatch.rules.covers import roofed, sheltered
from dispatch.rules.dryness import earliest_pour
from dispatch.rules.findings import Level, Scene, Surface, slab_stretch
from dispatch.rules.rain import period, roofed_level
from dispatch.rules.slab_checks import gap_over_dew
from dispatch.rules.words import share
from weather.rules.exposures import Exposure
from weather.rules.hours import HOUR, floor_hour

BEFORE = timedelta(hours=24)
AFTER = timedelta(hours=24)
# A start still earlier or later than this is another booking, not another start of this one.
EARLIER = timedelta(hours=8)
LATER = timedelta(hours=12)


@dataclass(frozen=True, eq=False)
class Bar:
    """Hours from `start` in which a limit does not hold, and when it must.

    It must hold from `lead` after the pour, for `length`.
    """

    name: str
    start: datetime
    bad: NDArray[np.bool_]
    length: timedelta
    lead: timedelta = timedelta(0)

    def hour(self, position: int) -> datetime:
        """Start of the hour at `position`."""
        return self.start + position * HOUR

    def clear(self, pour: datetime) -> bool:
        """Whether no bad hour touches the time that must be good after a pour then."""
        begin = pour + self.lead
        first = int((floor_hour(begin) - self.start) // HOUR)
        last = -int((self.start - (begin + self.length)) // HOUR)
        return not bool(self.bad[max(0, first) : max(0, last)].any())

    def ends(self) -> Iterator[datetime]:
        """The earliest pour after each bad run."""
        for position in np.flatnonzero(self.bad[:-1] & ~self.bad[1:]):
            yield self.hour(int(position) + 1) - self.lead

    def edges(self) -> Iterator[tuple[datetime, datetime]]:
        """Each (start of a bad run, latest pour before it)."""
        starts = np.flatnonzero(self.bad & ~np.concatenate(([False], self.bad[:-1])))
        for position in starts:
            at = self.hour(int(position))
            yield at, at - self.length - self.lead


@dataclass(frozen=True)
class LastPour:
    """The latest pour that still holds, to the minute below, and what would come after it."""

    at: datetime
    binds: str


def last_safe_pour(scene: Scene) -> LastPour | None:
    """The latest pour after which everything holds; None where there is none, or none known.

    Where the planned pour holds, this is how much later it may be; None where nothing binds
    within half a day. Where it does not, it is the latest earlier moment of the same day, and
    of the time still ahead, that does.
    """
    last = _latest(scene)
    dry = earliest_pour(scene)
    return None if last is None or (dry is not None and last.at < dry) else last


def _latest(scene: Scene) -> LastPour | None:
    """The last safe pour by all that gets worse later; not by the drying, which gets better."""
    plan = scene.plan
    if scene.hours is None or plan.rain_safe is None or plan.tack_free is None:
        return None
    bars = [bar for surface in scene.surfaces for bar in bars_of(scene, surface)]
    edges = [(pour, at, bar.name) for bar in bars for at, pour in bar.edges()]
    if scene.day_end is not None:
        edges.append((scene.day_end - (visit_end(scene) - plan.pour), scene.day_end, "closing"))
    if all(bar.clear(plan.pour) for bar in bars) and _in_time(scene, plan.pour):
        later = [edge for edge in edges if plan.pour <= edge[0] < plan.pour + LATER]
        return _told(scene, min(later)) if later else None
    for edge in sorted(edges, reverse=True):
        if _ahead(scene, edge[0]) and all(bar.clear(edge[0]) for bar in bars):
            return _told(scene, edge)
    return None


def first_later_pour(scene: Scene) -> datetime | None:
    """The first later pour of the same day after which everything holds, if there is one.

    None too where the planned pour holds. A later pour meets another slab, so this is where
    to look for a start, not a promise of one.
    """
    plan, dry = scene.plan, earliest_pour(scene)
    if scene.hours is None or plan.rain_safe is None or plan.tack_free is None:
        return None
    bars = [bar for surface in scene.surfaces for bar in bars_of(scene, surface)]
    pours = [plan.pour, *(pour for bar in bars for pour in bar.ends()), *([dry] if dry else [])]
    held = [
        pour
        for pour in pours
        if plan.pour <= pour <= plan.pour + EARLIER
        and (dry is None or pour >= dry)
        and _same_day(scene, pour)
        and _in_time(scene, pour)
        and all(bar.clear(pour) for bar in bars)
    ]
    first = min(held, default=plan.pour)
    return first if first > plan.pour else None


def _same_day(scene: Scene, pour: datetime) -> bool:
    """Whether a pour lies on the day of the planned one, at the site."""
    zone = scene.words.zone
    return pour.astimezone(zone).date() == scene.plan.pour.astimezone(zone).date()


def _ahead(scene: Scene, pour: datetime) -> bool:
    """Whether a pour lies between now and the planned one, near it, on the same day."""
    earliest = max(scene.now, scene.plan.pour - EARLIER)
    return earliest <= pour < scene.plan.pour and _same_day(scene, pour) and _in_time(scene, pour)


def _in_time(scene: Scene, pour: datetime) -> bool:
    """Whether the crew is off the site before it closes."""
    if scene.day_end is None:
        return True
    return pour + (visit_end(scene) - scene.plan.pour) <= scene.day_end


def _told(scene: Scene, edge: tuple[datetime, datetime, str]) -> LastPour:
    pour, at, name = edge
    return LastPour(pour.replace(second=0, microsecond=0), binds(scene, name, at))


def binds(scene: Scene, name: str, at: datetime) -> str:
    """What binds, in words with its hour."""
    clock = scene.words.clock(at)
    if name != "rain":
        return {
            "dew": f"slab too near the dew point from {clock}",
            "heat": f"slab too hot from {clock}",
            "cold": f"slab too cold from {clock}",
            "wind": f"gusts from {clock}",
            "flake wind": f"gusts for flake from {clock}",
            "humidity": f"humid air from {clock}",
            "closing": f"{scene.day_end_words} at {clock}",
            "cover": f"gusts for the cover from {clock}",
            "unknown": f"nothing known from {clock}",
        }[name]
    chance = float(scene.stretch("rain_chance_pct", at, at + HOUR).values[0])
    if np.isnan(chance):
        return f"rain not known from {clock}"
    if chance < scene.thresholds.rain_care_pct:
        return f"rain from {clock}"
    return f"rain {share(chance)} {period(scene, at)}"


def bars_of(scene: Scene, surface: Surface) -> Iterator[Bar]:
    """Every limit that moves with the pour, for one surface."""
    plan = scene.plan
    if plan.rain_safe is None or plan.tack_free is None:
        return
    start = floor_hour(plan.pour - BEFORE)
    end = max(plan.rain_safe, plan.tack_free) + AFTER
    if surface.cover is not None:
        limit = surface.cover.gust_limit_kmh(scene.thresholds)
        strong = scene.stretch("gust_kmh", start, end).values > limit
        yield Bar("cover", start, strong, plan.rain_safe - plan.pour)
    if not sheltered(surface):
        bad = _rainy(scene, surface, start, end)
        for first, last in scene.wet_spans(plan.rain_safe):
            yield Bar("rain", start, bad, last - first, first - plan.pour)
    if surface.exposure.open:
        limits = scene.thresholds
        gust = scene.stretch("gust_kmh", start, end).values
        yield Bar("wind", start, gust > limits.gust_no_kmh, plan.tack_free - plan.pour)
        flake = gust > limits.flake_gust_no_kmh
        yield Bar("flake wind", start, flake, plan.base_end - plan.pour)
    if surface.exposure is not Exposure.INTERIOR:
        humid = scene.stretch("humidity_pct", start, end).values > scene.card.humidity_max_pct
        for first, last in coating_spans(scene):
            yield Bar("humidity", start, humid, last - first, first - plan.pour)
    yield from _slab_bars(scene, surface, start, end)


def _slab_bars(scene: Scene, surface: Surface, start: datetime, end: datetime) -> Iterator[Bar]:
    """The slab's own limits: dew, heat and cold."""
    plan, card = scene.plan, scene.card
    if surface.slab is None or surface.mid is None or plan.tack_free is None:
        return
    gap = gap_over_dew(scene, surface.slab, start, end).values
    cold = slab_stretch(surface.slab, start, end).values
    hot = slab_stretch(surface.mid, start, end).values
    coats = plan.top_start - plan.pour + timedelta(microseconds=1)
    for first, last in scene.wet_spans(plan.tack_free):
        length, lead = last - first, first - plan.pour
        yield Bar("unknown", start, np.isnan(gap), length, lead)
        if surface.exposure is not Exposure.INTERIOR:
            yield Bar("dew", start, gap < card.spread_min_c, length, lead)
    yield Bar("heat", start, hot > card.slab_max_c, coats)
    yield Bar("cold", start, cold < card.slab_min_c, max(coats, plan.recoat_from - plan.pour))


def _rainy(scene: Scene, surface: Surface, start: datetime, end: datetime) -> NDArray[np.bool_]:
    """Hours from the lower line of rain on, or of which nothing is known."""
    chance = scene.stretch("rain_chance_pct", start, end).values
    if roofed(surface):
        gust = scene.stretch("gust_kmh", start, end).values
        pairs = zip(chance, gust, strict=True)
        levels = [roofed_level(scene, chance_pct=c, gust_kmh=g) for c, g in pairs]
        return np.array([level is not Level.GO for level in levels], dtype=bool)
    limits = scene.thresholds
    amount = scene.stretch("rain_mm", start, end).values
    snow = scene.stretch("snow_mm", start, end).values
    likely = ~(chance < limits.rain_care_pct)
    result: NDArray[np.bool_] = likely | (amount >= limits.rain_hour_no_mm) | (snow > 0)
    return result
