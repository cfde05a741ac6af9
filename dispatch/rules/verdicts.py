"""Verdicts: go, care, no or unknown for one plan on one forecast, with the reason.

A verdict says what is known of the weather and the slab. It never says that a slab is dry
or sound, or that a floor has cured: that takes a reading and a person.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from dispatch.rules.checks import every
from dispatch.rules.covers import Cover
from dispatch.rules.findings import (
    Check,
    Dryness,
    Level,
    Part,
    PartDryness,
    Scene,
    Surface,
    plan_in_utc,
)
from dispatch.rules.last_pour import LastPour, last_safe_pour
from dispatch.rules.thresholds import DEFAULTS, Thresholds
from dispatch.rules.ways_out import ways_out
from dispatch.rules.wet_hours import WetHours, wet_hours
from dispatch.rules.words import Words
from jobs.rules.cards import Card
from jobs.rules.other_water import Water
from jobs.rules.plan import Plan
from weather.rules.exposures import Exposure
from weather.rules.hours import Hours, SlabHours

__all__ = [
    "Check",
    "Dryness",
    "Level",
    "Part",
    "PartDryness",
    "Thresholds",
    "Verdict",
    "judge",
]


ORDER = (
    "dryness",
    "rain",
    "cover",
    "water",
    "dew",
    "slab",
    "air",
    "wind",
    "humidity",
    "dry air",
    "closing",
    "night",
    "forecast",
    "recoat",
    "bubbles",
    "foot",
)


@dataclass(frozen=True)
class Verdict:
    """What the software says of a plan on one forecast.

    `checks` lie worst first. `last_safe_pour` is None where no pour of that day holds, where
    too little is known, and on a go where nothing known would stop a later one. `firmness`
    is how much a forecast of that lead is worth: firm, likely or watch. It is a second mark
    beside the level and does not change it.
    """

    level: Level
    headline: str
    checks: tuple[Check, ...]
    wet_from: datetime
    wet_until: datetime | None
    last_safe_pour: datetime | None
    binds: str
    slack_min: int | None
    lead_h: float
    firmness: str
    ways_out: tuple[str, ...]
    wet_hours: WetHours | None = None

    @property
    def reasons(self) -> tuple[Check, ...]:
        """The checks that keep it from go, worst first."""
        return tuple(check for check in self.checks if check.level is not Level.GO)


def judge(
    *,
    plan: Plan,
    card: Card,
    exposure: Exposure,
    hours: Hours | None,
    slab: SlabHours | None,
    now: datetime,
    zone: ZoneInfo,
    parts: Sequence[Part] = (),
    thresholds: Thresholds = DEFAULTS,
    dryness: Dryness | None = None,
    reading: bool = False,
    day_start: datetime | None = None,
    day_end: datetime | None = None,
    day_end_words: str = "site closes",
    waters: Sequence[Water] = (),
    covers: frozenset[Cover] = frozenset(),
    units: str = "us",
) -> Verdict:
    """The verdict on `plan`, as known at `now`.

    `reading`: the slab's temperature was measured on site and `slab` starts from it.
    `day_start`, `day_end`: when the site opens on the day of the pour, and when it must be
    left; `day_end_words` is what happens then. `waters`: how the floor gets wet besides the
    rain that falls on it. `covers` are put up before the pour.
    """
    if now.tzinfo is None or plan.pour.tzinfo is None:
        raise ValueError("a time without a zone names no instant")
    scene = Scene(
        plan=plan_in_utc(plan),
        card=card,
        surfaces=tuple(_surfaces(exposure, parts, slab, reading=reading, covers=covers)),
        hours=hours,
        now=now.astimezone(UTC),
        thresholds=thresholds,
        dryness=dryness,
        day_start=day_start.astimezone(UTC) if day_start else None,
        day_end=day_end.astimezone(UTC) if day_end else None,
        day_end_words=day_end_words,
        waters=tuple(waters),
        covers=covers,
        words=Words(zone=zone, units=units, day=plan.pour.astimezone(zone).date()),
    )
    return _verdict(scene)


def _surfaces(
    exposure: Exposure,
    parts: Sequence[Part],
    slab: SlabHours | None,
    *,
    reading: bool,
    covers: frozenset[Cover],
) -> Iterator[Surface]:
    """The floor, which has no name of its own in a sentence, and its parts."""
    for part in (Part("", exposure, slab), *parts):
        yield Surface.of(
            name=part.name,
            exposure=part.exposure,
            slab=part.slab or slab,
            reading=reading,
            covers=covers,
        )


def _verdict(scene: Scene) -> Verdict:
    """All checks, the last safe pour and the ways out put together."""
    checks = tuple(sorted(every(scene), key=_rank))
    level = Level.worst(*(check.level for check in checks))
    last = last_safe_pour(scene)
    slack_min = None
    if last is not None:
        slack_min = round((last.at - scene.plan.pour).total_seconds() / 60)
    lead_h = (scene.plan.pour - scene.now).total_seconds() / 3600
    return Verdict(
        level=level,
        headline=_headline(scene, level=level, checks=checks, last=last),
        checks=checks,
        wet_from=scene.plan.pour,
        wet_until=scene.plan.rain_safe,
        last_safe_pour=last.at if last else None,
        binds=last.binds if last else "",
        slack_min=slack_min,
        lead_h=lead_h,
        firmness=firmness(lead_h, scene.thresholds),
        ways_out=ways_out(scene, checks=checks, last=last, slack_min=slack_min),
        wet_hours=wet_hours(scene),
    )


def _rank(check: Check) -> tuple[int, int]:
    """Worst first; among equals what cannot be helped on the day, then what can."""
    # An old forecast explains every other unknown, but is the least of the cares.
    first = check.level is Level.UNKNOWN and check.name == "forecast"
    return -check.level.severity, -1 if first else ORDER.index(check.name)


def firmness(lead_h: float, thresholds: Thresholds) -> str:
    """How much a forecast is worth that far ahead: firm, likely or watch."""
    if lead_h <= thresholds.firm_h:
        return "firm"
    return "likely" if lead_h <= thresholds.likely_h else "watch"


def _headline(scene: Scene, *, level: Level, checks: Sequence[Check], last: LastPour | None) -> str:
    """The reason in one sentence, with both numbers and the hour."""
    if level is Level.GO:
        return _good(scene, checks, last)
    told = checks[0].sentence[:-1]
    names = dict.fromkeys(check.name for check in checks if check.level is level)
    others = [name for name in names if name != checks[0].name]
    if others:
        told += f"; also {' and '.join(others)}"
    if level is Level.CARE and last is not None and last.at >= scene.plan.pour:
        told += f"; pour by {scene.words.clock(last.at)}"
    return f"{told}."


def _good(scene: Scene, checks: Sequence[Check], last: LastPour | None) -> str:
    """The headline where nothing stands in the way: the next thing that would, and by when."""
    say = scene.words
    safe = scene.plan.rain_safe
    if last is None or safe is None:
        return next(check.sentence for check in checks if check.name == "dew")
    told = last.binds[:1].upper() + last.binds[1:]
    return (
        f"{told} is after the floor is rain-safe at {say.clock(safe)}; "
        f"pour by {say.clock(last.at)}."
        if last.binds.startswith("rain")
        else f"Every limit holds until the floor is rain-safe at {say.clock(safe)}; pour by "
        f"{say.clock(last.at)} ({last.binds})."
    )
