"""Open-Meteo's forecast format, read into hours. Not asked: its free service is not for firms.

Only the reader is here, for a firm with a key of its own. Amounts and chances belong to the
hour before their time, unlike the other services'. The answer does not say when it was
issued, so its age counts from the fetch, which flatters it; a note says so.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weather.answers import BadAnswer, listing, number, section
from weather.providers.sanity import MOST_HOURS, usable
from weather.rules.hours import HOUR, Hours, Series, floor_hour

NAME = "open_meteo"
# Our layer: theirs, whether it belongs to the hour before, and the factor by unit.
STATES: dict[str, tuple[str, bool, dict[str, float]]] = {
    "air_c": ("temperature_2m", False, {"°C": 1.0}),
    "dew_c": ("dew_point_2m", False, {"°C": 1.0}),
    "humidity_pct": ("relative_humidity_2m", False, {"%": 1.0}),
    "cloud_pct": ("cloud_cover", False, {"%": 1.0}),
    "wind_kmh": ("wind_speed_10m", False, {"km/h": 1.0, "m/s": 3.6, "mp/h": 1.609344}),
    "gust_kmh": ("wind_gusts_10m", True, {"km/h": 1.0, "m/s": 3.6, "mp/h": 1.609344}),
    "rain_mm": ("precipitation", True, {"mm": 1.0, "inch": 25.4}),
    "snow_mm": ("snowfall", True, {"cm": 10.0, "inch": 25.4}),
    "rain_chance_pct": ("precipitation_probability", True, {"%": 1.0}),
}
TEMPERATURES = {"air_c", "dew_c"}


def parse(document: dict[str, Any] | None, *, fetched_at: datetime) -> Hours:
    """The hours of an answer for one place; null stays unknown, in the middle and at the end."""
    hourly = section(document, "hourly")
    units = section(document, "hourly_units")
    offset_s = number((document or {}).get("utc_offset_seconds"))
    times = _times(listing(hourly, "time"), offset_s=offset_s)
    start = times[0] - HOUR  # what fell before the first time belongs to this hour
    count = int((times[-1] - start) / HOUR) + 1
    if count > MOST_HOURS:
        raise BadAnswer(f"the answer speaks of {count} hours")
    positions = np.array([int((moment - start) / HOUR) for moment in times])
    layers: dict[str, Any] = {
        name: _layer(hourly, units, name, positions=positions, count=count) for name in STATES
    }
    return usable(
        replace(
            Hours.unknown(start=start, count=count, source=NAME),
            **layers,
            issued_at=fetched_at,
            fetched_at=fetched_at,
            notes=("the service does not say when it made this forecast",),
        )
    )


def _times(stated: list[Any], *, offset_s: float) -> list[datetime]:
    """The times in UTC: seconds since 1970, or clock times with one offset for all."""
    if not stated:
        raise BadAnswer("the answer has no hours")
    times = [_time(value, offset_s=offset_s) for value in stated]
    if any(moment != floor_hour(moment) for moment in times):
        raise BadAnswer("the answer's hours do not begin on hours of UTC")
    if any(later <= earlier for earlier, later in pairwise(times)):
        raise BadAnswer("the answer's hours are not in order of time")
    return times


def _time(value: object, *, offset_s: float) -> datetime:
    try:
        if isinstance(value, str):
            clock = datetime.fromisoformat(value)
            return clock.replace(tzinfo=UTC) - timedelta(seconds=offset_s)
        return datetime.fromtimestamp(number(value), tz=UTC)
    except (ValueError, OverflowError, OSError):
        raise BadAnswer(f"the answer has an hour that is no time: {str(value)[:40]!r}") from None


def _layer(
    hourly: dict[str, Any],
    units: dict[str, Any],
    name: str,
    *,
    positions: NDArray[np.int_],
    count: int,
) -> Series:
    theirs, before, factors = STATES[name]
    values = np.full(count, np.nan)
    if theirs not in hourly:
        return values
    stated = listing(hourly, theirs)
    if len(stated) != len(positions):
        raise BadAnswer(f"{theirs} has {len(stated)} values for {len(positions)} hours")
    unit = units.get(theirs)
    numbers = np.array([number(value) for value in stated])
    if name in TEMPERATURES and unit == "°F":
        numbers = (numbers - 32) / 1.8
    elif unit in factors:
        numbers = numbers * factors[unit]
    elif not np.isnan(numbers).all():
        raise BadAnswer(f"{theirs} is in {unit or 'no unit'}")
    values[positions - 1 if before else positions] = numbers
    return values
