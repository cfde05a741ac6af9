"""Skies for the tests of verdicts: forecasts written as rows that hold until the next one."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from dispatch.rules.thresholds import Thresholds
from jobs.rules.cards import Card
from jobs.rules.plan import Plan
from jobs.rules.stages import lay_out
from tests.jobs.rules.floors import FAST, PLANNING_RATES, clock, floor_of
from weather.rules.hours import HOUR, Hours, Series, SlabHours

# The stricter lines of wind that the planning cards of these tests were written with.
PLANNING_THRESHOLDS = Thresholds(gust_care_kmh=15, gust_no_kmh=25)


@dataclass(frozen=True)
class Row:
    """One row of a forecast (°C, %, %, mm/h, km/h) with the slab beside it (°C)."""

    air_c: float
    humidity_pct: float
    dew_c: float
    chance_pct: float
    rain_mm: float = 0.0
    gust_kmh: float = 5.0
    slab_c: float = float("nan")


def sky(
    zone: str, rows: dict[str, Row], *, issued: str, until: str | None = None
) -> tuple[Hours, SlabHours]:
    """Hours and slab of rows by clock at the site, each held until the next one.

    Without `until` the last row holds for three days, so that nights and drive-on are known.
    """
    by_hour = {clock(zone, text): row for text, row in rows.items()}
    start = min(by_hour)
    end = clock(zone, until) if until else max(by_hour) + timedelta(days=3)
    count = int((end - start) / HOUR)
    instants = [start + i * HOUR for i in range(count)]
    held = [by_hour[max(at for at in by_hour if at <= instant)] for instant in instants]

    def layer(name: str) -> Series:
        return np.array([getattr(row, name) for row in held], dtype=np.float64)

    hours = Hours(
        start=start,
        air_c=layer("air_c"),
        dew_c=layer("dew_c"),
        humidity_pct=layer("humidity_pct"),
        rain_chance_pct=layer("chance_pct"),
        rain_mm=layer("rain_mm"),
        snow_mm=np.zeros(count),
        wind_kmh=layer("gust_kmh") / 2,
        gust_kmh=layer("gust_kmh"),
        cloud_pct=np.zeros(count),
        chance_window_h=np.ones(count),
        chance_derived=np.zeros(count, dtype=bool),
        source="made up",
        issued_at=clock(zone, issued),
    )
    slab_c = layer("slab_c")
    return hours, SlabHours(start=start, mid_c=slab_c, cold_c=slab_c, warm_c=slab_c)


def planned(
    area_ft2: float, start: datetime, slab: SlabHours, *, card: Card = FAST, crew_size: int = 2
) -> Plan:
    """A bare floor laid out for a crew at the planning rates."""
    work = floor_of(area_ft2)
    return lay_out(
        work=work, card=card, rates=PLANNING_RATES, crew_size=crew_size, start=start, slab=slab
    )


def without(hours: Hours, at: datetime, *layers: str) -> Hours:
    """The same hours with one hour of these layers (all of them, if none is named) unknown."""
    position = hours.index(at)
    names = layers or (
        "air_c",
        "dew_c",
        "humidity_pct",
        "rain_chance_pct",
        "rain_mm",
        "snow_mm",
        "wind_kmh",
        "gust_kmh",
        "cloud_pct",
    )
    return changed(hours, **{name: {position: float("nan")} for name in names})


def changed(hours: Hours, **layers: dict[int, float]) -> Hours:
    """The same hours with single values (by position) put in."""
    new = {}
    for name, values in layers.items():
        series = getattr(hours, name).copy()
        for position, value in values.items():
            series[position] = value
        new[name] = series
    return replace(hours, **new)
