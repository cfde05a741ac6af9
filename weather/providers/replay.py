"""Invented weather in the shape of the US service's raw grid, for demos without a network.

The replies are written as that service documents them (UTC, one value for a run of hours,
amounts as totals of six hours) and are read by the same code as real ones, so a demo shows
what the software does with a forecast. Their source is "replay", and screens say so.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import cos, pi
from typing import Any
from zoneinfo import ZoneInfo

from weather.providers.nws_grid import parse_grid
from weather.providers.replay_scripts import Day, day_of
from weather.rules.hours import HOUR, Hours, floor_hour

NAME = "replay"
PAST_DAYS = 15
AHEAD_DAYS = 8
ISSUED_BEFORE = timedelta(minutes=10)
WARMEST_H, COLDEST_H = 15, 5
UNITS = {
    "temperature": "degC",
    "dewpoint": "degC",
    "windSpeed": "km_h-1",
    "windGust": "km_h-1",
    "skyCover": "percent",
}


@dataclass(frozen=True)
class Stage:
    """Where and when a script plays: `first_day` is the local day on which the demo began."""

    script: str
    latitude: float
    longitude: float
    zone: str
    first_day: date

    def day(self, day: date) -> Day:
        """What the script brings here on a local day."""
        seed = abs(self.latitude * 7 + self.longitude * 3) % 5
        return day_of(self.script, day=day, first_day=self.first_day, seed=seed)


def forecast(stage: Stage, *, now: datetime) -> Hours:
    """The forecast as of `now`: issued within the last hour or so, eight days long."""
    issued_at = floor_hour(now) - ISSUED_BEFORE
    start = floor_hour(issued_at) - 6 * HOUR
    document = grid(stage, start=start, count=AHEAD_DAYS * 24 + 7, issued_at=issued_at)
    return parse_grid(document, fetched_at=now, source=NAME)


def past(stage: Stage, *, now: datetime) -> Hours:
    """The fifteen days before `now`, so that slabs have something to remember."""
    issued_at = floor_hour(now) - ISSUED_BEFORE
    start = floor_hour(now) - PAST_DAYS * 24 * HOUR
    document = grid(stage, start=start, count=PAST_DAYS * 24, issued_at=issued_at)
    return parse_grid(document, fetched_at=now, source=NAME)


def grid(stage: Stage, *, start: datetime, count: int, issued_at: datetime) -> dict[str, Any]:
    """A reply in the documented shape of /gridpoints for `count` hours from `start`."""
    zone = ZoneInfo(stage.zone)
    local = [(start + i * HOUR).astimezone(zone) for i in range(count)]
    days = {moment.date() + timedelta(days=step) for moment in local for step in (-1, 0, 1)}
    told = {day: stage.day(day) for day in days}
    properties = {
        "updateTime": issued_at.isoformat(),
        "validTimes": f"{start.isoformat()}/PT{count}H",
        **_states(told, local, start=start),
        **_falling(told, local, start=start),
    }
    return {"type": "Feature", "properties": properties}


def _states(told: dict[date, Day], local: list[datetime], *, start: datetime) -> dict[str, Any]:
    """The layers that hold by the hour."""
    air = [_air_c(told, moment) for moment in local]
    dew = [_dew_c(told, moment) for moment in local]
    layers = {
        "temperature": air,
        "dewpoint": [min(pair) for pair in zip(dew, air, strict=True)],
        "windSpeed": [_breeze(told, moment, lambda day: day.wind_kmh) for moment in local],
        "windGust": [_breeze(told, moment, lambda day: day.gust_kmh) for moment in local],
        "skyCover": [float(round(told[moment.date()].cloud_pct)) for moment in local],
    }
    return {
        name: {"uom": f"wmoUnit:{UNITS[name]}", "values": _runs(values, start=start)}
        for name, values in layers.items()
    }


def _falling(told: dict[date, Day], local: list[datetime], *, start: datetime) -> dict[str, Any]:
    """Chance, amounts and the words for what falls; the words say where in its six hours."""
    wet = [_raining(told, moment) for moment in local]
    chance = [_chance(told, moment, falls) for moment, falls in zip(local, wet, strict=True)]
    rain = _sixes(
        [_rain_mm(told, moment) for moment in local],
        start=start,
        total=lambda part: round(sum(part), 2),
    )
    snow = _sixes([0.0] * len(local), start=start, total=sum)
    chances = _sixes(chance, start=start, total=max)
    return {
        "weather": {"values": _runs([_weather(falls) for falls in wet], start=start)},
        "probabilityOfPrecipitation": {"uom": "wmoUnit:percent", "values": chances},
        "quantitativePrecipitation": {"uom": "wmoUnit:mm", "values": rain},
        "snowfallAmount": {"uom": "wmoUnit:mm", "values": snow},
    }


def _air_c(told: dict[date, Day], moment: datetime) -> float:
    """From the low before dawn up to the afternoon's high, and down to the next low."""
    hour, day = moment.hour + moment.minute / 60, moment.date()
    today = told[day]
    if COLDEST_H <= hour <= WARMEST_H:
        low, high = today.low_c, today.high_c
        done = (hour - COLDEST_H) / (WARMEST_H - COLDEST_H)
        return _tenth(low + (high - low) * (1 - cos(pi * done)) / 2)
    if hour > WARMEST_H:
        high, low = today.high_c, told[day + timedelta(days=1)].low_c
        done = (hour - WARMEST_H) / (24 - WARMEST_H + COLDEST_H)
    else:
        high, low = told[day - timedelta(days=1)].high_c, today.low_c
        done = (hour + 24 - WARMEST_H) / (24 - WARMEST_H + COLDEST_H)
    return _tenth(high - (high - low) * (1 - cos(pi * done)) / 2)


def _dew_c(told: dict[date, Day], moment: datetime) -> float:
    """From yesterday's dew point to today's between midnight and noon."""
    day = moment.date()
    before = told[day - timedelta(days=1)].dew_c
    share = min(1.0, moment.hour / 12)
    return _tenth(before + (told[day].dew_c - before) * share)


def _breeze(told: dict[date, Day], moment: datetime, of: Callable[[Day], float]) -> float:
    """Stronger by day than by night, as it is over land."""
    by_day = (1 + cos((moment.hour - WARMEST_H) / 24 * 2 * pi)) / 2
    return _tenth(of(told[moment.date()]) * (0.5 + 0.5 * by_day))


def _raining(told: dict[date, Day], moment: datetime) -> bool:
    wet = told[moment.date()].wet
    return wet is not None and wet[0] <= moment.hour < wet[1]


def _rain_mm(told: dict[date, Day], moment: datetime) -> float:
    day = told[moment.date()]
    if day.wet is None or not _raining(told, moment):
        return 0.0
    return day.rain_mm / (day.wet[1] - day.wet[0])


def _chance(told: dict[date, Day], moment: datetime, falls: bool) -> float:
    day = told[moment.date()]
    if day.wet is None or falls:
        return day.chance_pct
    return min(10.0, day.chance_pct)


def _tenth(value: float) -> float:
    return round(value, 1)


def _weather(falls: bool) -> list[dict[str, Any]]:
    word, coverage = ("rain_showers", "likely") if falls else (None, None)
    return [{"coverage": coverage, "weather": word, "intensity": None, "attributes": []}]


def _runs(values: list[Any], *, start: datetime) -> list[dict[str, Any]]:
    """Equal neighbours as one run, the way the service writes states."""
    written: list[dict[str, Any]] = []
    first = 0
    for position in range(1, len(values) + 1):
        if position == len(values) or values[position] != values[first]:
            written.append(_timed(start, first, position, values[first]))
            first = position
    return written


def _sixes(
    values: list[float], *, start: datetime, total: Callable[[list[float]], float]
) -> list[dict[str, Any]]:
    """One value for each six hours of UTC, with a stub where the series begins and ends."""
    written = []
    first = 0
    while first < len(values):
        last = min(len(values), first + 6 - (start + first * HOUR).hour % 6)
        written.append(_timed(start, first, last, total(values[first:last])))
        first = last
    return written


def _timed(start: datetime, first: int, last: int, value: object) -> dict[str, Any]:
    begin = start + first * HOUR
    return {"validTime": f"{begin.isoformat()}/PT{last - first}H", "value": value}
