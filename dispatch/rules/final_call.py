"""The final call: what can be decided the evening before, and the ready answer for a verdict."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from dispatch.rules.findings import Level

# So far apart, two last safe pours are two plans; so far apart, two chances two forecasts.
POUR_APART = timedelta(hours=1)


class Decision(StrEnum):
    """What a named person may decide about tomorrow's floor."""

    KEEP = "keep"
    KEEP_WITH_MEASURE = "keep_measure"
    PREPARE_ONLY = "prepare_only"
    METER_FIRST = "meter_first"
    MOVE = "move"

    @property
    def stays(self) -> bool:
        """Whether the crew goes to this floor tomorrow."""
        return self is not Decision.MOVE


LABELS = {
    Decision.KEEP: "Keep",
    Decision.KEEP_WITH_MEASURE: "Keep, with the measure",
    Decision.PREPARE_ONLY: "Prepare only",
    Decision.METER_FIRST: "Meter first in the morning",
    Decision.MOVE: "Move",
}
SAID = {
    Decision.KEEP: "On as planned",
    Decision.KEEP_WITH_MEASURE: "On, with a measure",
    Decision.PREPARE_ONLY: "Prepare only, no coat",
    Decision.METER_FIRST: "Meter first, then decide on site",
    Decision.MOVE: "Moved",
}


@dataclass(frozen=True, kw_only=True)
class Standing:
    """What is known of a floor when it is decided on."""

    level: Level | None  # None where nothing was judged
    ways_out: tuple[str, ...] = ()
    last_safe_pour: datetime | None = None
    slack_min: int | None = None
    open_floor: bool = False
    start: datetime


def call_moment(day: date, *, at: time, zone: ZoneInfo) -> datetime:
    """When the work of `day` is decided: the calendar evening before, a Sunday as any other."""
    return datetime.combine(day - timedelta(days=1), at, tzinfo=zone)


def danger(standing: Standing) -> tuple[int, bool, float, datetime]:
    """Sorts the worst first: level, then open floors, then the least slack, then the soonest."""
    level = standing.level or Level.UNKNOWN
    slack = standing.slack_min
    return (
        -level.severity,
        not standing.open_floor,
        float("inf") if slack is None else slack,
        standing.start,
    )


def measure_of(ways_out: tuple[str, ...]) -> str:
    """The first way out that lets the floor be coated on its day; empty where there is none."""
    skip = ("Prepare only", "Meter first", "Ask the forecast")
    return next((way for way in ways_out if not way.startswith(skip)), "")


def ready_answer(standing: Standing) -> Decision:
    """The best answer for the verdict as it stands: what would be pressed without a second look."""
    level = standing.level or Level.UNKNOWN
    if level is Level.GO:
        return Decision.KEEP
    if level is Level.UNKNOWN:
        return Decision.METER_FIRST
    measure = measure_of(standing.ways_out)
    if level is Level.CARE:
        if any(way.startswith("Meter first") for way in standing.ways_out):
            return Decision.METER_FIRST
        return Decision.KEEP_WITH_MEASURE if measure else Decision.KEEP
    return Decision.MOVE


def overrules(decision: Decision, *, level: Level | None) -> bool:
    """Whether the decision goes against the verdict, so that it needs a reason that is kept.

    Coating on a no or on unknown weather without more does; so does moving a floor from a go.
    """
    if decision is Decision.KEEP:
        return level is None or level in {Level.NO, Level.UNKNOWN}
    if decision is Decision.KEEP_WITH_MEASURE:
        return level is Level.NO
    return decision is Decision.MOVE and level is Level.GO


def differs(
    *,
    evening: Level | None,
    morning: Level | None,
    evening_pour: datetime | None,
    morning_pour: datetime | None,
) -> str:
    """How the morning's forecast differs from the one that was decided on; empty if it does not."""
    if evening != morning:
        was = evening.value if evening else "not judged"
        return f"the verdict was {was} at the final call and is {morning.value if morning else '?'}"
    if (evening_pour is None) != (morning_pour is None):
        return "the last safe pour was not the same at the final call"
    if evening_pour and morning_pour and abs(morning_pour - evening_pour) >= POUR_APART:
        earlier = "earlier" if morning_pour < evening_pour else "later"
        hours = abs(morning_pour - evening_pour) / timedelta(hours=1)
        return f"the last safe pour is {hours:.0f} h {earlier} than at the final call"
    return ""
