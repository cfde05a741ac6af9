"""The slab estimate beside a weather model's own ground, where recorded replies are at hand."""

import json
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from weather.rules.exposures import Exposure
from weather.rules.hours import Hours
from weather.rules.slab import slab_hours


@pytest.mark.parametrize("exposure", [Exposure.OPEN, Exposure.PORCH])
def test_a_slab_without_a_past_stays_near_the_skin_of_the_soil(samples, exposure):
    # Open-Meteo (CC BY 4.0), Berlin, a dull week of November 2021: air and the soil at 0 cm
    # of the German weather service's model. Bare soil is not concrete, which is 3 to 5 °C
    # of difference in sun (common practice); a dull week is where the two should agree.
    reply = samples / "open-meteo" / "forecast_berlin_20211124_soiltemp_TRIMMED.json"
    hourly = json.loads(reply.read_text(encoding="utf-8"))["hourly"]
    soil_c = np.array(hourly["soil_temperature_0cm"], dtype=float)
    start = datetime(2021, 11, 23, 23, tzinfo=UTC)
    blank = Hours.unknown(start=start, count=len(soil_c))
    hours = replace(blank, air_c=np.array(hourly["temperature_2m"], dtype=float))

    found = slab_hours(hours=hours, exposure=exposure, latitude=52.5, longitude=13.4, now=start)

    assert found.weak
    assert np.abs(found.mid_c - soil_c).mean() < 1.5
    assert ((found.cold_c <= soil_c) & (soil_c <= found.warm_c)).mean() > 0.9
