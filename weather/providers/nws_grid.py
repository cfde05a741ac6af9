"""Raw grids of the US National Weather Service, read into hours. Pure.

Format: the service's own API description (api.weather.gov/openapi.json). A state is written
once for as many hours as it lasts; an amount of rain is the total of its stretch.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from weather.answers import BadAnswer, instant, listing, number, section
from weather.providers.sanity import usable
from weather.rules.chances import period_h
from weather.rules.hours import HOUR, Hours, Series, floor_hour
from weather.rules.intervals import Stretch, copied, interval, lengths_h, shared
from weather.rules.placing import placed

# Our layer: theirs, and the unit it must state.
STATES = {
    "air_c": ("temperature", "degC"),
    "dew_c": ("dewpoint", "degC"),
    "humidity_pct": ("relativeHumidity", "percent"),
    "rain_chance_pct": ("probabilityOfPrecipitation", "percent"),
    "wind_kmh": ("windSpeed", "km_h-1"),
    "gust_kmh": ("windGust", "km_h-1"),
    "cloud_pct": ("skyCover", "percent"),
}
TOTALS = {
    "rain_mm": ("quantitativePrecipitation", "mm"),
    "snow_mm": ("snowfallAmount", "mm"),
}
# Words of the weather layer for what does not fall from the sky; all others are wet.
DRY_WORDS = {
    "blowing_dust",
    "blowing_sand",
    "blowing_snow",
    "dust",
    "fog",
    "freezing_fog",
    "frost",
    "haze",
    "ice_fog",
    "smoke",
    "volcanic_ash",
}


def parse_grid(
    document: dict[str, Any] | None, *, fetched_at: datetime, source: str = "nws"
) -> Hours:
    """The hours of a raw grid. They begin some hours before the issue, as the service writes.

    Each layer ends where the service ends it, and an empty one is unknown throughout.
    """
    properties = section(document, "properties")
    issued_at = instant(properties.get("updateTime"), word="updateTime")
    states = {ours: stretches(properties, *theirs) for ours, theirs in STATES.items()}
    totals = {ours: stretches(properties, *theirs) for ours, theirs in TOTALS.items()}
    start, count = _span(states["air_c"], issued_at=issued_at)
    layers: dict[str, Any] = {
        name: copied(found, start=start, count=count) for name, found in states.items()
    }
    says_wet = weather_words(properties, start=start, count=count)
    for name, found in totals.items():
        layers[name] = shared(found, start=start, count=count, wet=says_wet > 0)
    periods = lengths_h(states["rain_chance_pct"], start=start, count=count)
    good = usable(
        Hours(
            start=start,
            **layers,
            chance_window_h=period_h(periods),
            chance_derived=np.zeros(count, dtype=bool),
            source=source,
            issued_at=issued_at,
            fetched_at=fetched_at,
        )
    )
    first = int((good.start - start) / HOUR)
    return placed(good, says_wet=says_wet[first : first + len(good)])


def stretches(properties: dict[str, Any], layer: str, unit: str) -> list[Stretch]:
    """The stretches of one layer; none where the office sends none."""
    found = properties.get(layer)
    if not isinstance(found, dict) or not found.get("values"):
        return []
    stated = str(found.get("uom") or found.get("unitCode") or "")
    if stated.rpartition(":")[2] != unit:
        raise BadAnswer(f"{layer} is in {stated or 'no unit'}, not {unit}")
    return [
        Stretch(start, end, number(value))
        for start, end, value in _timed(listing(found, "values"), layer=layer)
    ]


def _timed(values: Sequence[Any], *, layer: str) -> list[tuple[datetime, datetime, object]]:
    timed = []
    for item in values:
        try:
            start, end = interval(str(item["validTime"]))
        except (KeyError, TypeError, ValueError, OverflowError):
            raise BadAnswer(f"{layer} has a value without a time: {str(item)[:80]}") from None
        timed.append((start, end, item.get("value")))
    return timed


def _span(air: Sequence[Stretch], *, issued_at: datetime) -> tuple[datetime, int]:
    """First hour and number of hours of the forecast: as far as air temperature goes."""
    if not air:
        raise BadAnswer("the answer holds no air temperature")
    start = floor_hour(min(s.start for s in air))
    count = -int((start - max(s.end for s in air)) // HOUR)
    # A grid starts at most a day before its issue, but 15 days back in a replayed past.
    if start < issued_at - timedelta(days=17) or count > 24 * 40:
        raise BadAnswer(f"the answer speaks of {count} hours from {start:%Y-%m-%d}")
    return start, count


def weather_words(properties: dict[str, Any], *, start: datetime, count: int) -> Series:
    """1 in hours in which the weather layer names something that falls, 0 where it names nothing.

    Unknown where the layer does not speak. It is finer than the amounts and the chances, so it
    says where in their hours they belong.
    """
    found = properties.get("weather")
    values = found.get("values") if isinstance(found, dict) else None
    named = [
        Stretch(begin, end, float(_falls(value)))
        for begin, end, value in _timed(values if isinstance(values, list) else [], layer="weather")
    ]
    return copied(named, start=start, count=count)


def _falls(value: object) -> bool:
    items = value if isinstance(value, list) else []
    words = {item.get("weather") for item in items if isinstance(item, dict)}
    return any(isinstance(word, str) and word not in DRY_WORDS for word in words)
