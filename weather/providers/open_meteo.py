"""Open-Meteo: the whole world, with the members of an ensemble. Asked only with a paid key.

Its terms (open-meteo.com/en/terms) keep the free service for uses without business; a firm
buys a key and asks the hosts whose names begin with "customer-". Amounts and chances belong
to the hour before their time, unlike the other services'. An answer does not say when it was
made, so its age is counted from six hours before it was fetched, and a note says so.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
from django.conf import settings
from numpy.typing import NDArray

from weather import http
from weather.answers import BadAnswer, listing, number, section
from weather.providers.contract import Memory, Said, Spot
from weather.providers.sanity import MOST_HOURS, usable
from weather.rules.distance import distance_km
from weather.rules.hours import HOUR, Hours, Members, Series, floor_hour
from weather.rules.members import with_members

NAME = "open_meteo"
CREDIT = "Weather data by Open-Meteo.com (CC BY 4.0), modified"
DAYS = 10
MODEL = "gfs_seamless"  # 31 members (open-meteo.com/en/docs/ensemble-api)
# Global models are run every six hours; a run is at least as old as this when it is fetched.
MADE_BEFORE = timedelta(hours=6)
# Packing of numbers leaves amounts a little below zero; anything more is a mistake.
LEAST_MM = -0.5
SOIL = "soil_temperature_0cm"
FAR_KM = 15.0
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
AMOUNTS = {"rain_mm", "snow_mm"}


def ask(spot: Spot, *, memory: Memory, now: datetime) -> Said:
    """The newest forecast for `spot`, its chances counted from members where there are any.

    Raises `BadAnswer` and `http.Trouble` as they come; members that fail only cost a warning.
    """
    wanted = ",".join(theirs for theirs, _, _ in STATES.values())
    answer = _get(settings.OPEN_METEO_URL, f"/forecast?{_where(spot)}&hourly={wanted},{SOIL}")
    hours = parse(answer.document, fetched_at=now)
    soil = tuple(soil_c(answer.document, hours))
    warnings: tuple[str, ...] = ()
    try:
        told = _get(
            settings.OPEN_METEO_ENSEMBLE_URL,
            f"/ensemble?{_where(spot)}&hourly=precipitation&models={MODEL}",
        )
        members, start = parse_members(told.document)
        hours = with_members(hours, members, start=start)
    except (BadAnswer, http.Trouble) as trouble:
        warnings = (f"no members of an ensemble: {trouble}",)
    hours = replace(hours, notes=(*hours.notes, *elsewhere(answer.document, spot)))
    extra = {"soil_c": soil} if any(value is not None for value in soil) else {}
    return Said(hours, "", answer.expires_at, memory.nws_grid, warnings, extra)


def _where(spot: Spot) -> str:
    """Seconds and UTC, because clock times come with one offset for both sides of a change."""
    return (
        f"latitude={spot.latitude:.3f}&longitude={spot.longitude:.3f}"
        f"&forecast_days={DAYS}&timeformat=unixtime&timezone=GMT&wind_speed_unit=ms"
    )


def _get(base: str, path: str) -> http.Answer:
    return http.get_json(
        base, path, accept="application/json", secret=f"apikey={settings.OPEN_METEO_KEY}"
    )


def configured() -> bool:
    """Whether a key is set; without one the service is never asked."""
    return bool(settings.OPEN_METEO_KEY)


def parse(document: dict[str, Any] | None, *, fetched_at: datetime) -> Hours:
    """The hours of an answer for one place; null stays unknown, in the middle and at the end."""
    hourly = section(document, "hourly")
    units = section(document, "hourly_units")
    positions, start, count = _clock(document, hourly)
    layers: dict[str, Any] = {
        name: _layer(hourly, units, name, positions=positions, count=count) for name in STATES
    }
    notes: tuple[str, ...] = ("the service does not say when it made this forecast",)
    for name in AMOUNTS:
        layers[name], below = _no_less(layers[name])
        if below:
            notes = (*notes, f"{below} amounts a little below zero read as zero")
    return usable(
        replace(
            Hours.unknown(start=start, count=count, source=NAME),
            **layers,
            issued_at=fetched_at - MADE_BEFORE,
            fetched_at=fetched_at,
            notes=notes,
        )
    )


def parse_members(document: dict[str, Any] | None) -> tuple[Members, datetime]:
    """Rain (mm) by the hour, one row a member, and the hour they begin with.

    The control run is left out: it has been seen to lag the members by two days.
    """
    hourly = section(document, "hourly")
    units = section(document, "hourly_units")
    positions, start, count = _clock(document, hourly)
    names = sorted(name for name in hourly if name.startswith("precipitation_member"))
    if not names:
        raise BadAnswer("the answer holds no members")
    rows = [
        _no_less(_values(hourly, units, name, {"mm": 1.0, "inch": 25.4}, (count, positions - 1)))[0]
        for name in names
    ]
    return np.vstack(rows), start


def soil_c(document: dict[str, Any] | None, hours: Hours) -> list[float | None]:
    """Temperature of the bare ground's surface (°C) for each of `hours`; None where unknown.

    It stands beside a slab's estimate as another opinion; a slab is no bare ground.
    """
    hourly = section(document, "hourly")
    if SOIL not in hourly:
        return []
    positions, start, count = _clock(document, hourly)
    units = section(document, "hourly_units")
    values = _values(hourly, units, SOIL, {"°C": 1.0}, (count, positions))
    first = int((hours.start - start) / HOUR)
    told = values[first : first + len(hours)]
    return [None if np.isnan(v) or not -65 <= v <= 80 else round(float(v), 1) for v in told]


def elsewhere(document: dict[str, Any] | None, spot: Spot) -> tuple[str, ...]:
    """A note where the point that was answered for lies far from the one asked for."""
    north, east = (number((document or {}).get(name)) for name in ("latitude", "longitude"))
    if np.isnan(north) or np.isnan(east):
        return ()
    away_km = distance_km((spot.latitude, spot.longitude), (north, east))
    return (f"for a point {away_km:.0f} km away",) if away_km > FAR_KM else ()


def _no_less(values: Series) -> tuple[Series, int]:
    """Amounts a little below zero as zero, and how many there were."""
    below = (values < 0) & (values >= LEAST_MM)
    return np.where(below, 0.0, values), int(below.sum())


def _clock(
    document: dict[str, Any] | None, hourly: dict[str, Any]
) -> tuple[NDArray[np.int_], datetime, int]:
    """Where each stated time stands, the first hour and how many hours there are."""
    offset_s = number((document or {}).get("utc_offset_seconds"))
    times = _times(listing(hourly, "time"), offset_s=offset_s)
    start = times[0] - HOUR  # what fell before the first time belongs to this hour
    count = int((times[-1] - start) / HOUR) + 1
    if count > MOST_HOURS:
        raise BadAnswer(f"the answer speaks of {count} hours")
    return np.array([int((moment - start) / HOUR) for moment in times]), start, count


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
    if theirs not in hourly:
        return np.full(count, np.nan)
    if name in TEMPERATURES and units.get(theirs) == "°F":
        return (_values(hourly, units, theirs, {"°F": 1.0}, (count, positions)) - 32) / 1.8
    return _values(hourly, units, theirs, factors, (count, positions - 1 if before else positions))


def _values(
    hourly: dict[str, Any],
    units: dict[str, Any],
    theirs: str,
    factors: dict[str, float],
    places: tuple[int, NDArray[np.int_]],
) -> Series:
    """One of their rows of numbers, in our unit: how many hours, and where each stands."""
    count, positions = places
    stated = listing(hourly, theirs)
    if len(stated) != len(positions):
        raise BadAnswer(f"{theirs} has {len(stated)} values for {len(positions)} hours")
    numbers = np.array([number(value) for value in stated])
    unit = str(units.get(theirs) or "")
    if unit in factors:
        numbers = numbers * factors[unit]
    elif not np.isnan(numbers).all():
        raise BadAnswer(f"{theirs} is in {unit or 'no unit'}")
    values = np.full(count, np.nan)
    values[positions] = numbers
    return values
