"""Made-up weather for slabs: plain days whose answers can be told beforehand."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from weather.rules.hours import Hours

START = datetime(2026, 4, 1, tzinfo=UTC)
KANSAS_CITY = {"latitude": 39.1, "longitude": -94.6}


def days(count=24, *, mean_c=12.0, swing_c=6.0, cloud_pct=40.0, wind_kmh=12.0, start=START):
    """`count` days of the same sine, warmest at 21:00 UTC (mid afternoon in Kansas City)."""
    hour = np.arange(count * 24)
    weather = Hours.unknown(start=start, count=len(hour))
    return replace(
        weather,
        air_c=mean_c + swing_c * np.cos(2 * np.pi * (hour - 21) / 24),
        cloud_pct=np.full(len(hour), cloud_pct),
        wind_kmh=np.full(len(hour), wind_kmh),
    )


def without(hours, *, first, last):
    """The same weather with the air from hour `first` up to `last` unknown."""
    air = hours.air_c.copy()
    air[first:last] = np.nan
    return replace(hours, air_c=air)


def after(hours_on):
    """An instant that many hours after the start."""
    return START + timedelta(hours=hours_on)
