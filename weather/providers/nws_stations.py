"""Stations of the US National Weather Service: what the last days were really like.

Format: api.weather.gov/openapi.json (ObservationStationCollection, Observation). Reports come
once an hour or oftener, mostly some minutes before the hour they stand for. An airport may
lie miles away, so its hours are marked as a station's.
"""

import re
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from django.conf import settings

from weather import http
from weather.answers import BadAnswer, instant, listing, number, section
from weather.providers.contract import STATION, Spot
from weather.providers.nws import ACCEPT
from weather.providers.sanity import usable
from weather.rules.distance import distance_km
from weather.rules.hours import HOUR, Hours, floor_hour

NAME = "nws_stations"
KEPT_BY_SERVICE = timedelta(days=7)
MOST_REPORTS = 400
MOST_STATIONS = 2
# Farther off, or at another height, it is another weather; common practice.
NEAR_KM = 40.0
NEAR_HEIGHT_M = 150.0
ENOUGH_SHARE = 0.5
STATION_ID = re.compile(r"[A-Z0-9]{3,8}")
# A report counts for the hour that begins nearest to it.
NEAREST = timedelta(minutes=35)
# Quality control: X failed, Q questioned (MADIS, "Quality Control checks and flags").
DOUBTED = {"X", "Q"}
# Sky cover in eighths, the middle of each word's range: few 1-2, scattered 3-4, broken 5-7
# (WMO-No. 306, Manual on Codes, METAR).
CLOUD_PCT = {"CLR": 0, "SKC": 0, "FEW": 19, "SCT": 44, "BKN": 75, "OVC": 100, "VV": 100}
MEASURES = {
    "air_c": ("temperature", {"degC": 1.0}),
    "dew_c": ("dewpoint", {"degC": 1.0}),
    "humidity_pct": ("relativeHumidity", {"percent": 1.0}),
    "wind_kmh": ("windSpeed", {"km_h-1": 1.0, "m_s-1": 3.6}),
    "gust_kmh": ("windGust", {"km_h-1": 1.0, "m_s-1": 3.6}),
}
AMOUNT = {"mm": 1.0, "m": 1000.0}


@dataclass(frozen=True)
class Station:
    """A station by its identifier, with its distance and how much higher it lies."""

    identifier: str
    away_km: float
    higher_m: float


def ask(spot: Spot, *, nws_grid: str, now: datetime) -> Hours:
    """The measured hours of the last week from the nearest station that has enough of them."""
    found = http.get_json(settings.NWS_URL, f"/gridpoints/{nws_grid}/stations", accept=ACCEPT)
    since = f"{now - KEPT_BY_SERVICE:%Y-%m-%dT%H:%M:%SZ}"
    for station in parse_stations(found.document, spot=spot)[:MOST_STATIONS]:
        path = f"/stations/{station.identifier}/observations?start={since}&limit={MOST_REPORTS}"
        told = http.get_json(settings.NWS_URL, path, accept=ACCEPT)
        hours = parse_observations(told.document, now=now)
        if np.isfinite(hours.air_c).mean() >= ENOUGH_SHARE:
            return hours
    raise BadAnswer("no station near the place reports often enough")


def parse_stations(document: dict[str, Any] | None, *, spot: Spot) -> list[Station]:
    """The stations close to the place and of like height, nearest first."""
    stations = []
    for feature in listing(document, "features"):
        properties = section(feature, "properties")
        identifier = str(properties.get("stationIdentifier"))
        try:
            east, north = (float(part) for part in feature["geometry"]["coordinates"][:2])
        except (KeyError, TypeError, ValueError):
            continue
        away_km = distance_km((spot.latitude, spot.longitude), (north, east))
        elevation = properties.get("elevation")
        height_m = number(elevation.get("value")) if isinstance(elevation, dict) else np.nan
        higher_m = height_m - (spot.elevation_m if spot.elevation_m is not None else np.nan)
        # An unknown height rules nothing out.
        near = away_km <= NEAR_KM and not abs(higher_m) > NEAR_HEIGHT_M
        if near and STATION_ID.fullmatch(identifier):
            stations.append(Station(identifier, away_km, higher_m))
    return sorted(stations, key=lambda station: station.away_km)


def parse_observations(document: dict[str, Any] | None, *, now: datetime) -> Hours:
    """A week of measured hours up to `now`; hours without a report are unknown."""
    count = int(KEPT_BY_SERVICE / HOUR)
    start = floor_hour(now) - count * HOUR
    hours = Hours.unknown(start=start, count=count, source=STATION)
    nearest = np.full(count, np.inf)
    for feature in listing(document, "features"):
        report = section(feature, "properties")
        if "timestamp" not in report:
            continue
        when = instant(report["timestamp"], word="timestamp")
        _note_rain(hours, report, when)
        hour = floor_hour(when + HOUR / 2)
        position = hours.index(hour)
        apart = abs(when - hour)
        if not 0 <= position < count or apart > NEAREST:
            continue
        if apart.total_seconds() < nearest[position] and _note(hours, report, position):
            nearest[position] = apart.total_seconds()
    if np.isnan(hours.air_c).all():
        raise BadAnswer("the station reported no temperature")
    return usable(replace(hours, issued_at=now, fetched_at=now))


def _note(hours: Hours, report: dict[str, Any], position: int) -> bool:
    """Write one report into its hour; False when it has no temperature."""
    values = {
        name: _measured(report.get(theirs), factors) for name, (theirs, factors) in MEASURES.items()
    }
    if np.isnan(values["air_c"]):
        return False
    for name, value in values.items():
        getattr(hours, name)[position] = value
    hours.cloud_pct[position] = _cloud_pct(report.get("cloudLayers"))
    return True


def _note_rain(hours: Hours, report: dict[str, Any], when: datetime) -> None:
    """The last hour's amount belongs to the hour most of it fell in; null says nothing."""
    amount = _measured(report.get("precipitationLastHour"), AMOUNT)
    position = hours.index(when - HOUR / 2)
    if 0 <= position < len(hours) and not np.isnan(amount):
        hours.rain_mm[position] = np.fmax(hours.rain_mm[position], amount)


def _measured(stated: object, factors: dict[str, float]) -> float:
    if not isinstance(stated, dict) or str(stated.get("qualityControl")) in DOUBTED:
        return float("nan")
    factor = factors.get(str(stated.get("unitCode") or "").rpartition(":")[2], float("nan"))
    return number(stated.get("value")) * factor


def _cloud_pct(layers: object) -> float:
    listed = layers if isinstance(layers, list) else []
    words = [str(layer.get("amount")) for layer in listed if isinstance(layer, dict)]
    known = [CLOUD_PCT[word] for word in words if word in CLOUD_PCT]
    return float(max(known)) if known else float("nan")
