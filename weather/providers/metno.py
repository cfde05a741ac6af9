"""MET Norway's Locationforecast 2.0: the whole world, no key, CC BY 4.0.

Its terms ask for an honest contact, no second call before Expires, and If-Modified-Since.
Format: api.met.no, "Locationforecast data model". Times are UTC; a state is that moment's,
an amount falls in the hours after it. Outside the Nordic countries there is often no chance
of rain, which is unknown and never zero.
"""

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
from django.conf import settings

from weather import http
from weather.answers import BadAnswer, instant, listing, number, section
from weather.providers.contract import Memory, Said, Spot
from weather.providers.sanity import MOST_HOURS, usable
from weather.rules.hours import HOUR, Hours, Series, floor_hour
from weather.rules.placing import placed

NAME = "metno"
CREDIT = "Weather data from MET Norway (CC BY 4.0), modified"
KMH_PER_MS = 3.6
# Our layer: theirs, the unit it must state, and the factor to ours.
STATES = {
    "air_c": ("air_temperature", "celsius", 1.0),
    "dew_c": ("dew_point_temperature", "celsius", 1.0),
    "humidity_pct": ("relative_humidity", "%", 1.0),
    "wind_kmh": ("wind_speed", "m/s", KMH_PER_MS),
    "gust_kmh": ("wind_speed_of_gust", "m/s", KMH_PER_MS),
    "cloud_pct": ("cloud_area_fraction", "%", 1.0),
}
# Steps grow to 6 hours; over a longer hole no state is guessed.
LONGEST_STEP = timedelta(hours=6)

# Symbols without anything that falls (api.met.no, "Weathericon"); all others are wet.
DRY_SYMBOLS = {"clearsky", "fair", "partlycloudy", "cloudy", "fog"}

Step = tuple[datetime, dict[str, Any]]


def ask(spot: Spot, *, memory: Memory, now: datetime) -> Said:
    """The newest forecast for `spot`. Raises `BadAnswer` and `http.Trouble` as they come."""
    where = f"lat={_degrees(spot.latitude)}&lon={_degrees(spot.longitude)}"
    if spot.elevation_m is not None:
        where += f"&altitude={round(spot.elevation_m)}"
    answer = http.get_json(
        settings.METNO_URL,
        f"/complete?{where}",
        accept="application/json",
        if_modified_since=memory.last_modified,
    )
    hours = None if answer.document is None else parse(answer.document, fetched_at=now)
    warnings = ("this version of the service is about to end",) if answer.status == 203 else ()
    return Said(hours, answer.last_modified, answer.expires_at, memory.nws_grid, warnings)


def _degrees(value: object) -> str:
    return f"{float(str(value)):.3f}".rstrip("0").rstrip(".")


def parse(document: dict[str, Any] | None, *, fetched_at: datetime) -> Hours:
    """The hours of a `complete` or `compact` answer; between 6-hour steps states are drawn out."""
    properties = section(document, "properties")
    meta = section(properties, "meta")
    issued_at = instant(meta.get("updated_at"), word="updated_at")
    units = section(meta, "units")
    steps = [_step(item) for item in listing(properties, "timeseries")]
    _refuse_disorder(steps)
    start = steps[0][0]
    count = int((steps[-1][0] - start) / HOUR) + 1
    if count > MOST_HOURS:
        raise BadAnswer(f"the answer speaks of {count} hours")
    hours = Hours.unknown(start=start, count=count, source=NAME)
    layers: dict[str, Any] = {
        name: _state(steps, units, name, start=start, count=count) for name in STATES
    }
    amounts = _amounts(steps, units, start=start, count=count)
    chances, windows = _chances(steps, units, start=start, count=count)
    good = usable(
        replace(
            hours,
            **layers,
            rain_mm=amounts,
            rain_chance_pct=chances,
            chance_window_h=windows,
            issued_at=issued_at,
            fetched_at=fetched_at,
        )
    )
    words = _words(steps, start=start, count=count)
    first = int((good.start - start) / HOUR)
    return placed(good, says_wet=words[first : first + len(good)])


def _step(item: object) -> Step:
    data = section(item, "data")
    when = instant(item.get("time") if isinstance(item, dict) else None, word="time")
    if when != floor_hour(when):
        raise BadAnswer(f"the answer has a step at {when:%H:%M}")
    return when, data


def _refuse_disorder(steps: list[Step]) -> None:
    if not steps:
        raise BadAnswer("the answer has no steps")
    times = [when for when, _ in steps]
    if any(later <= earlier for earlier, later in pairwise(times)):
        raise BadAnswer("the answer's steps are not in order of time")


def _details(data: dict[str, Any], period: str) -> dict[str, Any]:
    inner = data.get(period)
    found = inner.get("details") if isinstance(inner, dict) else None
    return found if isinstance(found, dict) else {}


def _refuse_unit(units: dict[str, Any], key: str, unit: str) -> None:
    if units.get(key) != unit:
        raise BadAnswer(f"{key} is in {units.get(key) or 'no unit'}, not {unit}")


def _state(
    steps: list[Step], units: dict[str, Any], name: str, *, start: datetime, count: int
) -> Series:
    """One state by the hour, on straight lines between steps of up to six hours."""
    theirs, unit, factor = STATES[name]
    values = np.full(count, np.nan)
    for when, data in steps:
        values[int((when - start) / HOUR)] = number(_details(data, "instant").get(theirs))
    known = np.flatnonzero(~np.isnan(values)).tolist()
    if not known:
        return values
    _refuse_unit(units, theirs, unit)
    for first, second in pairwise(known):
        if (second - first) * HOUR <= LONGEST_STEP:
            values[first : second + 1] = np.linspace(
                values[first], values[second], second - first + 1
            )
    return values * factor


def _amounts(steps: list[Step], units: dict[str, Any], *, start: datetime, count: int) -> Series:
    """Rain by the hour: stated by the hour, else what six hours hold beyond that, shared."""
    amounts = np.full(count, np.nan)
    stated = [
        (int((when - start) / HOUR), length, amount)
        for length in (1, 6)
        for when, data in steps
        if not np.isnan(
            amount := number(_details(data, f"next_{length}_hours").get("precipitation_amount"))
        )
    ]
    if stated:
        _refuse_unit(units, "precipitation_amount", "mm")
    for position, length, amount in stated:
        window = amounts[position : position + length]
        missing = np.isnan(window)
        if missing.any():
            rest = max(0.0, amount - float(np.nansum(window)))
            # Hours past the end of the series take their share with them.
            share = rest / (int(missing.sum()) + length - len(window))
            window[missing] = share
    return amounts


def _chances(
    steps: list[Step], units: dict[str, Any], *, start: datetime, count: int
) -> tuple[Series, Series]:
    """Chance of rain by the hour where any is stated, with its period; the shortest wins."""
    chances, windows = np.full(count, np.nan), np.ones(count)
    for length in (1, 6, 12):
        for when, data in steps:
            details = _details(data, f"next_{length}_hours")
            chance = number(details.get("probability_of_precipitation"))
            if np.isnan(chance):
                continue
            _refuse_unit(units, "probability_of_precipitation", "%")
            position = int((when - start) / HOUR)
            missing = np.isnan(chances[position : position + length])
            chances[position : position + length][missing] = chance
            windows[position : position + length][missing] = length
    return chances, windows


def _words(steps: list[Step], *, start: datetime, count: int) -> Series:
    """1 in hours whose symbol shows something that falls, 0 where it does not; NaN without one."""
    words = np.full(count, np.nan)
    for length in (1, 6):
        for when, data in steps:
            inner = data.get(f"next_{length}_hours")
            summary = inner.get("summary") if isinstance(inner, dict) else None
            symbol = summary.get("symbol_code") if isinstance(summary, dict) else None
            if isinstance(symbol, str) and symbol:
                position = int((when - start) / HOUR)
                window = words[position : position + length]
                window[np.isnan(window)] = symbol.partition("_")[0] not in DRY_SYMBOLS
    return words
