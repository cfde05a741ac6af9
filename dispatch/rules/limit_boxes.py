"""Thresholds and costs of a branch as boxes to type into: labels, units, ranges, and reading back.

An empty box means the default. A box that still says what was shown keeps its exact value, so
that opening and keeping the page changes nothing by rounding.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from enum import StrEnum

from dispatch.rules.costs import Costs
from dispatch.rules.thresholds import Thresholds
from jobs.rules import units
from jobs.rules.typed import Unreadable, read_number

MOST_MONEY = 1_000_000.0


class Kind(StrEnum):
    """What a box holds, which gives its unit and the range that makes sense."""

    CHANCE = "chance"
    POINTS = "points"
    RAIN = "rain"
    WIND = "wind"
    HOURS = "hours"
    MINUTES = "minutes"
    DAYS = "days"
    TIMES = "times"
    DIFFERENCE = "difference"
    MONEY = "money"


@dataclass(frozen=True)
class Range:
    """Lowest and highest in metric, the unit's words, and how US offices are told."""

    low: float
    high: float
    words: str
    us_words: str = ""
    to_us: Callable[[float], float] | None = None


# Ranges are judgement: wide enough for every climate, too narrow for a slip of the finger.
RANGES = {
    Kind.CHANCE: Range(1, 100, "%"),
    Kind.POINTS: Range(1, 100, "points"),
    Kind.RAIN: Range(0.05, 25, "mm", "inches", units.inches_from_mm),
    Kind.WIND: Range(5, 120, "km/h", "mph", units.mph_from_kmh),
    Kind.HOURS: Range(0.5, 336, "hours"),
    Kind.MINUTES: Range(0, 600, "minutes"),
    Kind.DAYS: Range(0.5, 14, "days"),
    Kind.TIMES: Range(1, 12, "times"),
    Kind.DIFFERENCE: Range(0.5, 20, "°C", "°F", units.f_difference),
    Kind.MONEY: Range(0, MOST_MONEY, ""),
}
WHOLE = (Kind.MINUTES, Kind.TIMES)


@dataclass(frozen=True)
class LimitBox:
    """One value a branch may set."""

    name: str
    label: str
    kind: Kind


GROUPS: tuple[tuple[str, tuple[LimitBox, ...]], ...] = (
    (
        "Rain on floors under the sky",
        (
            LimitBox("rain_care_pct", "Chance in an hour: care from", Kind.CHANCE),
            LimitBox("rain_no_pct", "Chance in an hour: no from", Kind.CHANCE),
            LimitBox("rain_slack_min", "Spare time that care needs before a no", Kind.MINUTES),
            LimitBox("rain_total_care_mm", "Amount in all: care from", Kind.RAIN),
            LimitBox("rain_hour_no_mm", "Amount in an hour: no from", Kind.RAIN),
        ),
    ),
    (
        "Rain on floors under a roof",
        (
            LimitBox("roofed_care_pct", "Chance in an hour: care from", Kind.CHANCE),
            LimitBox("roofed_no_pct", "Chance in an hour: no from", Kind.CHANCE),
            LimitBox("roofed_gust_kmh", "Gust that drives rain in", Kind.WIND),
        ),
    ),
    (
        "Wind",
        (
            LimitBox("gust_care_kmh", "Gust: care from", Kind.WIND),
            LimitBox("gust_no_kmh", "Gust: no from", Kind.WIND),
            LimitBox("flake_gust_care_kmh", "While flake flies: care from", Kind.WIND),
            LimitBox("flake_gust_no_kmh", "While flake flies: no from", Kind.WIND),
            LimitBox("canopy_gust_kmh", "A canopy comes down at", Kind.WIND),
            LimitBox("curtain_gust_kmh", "A curtain or tarp comes down at", Kind.WIND),
        ),
    ),
    (
        "Other water at the threshold",
        (
            LimitBox("door_water_care_pct", "Chance of a shower: care from", Kind.CHANCE),
            LimitBox("door_water_no_pct", "Chance of a shower: no from", Kind.CHANCE),
            LimitBox("door_water_no_mm", "Rain in an hour that runs: no from", Kind.RAIN),
            LimitBox("drips_h", "An edge drips after rain for", Kind.HOURS),
        ),
    ),
    (
        "Drying of slabs under the sky",
        (
            LimitBox("wetting_mm", "Rain in an hour that wets a slab", Kind.RAIN),
            LimitBox("dry_no_h", "Dry since it looked dry: no under", Kind.HOURS),
            LimitBox("dry_care_h", "Since it was wet: care under", Kind.HOURS),
            LimitBox("dry_unseen_h", "Where nobody saw it dry: care under", Kind.HOURS),
        ),
    ),
    (
        "Forecasts and the customer's notice",
        (
            LimitBox("humidity_care_below_pct", "Humidity near the card's: care", Kind.POINTS),
            LimitBox("age_care_h", "Age of a forecast: care from", Kind.HOURS),
            LimitBox("age_unknown_h", "Age of a forecast: unknown from", Kind.HOURS),
            LimitBox("second_chance_points", "Two services differ in rain from", Kind.POINTS),
            LimitBox("second_air_c", "Two services differ in air from", Kind.DIFFERENCE),
            LimitBox("second_ground_c", "Two services differ in ground from", Kind.DIFFERENCE),
            LimitBox("night_h", "Nights after the work are judged for", Kind.HOURS),
            LimitBox("firm_h", "A verdict is firm up to, ahead", Kind.HOURS),
            LimitBox("likely_h", "A verdict is likely up to, ahead", Kind.HOURS),
            LimitBox("prepare_only_slack_min", "Prepare only is told: slack under", Kind.MINUTES),
            LimitBox("watch_days", "The customer hears of bad weather from, ahead", Kind.DAYS),
            LimitBox("watch_forecasts", "After so many bad forecasts in a row", Kind.TIMES),
            LimitBox("watch_quiet_h", "No more so long before the final call", Kind.HOURS),
        ),
    ),
    (
        "What a decision costs",
        (
            LimitBox("a_move", "Moving a floor", Kind.MONEY),
            LimitBox("a_ruined_coat", "A ruined coat", Kind.MONEY),
            LimitBox("care", "A day with care", Kind.MONEY),
            LimitBox("unknown", "A day nobody knows the weather of", Kind.MONEY),
            LimitBox("travel_an_hour", "An hour on the road", Kind.MONEY),
            LimitBox("waiting_a_day", "A day a customer waits longer", Kind.MONEY),
            LimitBox("idle_an_hour", "An hour a crew has nothing to do", Kind.MONEY),
            LimitBox("second_visit", "A second visit", Kind.MONEY),
            LimitBox("hands_an_hour", "An hour of one person", Kind.MONEY),
            LimitBox("trip", "A trip for a measure", Kind.MONEY),
            LimitBox("canopy", "A canopy", Kind.MONEY),
            LimitBox("curtain", "A side curtain", Kind.MONEY),
            LimitBox("tarp", "A tarp at the doorway", Kind.MONEY),
            LimitBox("heater_a_day", "A heater for a day", Kind.MONEY),
            LimitBox("moving", "Ringing a customer to move", Kind.MONEY),
        ),
    ),
)  # fmt: skip
BOXES = {box.name: box for _, boxes in GROUPS for box in boxes}
DEFAULTS: dict[str, float] = {
    each.name: float(getattr(values, each.name))
    for values in (Thresholds(), Costs())
    for each in fields(values)
}
THRESHOLDS = frozenset(each.name for each in fields(Thresholds))

# The first of a pair says care, the second no: care must come first on the way to worse.
RISING = (
    ("rain_care_pct", "rain_no_pct"),
    ("roofed_care_pct", "roofed_no_pct"),
    ("gust_care_kmh", "gust_no_kmh"),
    ("flake_gust_care_kmh", "flake_gust_no_kmh"),
    ("door_water_care_pct", "door_water_no_pct"),
    ("dry_no_h", "dry_care_h"),
    ("dry_care_h", "dry_unseen_h"),
    ("age_care_h", "age_unknown_h"),
    ("firm_h", "likely_h"),
    ("a_move", "a_ruined_coat"),
)


class BadLimits(ValueError):
    """`problems` has a sentence for every box at fault."""

    def __init__(self, problems: Mapping[str, str]) -> None:
        super().__init__(" ".join(problems.values()))
        self.problems = dict(problems)


def told(box: LimitBox, value: float, *, us: bool) -> str:
    """A metric value as it is shown, without its unit."""
    convert = RANGES[box.kind].to_us if us else None
    number = convert(value) if convert else value
    digits = 3 if box.kind is Kind.RAIN else 1
    return f"{round(number, digits):.{digits}f}".rstrip("0").rstrip(".")


def unit_of(box: LimitBox, *, us: bool) -> str:
    """The words of the unit a box is typed in."""
    span = RANGES[box.kind]
    return span.us_words if us and span.us_words else span.words


def read_limits(
    typed: Mapping[str, str], *, kept: Mapping[str, float], us: bool
) -> dict[str, float]:
    """The values a branch sets itself, in metric; empty boxes are left out.

    Raises BadLimits for what is no number, out of its range, or in the wrong order.
    """
    own: dict[str, float] = {}
    problems: dict[str, str] = {}
    for box in BOXES.values():
        text = typed.get(box.name, "").strip()
        if not text:
            continue
        try:
            own[box.name] = _read(box, text, kept=kept.get(box.name), us=us)
        except Unreadable as trouble:
            problems[box.name] = str(trouble)
    values = DEFAULTS | own
    for lower, upper in RISING:
        if not problems.keys() & {lower, upper} and values[lower] > values[upper]:
            at = lower if lower in own else upper
            problems[at] = _order(lower, upper, values, us=us)
    if problems:
        raise BadLimits(problems)
    return own


def _read(box: LimitBox, text: str, *, kept: float | None, us: bool) -> float:
    if kept is not None and text == told(box, kept, us=us):
        return kept
    number = read_number(text, us=us)
    span = RANGES[box.kind]
    # Every conversion here is a plain factor.
    value = number / span.to_us(1.0) if us and span.to_us else number
    if not span.low <= value <= span.high:
        low, high = told(box, span.low, us=us), told(box, span.high, us=us)
        raise Unreadable(f"{text} is outside {low} to {high} {unit_of(box, us=us)}".strip() + ".")
    if box.kind in WHOLE:
        if value != int(value):
            raise Unreadable(f"{text} is not a whole number.")
        return int(value)
    return value


def _order(lower: str, upper: str, values: Mapping[str, float], *, us: bool) -> str:
    one, two = BOXES[lower], BOXES[upper]
    first, second = told(one, values[lower], us=us), told(two, values[upper], us=us)
    return (
        f"“{one.label}” is {first} and “{two.label}” is {second}: the first may not be the larger."
    )
