"""An invented forecast for measuring: mild, with every fourth day wet."""

from datetime import datetime, timedelta
from typing import Any

import numpy as np

from weather.models import Forecast, Place

PAST, AHEAD = timedelta(days=15), timedelta(days=10)


def fair_weather(place: Place, *, now: datetime) -> None:
    """A forecast of `place` that has just come, with the hours before it."""
    hours = int((PAST + AHEAD) / timedelta(hours=1))
    at = np.arange(hours)
    air_c = 18 + 6 * np.sin(2 * np.pi * (at - 9) / 24)
    layers: dict[str, Any] = {
        "air_c": air_c.round(1).tolist(),
        "dew_c": [8.0] * hours,
        "humidity_pct": [52.0] * hours,
        "rain_chance_pct": np.where(at // 24 % 4 == 0, 40.0, 5.0).tolist(),
        "rain_mm": np.where(at // 24 % 4 == 0, 0.4, 0.0).tolist(),
        "snow_mm": [0.0] * hours,
        "wind_kmh": [8.0] * hours,
        "gust_kmh": [12.0] * hours,
        "cloud_pct": [30.0] * hours,
    }
    start = (now - PAST).replace(minute=0, second=0, microsecond=0)
    Forecast.objects.create(
        place=place,
        source="nws",
        issued_at=now - timedelta(minutes=30),
        fetched_at=now - timedelta(minutes=29),
        start=start,
        count=hours,
        layers=layers,
    )
