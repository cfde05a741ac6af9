"""Findings: what a check says, and the scene it looks at. Plain values."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from enum import StrEnum

import numpy as np

from dispatch.rules.covers import Cover
from dispatch.rules.thresholds import Thresholds
from dispatch.rules.words import Words
from jobs.rules.cards import Card
from jobs.rules.other_water import Water
from jobs.rules.plan import Plan
from weather.rules.exposures import Exposure
from weather.rules.hours import HOUR, Hours, Series, SlabHours, floor_hour


class Level(StrEnum):
    """What the software says, from best to worst."""

    GO = "go"
    CARE = "care"
    UNKNOWN = "unknown"
    NO = "no"

    @property
    def severity(self) -> int:
        """0 for go, rising. Unknown lies above care: it is never a better answer."""
        return SEVERITY[self]

    @staticmethod
    def worst(*levels: "Level") -> "Level":
        """The most severe of these; go where there is none."""
        return max(levels, key=lambda level: level.severity, default=Level.GO)


SEVERITY = {level: position for position, level in enumerate(Level)}


@dataclass(frozen=True)
class Check:
    """One limit held against the hours. `at` is the hour that decides, if one does."""

    name: str
    level: Level
    sentence: str
    at: datetime | None = None
    value: float | None = None
    limit: float | None = None
    unit: str = ""


@dataclass(frozen=True)
class Part:
    """A part of a floor that stands otherwise than the rest, as a garage's apron does."""

    name: str
    exposure: Exposure
    slab: SlabHours | None = None


@dataclass(frozen=True)
class PartDryness:
    """When a part of an open floor was last wetted, and when it first looked dry.

    `wetted_at` None means that nobody knows of a wetting. `estimated` marks times that were
    reckoned, not seen.
    """

    part: str = "the floor"
    wetted_at: datetime | None = None
    looked_dry_at: datetime | None = None
    estimated: bool = False
    wetted_by: Water | None = None  # None: rain, or nobody said


@dataclass(frozen=True)
class Dryness:
    """What is known of an open floor. `metered`: a moisture reading was passed.

    It speaks for all wettings until `noted_at`, or until now where that is None; later ones
    are looked for in the hours.
    """

    parts: tuple[PartDryness, ...]
    metered: bool = False
    noted_at: datetime | None = None


@dataclass(frozen=True, eq=False)
class Surface:
    """One part of a floor with the slab it is judged on.

    `slab` is the side that is judged (the cold one while the estimate is weak), `mid` and
    `warm` the others. `weak`: nobody has measured it and the estimate has too little past.
    """

    name: str
    exposure: Exposure
    slab: SlabHours | None
    mid: SlabHours | None
    warm: SlabHours | None
    weak: bool
    cover: Cover | None = None

    @classmethod
    def of(
        cls,
        *,
        name: str,
        exposure: Exposure,
        slab: SlabHours | None,
        reading: bool,
        covers: frozenset[Cover] = frozenset(),
    ) -> "Surface":
        """A surface judged on the cold side of `slab` where that is weak and unread."""
        cover = next((each for each in Cover if each in covers and each.fits(exposure)), None)
        if slab is None:
            return cls(name, exposure, None, None, None, weak=True, cover=cover)
        weak = slab.weak and not reading
        judged = slab.side("cold") if weak else slab
        warm = slab.side("warm") if weak else slab
        return cls(name, exposure, judged, slab, warm, weak, cover)

    @property
    def where(self) -> str:
        """How a sentence names it: nothing for the floor itself."""
        return f" on {self.name}" if self.name else ""


@dataclass(frozen=True, eq=False)
class Stretch:
    """Values by the hour from `start`; NaN where an hour is not held or not known."""

    start: datetime
    values: Series

    @classmethod
    def cut(
        cls, *, series_start: datetime, values: Series, start: datetime, end: datetime
    ) -> "Stretch":
        """The hours of a series that touch [`start`, `end`)."""
        first = floor_hour(start)
        count = max(0, -int((first - end) // HOUR))
        offset = int((first - series_start) / HOUR)
        low, high = max(0, offset), min(len(values), offset + count)
        wanted = np.full(count, np.nan)
        if high > low:
            wanted[low - offset : high - offset] = values[low:high]
        return cls(first, wanted)

    def hour(self, position: int) -> datetime:
        """Start of the hour at `position`."""
        return self.start + position * HOUR

    def lowest(self) -> tuple[datetime, float] | None:
        """The hour of the lowest known value, and that value."""
        return self._first(np.fmin.reduce(self.values, initial=np.nan))

    def highest(self) -> tuple[datetime, float] | None:
        """The hour of the highest known value, and that value."""
        return self._first(np.fmax.reduce(self.values, initial=np.nan))

    def _first(self, value: float) -> tuple[datetime, float] | None:
        """The first hour of `value`, which is one of these values or, with none known, NaN."""
        found = (self.values == value).nonzero()[0]
        return (self.hour(int(found[0])), float(value)) if len(found) else None

    def missing(self) -> datetime | None:
        """The first hour that is not known."""
        gaps = np.flatnonzero(np.isnan(self.values))
        return self.hour(int(gaps[0])) if len(gaps) else None


@dataclass(frozen=True, eq=False)
class Scene:
    """All that a check may look at. Every moment is in UTC."""

    plan: Plan
    card: Card
    surfaces: tuple[Surface, ...]
    hours: Hours | None
    now: datetime
    thresholds: Thresholds
    dryness: Dryness | None
    day_end: datetime | None
    words: Words
    day_start: datetime | None = None
    day_end_words: str = "site closes"  # what happens at `day_end`
    waters: tuple[Water, ...] = ()
    covers: frozenset[Cover] = frozenset()

    def wet_spans(self, until: datetime) -> tuple[tuple[datetime, datetime], ...]:
        """When the floor must not be wetted, the top coat needing care until `until`.

        A base that is safe by itself and abraded before the top may be rained on in between.
        """
        plan = self.plan
        if plan.abraded and plan.base_rain_safe and plan.base_rain_safe < plan.top_start:
            return (plan.pour, plan.base_rain_safe), (plan.top_start, until)
        return ((plan.pour, until),)

    def stretch(self, layer: str, start: datetime, end: datetime) -> Stretch:
        """One layer of the forecast over [`start`, `end`); unknown where none is held."""
        if self.hours is None:
            nothing = np.empty(0)
            return Stretch.cut(series_start=floor_hour(start), values=nothing, start=start, end=end)
        return Stretch.cut(
            series_start=self.hours.start,
            values=getattr(self.hours, layer),
            start=start,
            end=end,
        )

    def unknown_hour(self, at: datetime, what: str) -> str:
        """The sentence for an hour `at` that is not known, within what must be known."""
        if self.hours is None:
            return f"No forecast is held for {what}."
        if at >= self.hours.end:
            end = self.words.clock(self.hours.end)
            return f"The forecast ends {end}, so {what} is not covered."
        return f"The hour from {self.words.clock(at)} is not known, within {what}."


def slab_stretch(slab: SlabHours, start: datetime, end: datetime) -> Stretch:
    """The judged temperatures (°C) of a slab over [`start`, `end`)."""
    return Stretch.cut(series_start=slab.start, values=slab.mid_c, start=start, end=end)


def plan_in_utc(plan: Plan) -> Plan:
    """The plan with its moments in UTC, where a difference is a length of time.

    Two datetimes in one zone subtract by the wall clock, which is an hour wrong on the
    nights the clocks change.
    """
    names = (
        "pour",
        "base_end",
        "recoat_from",
        "recoat_until",
        "top_start",
        "top_end",
        "tack_free",
        "rain_safe",
        "walk_on",
        "drive_on",
        "base_rain_safe",
    )
    moments = {name: getattr(plan, name) for name in names}
    return replace(
        plan,
        **{name: at.astimezone(UTC) for name, at in moments.items() if at is not None},
    )
