"""Cards as JSON: how a card is kept on a row, and what is wrong with one that was typed."""

from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields
from itertools import pairwise
from math import isfinite
from typing import cast

from jobs.rules.cards import Card, CureTime, Table

_MAY_BE_EMPTY = {field.name for field in fields(Card) if field.default is None}
_ABOVE_ZERO = {
    "recoat_until_h",
    "mix_a",
    "base_m2_per_l",
    "top_m2_per_l",
    "shelf_life_days",
    "humidity_max_pct",
    "kit_l",
    "spread_min_c",
}
_NOT_BELOW_ZERO = {"abrade_h_per_m2", "mix_b", "flake_kg_per_m2"}
# Each of these pairs must rise, or be equal.
ORDER = (
    ("slab_min_c", "slab_amber_below_c"),
    ("slab_amber_below_c", "slab_amber_above_c"),
    ("slab_amber_above_c", "slab_max_c"),
    ("stop_c", "slab_min_c"),
    ("spread_min_c", "spread_amber_c"),
    ("air_min_c", "air_max_c"),
)


class BadCard(ValueError):
    """A card that cannot be kept: `field` names where, the message says what is wrong."""

    def __init__(self, field: str, wrong: str) -> None:
        super().__init__(f"{field}: {wrong}")
        self.field = field
        self.wrong = wrong


def card_to_json(card: Card) -> dict[str, object]:
    """The card as plain JSON values, with every field."""
    return {field.name: _plain(getattr(card, field.name)) for field in fields(Card)}


def card_from_json(data: object) -> Card:
    """The card that was kept or typed; raises BadCard with the field and what is wrong."""
    if not isinstance(data, Mapping):
        raise BadCard("card", "must be a set of named values")
    known = {field.name: field for field in fields(Card)}
    for name in data:
        if name not in known:
            raise BadCard(str(name), "is not a value that a card has")
    read: dict[str, object] = {}
    for name, field in known.items():
        if name in data:
            read[name] = _read(name, data[name])
        elif field.default is MISSING and field.default_factory is MISSING:
            raise BadCard(name, "is missing")
    card = Card(**read)  # type: ignore[arg-type]  # every value was read by its name
    _check_order(card)
    return card


def _plain(value: object) -> object:
    if isinstance(value, CureTime):
        return {
            "points": [list(row) for row in value.points],
            "energy_kj_mol": value.energy_kj_mol,
        }
    if isinstance(value, Table):
        return value.value
    return dict(value) if isinstance(value, Mapping) else value


def _read(name: str, value: object) -> object:
    if value is None and name in _MAY_BE_EMPTY:
        return None
    return _READERS.get(name, _number_in_range)(name, value)


def _text(name: str, value: object) -> str:
    if not isinstance(value, str) or not value.strip():
        raise BadCard(name, "must be a text that is not empty")
    return value


def _table(name: str, value: object) -> Table:
    try:
        return Table(cast(str, value))
    except ValueError:
        choices = " or ".join(table.value for table in Table)
        raise BadCard(name, f"must be {choices}, not {value!r}") from None


def _sources(name: str, value: object) -> dict[str, str]:
    if not isinstance(value, Mapping):
        raise BadCard(name, "must name a source for each value")
    return {_text(name, key): _text(f"{name}.{key}", words) for key, words in value.items()}


def _yes_or_no(name: str, value: object) -> bool:
    if not isinstance(value, bool):
        raise BadCard(name, "must be true or false")
    return value


def _number(name: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise BadCard(name, f"must be a number, not {value!r}")
    return value


def _number_in_range(name: str, value: object) -> float:
    number = _number(name, value)
    if name in _ABOVE_ZERO and number <= 0:
        raise BadCard(name, f"must be above zero, not {number}")
    if name in _NOT_BELOW_ZERO and number < 0:
        raise BadCard(name, f"cannot be below zero, as {number} is")
    if name == "humidity_max_pct" and number > 100:
        raise BadCard(name, f"cannot be above 100 %, as {number} is")
    if name == "shelf_life_days" and number != int(number):
        raise BadCard(name, f"must be whole days, not {number}")
    return int(number) if name == "shelf_life_days" else number


def _time(name: str, value: object) -> CureTime:
    if not isinstance(value, Mapping):
        raise BadCard(name, "must have points of temperature and hours")
    unknown = set(value) - {"points", "energy_kj_mol"}
    if unknown:
        raise BadCard(name, f"does not know {', '.join(sorted(map(str, unknown)))}")
    points = value.get("points")
    if not isinstance(points, list | tuple):
        raise BadCard(name, "must have points of temperature and hours")
    rows = tuple(_row(f"{name} row {number}", row) for number, row in enumerate(points, 1))
    energy = value.get("energy_kj_mol")
    if energy is not None:
        energy = _number(f"{name} energy", energy)
        if not 0 <= energy <= 200:
            raise BadCard(name, f"an energy of {energy} kJ/mol is not one of a coating")
    try:
        time = CureTime(rows, energy)
    except ValueError as wrong:
        raise BadCard(name, str(wrong)) from None
    if any(warm_h > cold_h for (_, cold_h), (_, warm_h) in pairwise(rows)):
        raise BadCard(name, "a warmer row cannot take longer than a colder one")
    return time


def _row(name: str, row: object) -> tuple[float, float]:
    if not isinstance(row, list | tuple) or len(row) != 2:
        raise BadCard(name, "must be a temperature and hours")
    return _number(name, row[0]), _number(name, row[1])


def _check_order(card: Card) -> None:
    for lower, upper in ORDER:
        low, high = getattr(card, lower), getattr(card, upper)
        if low is not None and high is not None and low > high:
            raise BadCard(lower, f"{low} is above {upper}, which is {high}")


# What is not named here is a number.
_READERS: dict[str, Callable[[str, object], object]] = {
    "name": _text,
    "table": _table,
    "sources": _sources,
    "set": _time,
    "tack_free": _time,
    "rain_safe": _time,
    "walk_on": _time,
    "drive_on": _time,
    "working_minutes": _time,
    "base_rain_safe": _time,
    "two_days": _yes_or_no,
    "overnight": _yes_or_no,
}
