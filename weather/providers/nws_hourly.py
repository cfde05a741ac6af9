"""The US service's hourly forecast, read into hours: the fallback when a raw grid fails. Pure.

It has no amounts of rain. Numbers come plain or as {"unitCode", "value"}; the dew point is
in °C even where the rest is in US units. A missing chance stays unknown.
"""

import re
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np

from weather.answers import BadAnswer, instant, listing, number, section
from weather.providers.sanity import MOST_HOURS, usable
from weather.rules.chances import period_h
from weather.rules.hours import HOUR, Hours, Series, floor_hour

NAME = "nws_hourly"
# "10 mph", "5 to 10 mph", "15 km/h"
WIND = re.compile(r"(?:\d+(?:\.\d+)? to )?(?P<most>\d+(?:\.\d+)?) (?P<unit>mph|km/h)")
KMH_PER_MPH = 1.609344


def parse_hourly(document: dict[str, Any] | None, *, fetched_at: datetime) -> Hours:
    """The hours of an hourly forecast; what it leaves out is unknown."""
    properties = section(document, "properties")
    issued_at = instant(properties.get("updateTime"), word="updateTime")
    periods = [_checked(period) for period in listing(properties, "periods")]
    if not periods:
        raise BadAnswer("the hourly forecast has no hours")
    start = min(begin for begin, _ in periods)
    count = int((max(begin for begin, _ in periods) - start) / HOUR) + 1
    if count > MOST_HOURS:
        raise BadAnswer(f"the hourly forecast speaks of {count} hours")
    hours = Hours.unknown(start=start, count=count, source=NAME)
    for begin, period in periods:
        _write(hours, hours.index(begin), period)
    stamped = replace(
        hours,
        chance_window_h=period_h(_run_lengths(hours.rain_chance_pct)),
        issued_at=issued_at,
        fetched_at=fetched_at,
    )
    return usable(stamped)


def _checked(period: object) -> tuple[datetime, dict[str, Any]]:
    if not isinstance(period, dict):
        raise BadAnswer("the hourly forecast has a period that is no object")
    begin = instant(period.get("startTime"), word="startTime")
    if begin != floor_hour(begin):
        raise BadAnswer(f"the hourly forecast has an hour that starts at {begin:%H:%M}")
    if instant(period.get("endTime"), word="endTime") - begin != HOUR:
        raise BadAnswer("the hourly forecast has a period that is not one hour")
    return begin, period


def _write(hours: Hours, position: int, period: dict[str, Any]) -> None:
    hours.air_c[position] = _air_c(period)
    hours.dew_c[position] = _quantity(period.get("dewpoint"), unit="degC")
    hours.humidity_pct[position] = _quantity(period.get("relativeHumidity"), unit="percent")
    chance = _quantity(period.get("probabilityOfPrecipitation"), unit="percent")
    hours.rain_chance_pct[position] = chance
    hours.wind_kmh[position] = _wind_kmh(period.get("windSpeed"))


def _air_c(period: dict[str, Any]) -> float:
    stated = period.get("temperature")
    if isinstance(stated, dict):
        unit = str(stated.get("unitCode") or "").rpartition(":")[2]
        value = number(stated.get("value"))
    else:
        unit = {"F": "degF", "C": "degC"}.get(str(period.get("temperatureUnit")), "")
        value = number(stated)
    if unit == "degF":
        return (value - 32) / 1.8
    return value if unit == "degC" else float("nan")


def _quantity(stated: object, *, unit: str) -> float:
    if not isinstance(stated, dict):
        return float("nan")
    if str(stated.get("unitCode") or "").rpartition(":")[2] != unit:
        return float("nan")
    return number(stated.get("value"))


def _wind_kmh(stated: object) -> float:
    """The highest wind a period names, in km/h."""
    if isinstance(stated, dict):
        most = stated.get("maxValue") or stated.get("value")
        return _quantity({**stated, "value": most}, unit="km_h-1")
    found = WIND.fullmatch(stated) if isinstance(stated, str) else None
    if not found:
        return float("nan")
    factor = KMH_PER_MPH if found["unit"] == "mph" else 1.0
    return float(found["most"]) * factor


def _run_lengths(values: Series) -> Series:
    """For each hour, how many neighbours in a row hold the same value as it."""
    same = np.concatenate([[False], values[1:] == values[:-1]])
    run = np.cumsum(~same)
    return np.asarray(np.bincount(run)[run], dtype=float)
