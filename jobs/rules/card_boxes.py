"""A card as boxes to type into: labels, units, texts, and how they are read back.

A box that still says what was shown keeps its exact value, so that opening and saving a card
changes nothing by rounding.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from jobs.rules import units
from jobs.rules.card_json import ORDER, BadCard, card_from_json, card_to_json
from jobs.rules.cards import Card, CureTime, Table
from jobs.rules.typed import Unreadable, read_number

CENT_FT2 = 100 * units.M2_PER_FT2  # hours and loads are told by 100 sq ft, or by 10 m²
TEN_M2 = 10.0


class Kind(StrEnum):
    """What a box holds, which gives its unit."""

    DEGREES = "degrees"
    DIFFERENCE = "difference"
    PERCENT = "percent"
    HOURS = "hours"
    HOURS_BY_AREA = "hours by area"
    COVERAGE = "coverage"
    LOAD = "load"
    VOLUME = "volume"
    DAYS = "days"
    PARTS = "parts"
    GRAINS = "grains"
    TIMES = "times"
    MINUTES = "minutes"


@dataclass(frozen=True)
class Unit:
    """How one kind is told: its words, and the conversions out of and into metric."""

    words: str
    shown: Callable[[float], float]
    read: Callable[[float], float]


@dataclass(frozen=True)
class Box:
    """One value of a card."""

    name: str
    label: str
    kind: Kind
    may_be_empty: bool = False


def _same(value: float) -> float:
    return value


def _by(factor: float, words: str) -> Unit:
    return Unit(words, lambda value: value * factor, lambda value: value / factor)


_PLAIN = {
    Kind.PERCENT: Unit("%", _same, _same),
    Kind.HOURS: Unit("h", _same, _same),
    Kind.DAYS: Unit("days", _same, _same),
    Kind.PARTS: Unit("parts", _same, _same),
    Kind.GRAINS: Unit("grains of water by lb of air", _same, _same),
    Kind.TIMES: Unit("", _same, _same),
    Kind.MINUTES: Unit("", _same, _same),
}
_US = _PLAIN | {
    Kind.DEGREES: Unit("°F", units.f_from_c, units.c_from_f),
    Kind.DIFFERENCE: Unit("°F", units.f_difference, units.c_difference),
    Kind.HOURS_BY_AREA: _by(CENT_FT2, "h by 100 sq ft"),
    Kind.COVERAGE: Unit(
        "sq ft by gal", units.ft2_per_gal_from_m2_per_l, units.m2_per_l_from_ft2_per_gal
    ),
    Kind.LOAD: Unit(
        "lb by sq ft", units.lb_per_ft2_from_kg_per_m2, units.kg_per_m2_from_lb_per_ft2
    ),
    Kind.VOLUME: Unit("gal", units.gal_from_l, units.l_from_gal),
}
_METRIC = _PLAIN | {
    Kind.DEGREES: Unit("°C", _same, _same),
    Kind.DIFFERENCE: Unit("°C", _same, _same),
    Kind.HOURS_BY_AREA: _by(TEN_M2, "h by 10 m²"),
    Kind.COVERAGE: Unit("m² by l", _same, _same),
    Kind.LOAD: Unit("kg by m²", _same, _same),
    Kind.VOLUME: Unit("l", _same, _same),
}

GROUPS: tuple[tuple[str, tuple[Box, ...]], ...] = (
    (
        "Limits",
        (
            Box("slab_min_c", "Slab, at least", Kind.DEGREES),
            Box("slab_amber_below_c", "Slab, care below", Kind.DEGREES),
            Box("slab_amber_above_c", "Slab, care above", Kind.DEGREES),
            Box("slab_max_c", "Slab, at most", Kind.DEGREES),
            Box("spread_min_c", "Slab above dew point, at least", Kind.DIFFERENCE),
            Box("spread_amber_c", "Slab above dew point, care below", Kind.DIFFERENCE),
            Box("humidity_max_pct", "Humidity of the air, at most", Kind.PERCENT),
            Box("humidity_min_grains", "Water in the air, at least", Kind.GRAINS, True),
            Box("air_min_c", "Air, at least", Kind.DEGREES, True),
            Box("air_max_c", "Air, at most", Kind.DEGREES, True),
            Box("stop_c", "No cure counts below", Kind.DEGREES),
            Box("drive_on_min_c", "No drive-on date is promised below", Kind.DEGREES, True),
        ),
    ),
    (
        "Times by slab temperature",
        (
            Box("set", "Base coat until scraping or the next coat", Kind.TIMES),
            Box("tack_free", "Top coat until tack-free", Kind.TIMES),
            Box("rain_safe", "Top coat until rain does no harm", Kind.TIMES),
            Box("base_rain_safe", "Base that waits, until rain does no harm", Kind.TIMES, True),
            Box("walk_on", "Top coat until walk-on", Kind.TIMES),
            Box("drive_on", "Top coat until drive-on", Kind.TIMES),
            Box("working_minutes", "Working time of a mix", Kind.MINUTES),
            Box("recoat_until_h", "Latest next coat after the base", Kind.HOURS),
            Box("abrade_h_per_m2", "Abrading where that is past", Kind.HOURS_BY_AREA),
        ),
    ),
    (
        "Amounts",
        (
            Box("mix_a", "Part A", Kind.PARTS),
            Box("mix_b", "Part B", Kind.PARTS),
            Box("base_m2_per_l", "Base coat covers", Kind.COVERAGE),
            Box("top_m2_per_l", "Top coat covers", Kind.COVERAGE),
            Box("flake_kg_per_m2", "Flake thrown", Kind.LOAD),
            Box("kit_l", "A kit holds, A and B together", Kind.VOLUME),
            Box("shelf_life_days", "A kit keeps", Kind.DAYS),
        ),
    ),
)  # fmt: skip
BOXES = {box.name: box for _, boxes in GROUPS for box in boxes}
_ROW = re.compile(
    r"([+-]?[\d.,]+)\s*(?:°\s*[FC])?\s*[:=]\s*([\d.,]+)\s*(?:h|min)?\.?", re.IGNORECASE
)
_ENERGY = re.compile(r"energy\s*[:=]?\s*([\d.,]+)\s*(?:kJ/mol)?", re.IGNORECASE)


class BadBoxes(ValueError):
    """What was typed is no card: `problems` has a sentence for every box at fault."""

    def __init__(self, problems: Mapping[str, str]) -> None:
        super().__init__(" ".join(problems.values()))
        self.problems = dict(problems)


def unit_of(box: Box, *, us: bool) -> str:
    """The words of a box's unit; for times, how their rows are written."""
    degrees = "°F" if us else "°C"
    if box.kind is Kind.TIMES:
        return f"A line a row, warmer rows later: {degrees} = hours. Last the energy, if any."
    if box.kind is Kind.MINUTES:
        return f"A line a row: {degrees} = minutes. Last the energy, if any."
    return _unit(box, us=us).words


def shown(card: Card, *, us: bool) -> dict[str, str]:
    """The text of each box."""
    return {name: _text(box, getattr(card, name), us=us) for name, box in BOXES.items()}


def read_card(
    typed: Mapping[str, str],
    *,
    kept: Card,
    name: str,
    table: str,
    two_days: bool,
    overnight: bool,
    source: str,
    us: bool,
) -> Card:
    """The card as typed over `kept`; what was not touched keeps its value and its source.

    `typed` has a text for each of `BOXES`. Raises BadBoxes.
    """
    before, texts = card_to_json(kept), shown(kept, us=us)
    values: dict[str, object] = {}
    problems: dict[str, str] = {}
    for key, box in BOXES.items():
        text = typed.get(key, "").strip()
        try:
            values[key] = before[key] if _same_text(text, texts[key]) else _value(box, text, us=us)
        except Unreadable as trouble:
            problems[key] = str(trouble)
    problems.update(_out_of_order(values))
    if problems:
        raise BadBoxes(problems)
    values |= {"name": name, "table": table, "two_days": two_days, "overnight": overnight}
    touched = {key for key, value in values.items() if before[key] != value}
    sources = {key: words for key, words in kept.sources.items() if key not in touched}
    sources["card"] = source.strip() or sources.get("card", "")
    values["sources"] = {key: words for key, words in sources.items() if words}
    try:
        return card_from_json({**before, **values})
    except BadCard as wrong:
        field = wrong.field.split(" ")[0]
        label = BOXES[field].label if field in BOXES else field.capitalize()
        raise BadBoxes({field: f"{label}: {wrong.wrong}."}) from None


def _same_text(typed: str, was: str) -> bool:
    return typed.replace("\r\n", "\n") == was


def _unit(box: Box, *, us: bool) -> Unit:
    return (_US if us else _METRIC)[box.kind]


def _text(box: Box, value: object, *, us: bool) -> str:
    if value is None:
        return ""
    if isinstance(value, CureTime):
        degrees, scale = _unit(BOXES["slab_min_c"], us=us), _scale(box)
        rows = [
            f"{_figure(degrees.shown(at))} = {_figure(hours * scale)}" for at, hours in value.points
        ]
        if value.energy_kj_mol is not None:
            rows.append(f"energy {_figure(value.energy_kj_mol)}")
        return "\n".join(rows)
    return _figure(_unit(box, us=us).shown(float(str(value))))


def _figure(value: float) -> str:
    """Three digits where it is small, tenths where it is large, and no zeros at its end."""
    text = f"{value:.1f}" if abs(value) >= 10 else f"{value:#.3g}"
    return text.rstrip("0").rstrip(".")


def _scale(box: Box) -> float:
    return 60.0 if box.kind is Kind.MINUTES else 1.0


def _value(box: Box, text: str, *, us: bool) -> object:
    if not text:
        if box.may_be_empty:
            return None
        raise Unreadable(f"{box.label}: please fill this in from the data sheet.")
    if box.kind in (Kind.TIMES, Kind.MINUTES):
        return _times(box, text, us=us)
    return _unit(box, us=us).read(read_number(text, us=us))


def _times(box: Box, text: str, *, us: bool) -> dict[str, object]:
    degrees, scale = _unit(BOXES["slab_min_c"], us=us), _scale(box)
    points: list[list[float]] = []
    energy: float | None = None
    for line in filter(None, (each.strip() for each in text.splitlines())):
        if row := _ROW.fullmatch(line):
            at, hours = (read_number(number, us=us) for number in row.groups())
            points.append([degrees.read(at), hours / scale])
        elif last := _ENERGY.fullmatch(line):
            energy = read_number(last[1], us=us)
        else:
            raise Unreadable(
                f'{box.label}: "{line[:40]}" is no row; write one such as 70 = 1.5, or energy 45.'
            )
    return {"points": points, "energy_kj_mol": energy}


def _out_of_order(values: Mapping[str, object]) -> dict[str, str]:
    found = {}
    for lower, upper in ORDER:
        low, high = values.get(lower), values.get(upper)
        if isinstance(low, int | float) and isinstance(high, int | float) and low > high:
            found[lower] = f"{BOXES[lower].label} lies above: {BOXES[upper].label.lower()}."
    return found


TABLES = (
    (Table.CURVE.value, "The cure is added up over the slab's hours"),
    (Table.STEP.value, "The row at or below the slab's temperature at the pour"),
)
