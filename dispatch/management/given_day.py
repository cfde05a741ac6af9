"""A day that is handed to `floor_day` in files: a card with its rates, and the weather by rows."""

import csv
import json
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta
from math import isfinite
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from dispatch.management.refusals import Wrong
from dispatch.rules.thresholds import DEFAULTS, Thresholds
from jobs.rules.card_json import BadCard, card_from_json
from jobs.rules.cards import Card
from jobs.rules.local_times import NoSuchTime, instant_shown
from jobs.rules.rates import Pace, Rates
from weather.rules.hours import HOUR, LAYERS, Hours, Series, SlabHours, floor_hour
from weather.rules.moist_air import dew_point_c

LAST_ROW_HOLDS = timedelta(days=3)
SLAB = ("slab_c", "slab_cold_c", "slab_warm_c")
COLUMNS = ("at", *LAYERS, *SLAB)
MOST_ROWS = 2000
# What a number of a row may be; outside it nobody has measured or forecast it.
RANGES = {"_c": (-60.0, 90.0), "_pct": (0.0, 100.0), "_mm": (0.0, 500.0), "_kmh": (0.0, 400.0)}


@dataclass(frozen=True, eq=False)
class GivenWeather:
    """Hours as handed in, and the slab beside them where it was handed in too."""

    hours: Hours
    slab: SlabHours | None


@dataclass(frozen=True)
class GivenCard:
    """A card with the rates and thresholds that go with it."""

    card: Card
    rates: Rates
    thresholds: Thresholds


def read_card(path: str) -> GivenCard:
    """The card of a JSON file, alone or as `card` beside `rates` and `thresholds`.

    Metric, named as the values of Card, Rates and Thresholds are. Raises Wrong.
    """
    try:
        said = json.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError) as trouble:
        raise Wrong(f"The card {path} cannot be read: {trouble}.") from trouble
    if not isinstance(said, dict):
        raise Wrong(f"The card {path} must be a set of named values.")
    whole = said if "card" in said else {"card": said}
    try:
        return GivenCard(
            card=card_from_json(whole["card"]),
            rates=replace(Rates(), **_named(whole, "rates", Rates)),
            thresholds=replace(DEFAULTS, **_named(whole, "thresholds", Thresholds)),
        )
    except (BadCard, TypeError, ValueError) as refusal:
        raise Wrong(f"The card {path} cannot be used: {refusal}.") from refusal


def _named(whole: Mapping[str, Any], part: str, kind: type) -> dict[str, Any]:
    """The values of one part, by the names that `kind` has; a pace is a set of its own."""
    known = {field.name for field in fields(kind)}
    given: dict[str, Any] = whole.get(part, {})
    for name in given:
        if name not in known:
            raise ValueError(f"{name} is none of the {part}")
    return {
        name: Pace(**value) if isinstance(value, Mapping) else value
        for name, value in given.items()
    }


def read_hours(path: str, *, zone: ZoneInfo, issued: datetime) -> GivenWeather:
    """The hours of a CSV file whose rows hold until the next one, the last for three days.

    `at` is the clock at the site; the other columns are those of `COLUMNS`, metric. What is
    left out or empty is unknown, except a dew point where air and humidity are known.
    """
    try:
        with Path(path).open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as trouble:
        raise Wrong(f"The hours {path} cannot be read: {trouble}.") from trouble
    if not 1 <= len(rows) <= MOST_ROWS:
        raise Wrong(f"The hours {path} have {len(rows)} rows; give 1 to {MOST_ROWS}.")
    for name in rows[0]:
        if name not in COLUMNS:
            raise Wrong(f"{name!r} is no column of hours; there are: {', '.join(COLUMNS)}.")
    by_hour = {_at(row, zone): row for row in rows}
    if len(by_hour) != len(rows):
        raise Wrong(f"The hours {path} have two rows of one hour.")
    return _held(by_hour, issued=issued)


def _held(by_hour: Mapping[datetime, Mapping[str, str]], *, issued: datetime) -> GivenWeather:
    """Every hour with the row that holds in it."""
    start, end = min(by_hour), max(by_hour) + LAST_ROW_HOLDS
    count = int((end - start) / HOUR)
    instants = sorted(by_hour)
    positions = np.searchsorted(
        [(at - start) / HOUR for at in instants], np.arange(count), side="right"
    )
    in_force = [by_hour[instants[position - 1]] for position in positions]

    def layer(name: str) -> Series:
        return np.array([_number(row, name) for row in in_force], dtype=np.float64)

    layers: dict[str, Any] = {name: layer(name) for name in LAYERS}
    hours = replace(
        Hours.unknown(start=start, count=count, source="hours handed in"),
        **layers,
        issued_at=issued,
        fetched_at=issued,
    )
    mid = layer("slab_c")
    if np.isnan(mid).all():
        return GivenWeather(hours, None)
    cold, warm = (
        np.where(np.isnan(layer(name)), mid, layer(name)) for name in ("slab_cold_c", "slab_warm_c")
    )
    return GivenWeather(hours, SlabHours(start, mid, cold, warm, basis="a slab handed in"))


def _at(row: Mapping[str, str], zone: ZoneInfo) -> datetime:
    typed = row.get("at") or ""
    try:
        local = datetime.fromisoformat(typed.strip())
        at = local if local.tzinfo is not None else instant_shown(local, zone).at
    except NoSuchTime as gone:
        raise Wrong(str(gone)) from gone
    except ValueError:
        raise Wrong(f"{typed!r} is no hour; write at as 2026-06-18 07:00.") from None
    if at != floor_hour(at):
        raise Wrong(f"{typed} is no whole hour.")
    return floor_hour(at)


def _number(row: Mapping[str, str], name: str) -> float:
    """One value of a row; NaN is unknown."""
    typed = (row.get(name) or "").strip()
    if not typed:
        if name == "dew_c":
            air_c, humidity_pct = _number(row, "air_c"), _number(row, "humidity_pct")
            if isfinite(air_c) and humidity_pct > 0:
                return float(dew_point_c(air_c=air_c, humidity_pct=humidity_pct))
        return float("nan")
    low, high = next(span for unit, span in RANGES.items() if name.endswith(unit))
    try:
        number = float(typed)
    except ValueError:
        raise Wrong(f"{typed!r} is not a number, as {name} of {row['at']}.") from None
    if not low <= number <= high:
        raise Wrong(f"{name} of {typed} at {row['at']} is not to be believed.")
    return number
