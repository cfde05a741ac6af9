"""The demo's invented weather: in the service's shape, anchored to now, always the same."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from weather import services
from weather.models import Forecast
from weather.providers import replay
from weather.providers.replay import Stage
from weather.providers.replay_scripts import SCRIPTS
from weather.reads import hours_at, latest_forecast
from weather.rules.chances import spells
from weather.rules.hours import HOUR

NOW = datetime(2026, 3, 6, 15, 20, tzinfo=UTC)
ZONE = "America/Chicago"
STAGE = Stage(script="mild", latitude=33.5, longitude=-86.8, zone=ZONE, first_day=date(2026, 3, 6))


def local_day(hours, day):
    """Positions of the hours of one local day."""
    zone = ZoneInfo(ZONE)
    return [i for i in range(len(hours)) if hours.hour(i).astimezone(zone).date() == day]


@pytest.mark.parametrize("script", SCRIPTS)
def test_every_script_gives_a_whole_forecast_issued_just_now(script):
    hours = replay.forecast(replace(STAGE, script=script), now=NOW)

    assert hours.source == "replay"
    assert timedelta() < NOW - hours.issued_at <= timedelta(minutes=75)
    assert hours.end >= NOW + timedelta(days=7, hours=20)
    for name in ("air_c", "dew_c", "humidity_pct", "rain_chance_pct", "rain_mm", "gust_kmh"):
        assert not np.isnan(getattr(hours, name)).any(), name
    assert (hours.dew_c <= hours.air_c).all()
    assert not hours.chance_derived.any()


def test_the_next_three_days_are_dry_and_mild():
    hours = replay.forecast(STAGE, now=NOW)

    for ahead in (1, 2, 3):
        day = local_day(hours, STAGE.first_day + timedelta(days=ahead))
        assert hours.rain_chance_pct[day].max() <= 10
        assert 10 <= hours.air_c[day].min() < hours.air_c[day].max() <= 27


def test_the_wet_afternoon_is_wet_in_the_afternoon():
    hours = replay.forecast(replace(STAGE, script="wet_afternoon"), now=NOW)

    first, *_ = spells(hours, least_pct=30)

    begin, end = (moment.astimezone(ZoneInfo(ZONE)) for moment in (first.start, first.end))
    assert begin.date() == STAGE.first_day + timedelta(days=2)
    assert (begin.hour, end.hour) == (14, 19)
    assert first.amount_mm == pytest.approx(7.0, abs=0.05)
    assert first.window_h == 6


def test_the_cold_snap_ends_with_damp_air_over_cold_ground():
    hours = replay.forecast(replace(STAGE, script="cold_snap"), now=NOW)

    cold = local_day(hours, STAGE.first_day + timedelta(days=1))
    front = local_day(hours, STAGE.first_day + timedelta(days=3))
    assert hours.air_c[cold].max() < 7
    assert hours.dew_c[front].max() >= hours.air_c[cold].max()


def test_the_same_day_is_told_alike_an_hour_and_a_day_later():
    early = replay.forecast(STAGE, now=NOW)

    for later in (HOUR, timedelta(days=1)):
        again = replay.forecast(STAGE, now=NOW + later)
        shared = early.between(again.start, early.end)
        told = again.between(again.start, early.end)
        assert np.allclose(shared.air_c, told.air_c)
        assert np.allclose(shared.rain_mm, told.rain_mm)


def test_the_night_the_clocks_change_has_an_hour_less_and_no_hole():
    # In the United States clocks go forward on the second Sunday in March: 8 March 2026.
    hours = replay.forecast(STAGE, now=NOW)

    assert len(local_day(hours, date(2026, 3, 8))) == 23
    assert not np.isnan(hours.air_c).any()


@pytest.mark.django_db
def test_a_demo_place_has_a_past_and_a_forecast_at_once(settings):
    settings.FORECASTS = "replay"
    place = services.place_for(
        latitude=33.5, longitude=-86.8, zone=ZONE, replay_script="wet_afternoon"
    )

    result = services.refresh(place, now=NOW)

    hours = hours_at(place, now=NOW)
    known = ~np.isnan(hours.air_c)
    assert result.outcome is services.Outcome.STORED
    assert known[: hours.index(NOW + timedelta(days=7))].all()
    assert latest_forecast(place, now=NOW).source == "replay"


@pytest.mark.django_db
def test_the_rain_of_the_demo_comes_nearer_day_by_day(settings):
    settings.FORECASTS = "replay"
    place = services.place_for(
        latitude=33.5, longitude=-86.8, zone=ZONE, replay_script="wet_afternoon"
    )
    starts = []

    for days in (0, 1):
        moment = NOW + timedelta(days=days)
        services.refresh(place, now=moment)
        starts.append(spells(latest_forecast(place, now=moment).hours(), least_pct=50)[0].start)

    assert starts[0] == starts[1]
    assert Forecast.objects.count() == 2


@pytest.mark.django_db
def test_a_demo_can_turn_the_weather_at_once(settings):
    settings.FORECASTS = "replay"
    place = services.place_for(latitude=33.5, longitude=-86.8, zone=ZONE, replay_script="mild")
    services.refresh(place, now=NOW)
    later = NOW + timedelta(minutes=1)

    services.turn_weather(place, script="wet_afternoon", now=later)

    forecast = latest_forecast(place, now=later)
    assert forecast.issued_at == later
    assert spells(forecast.hours(), least_pct=50)[0].amount_mm == pytest.approx(7.0, abs=0.05)
