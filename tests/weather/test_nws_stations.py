"""What a station near by measured: its reports as hours, kept over what forecasts said."""

from datetime import timedelta
from decimal import Decimal

import numpy as np
import pytest

from tests.weather.replies import HOUR, ISSUED, grid, observation, point, stations
from weather import services
from weather.answers import BadAnswer
from weather.providers.contract import Spot
from weather.providers.nws_stations import parse_observations, parse_stations
from weather.reads import hours_at, past_origins

NOW = ISSUED + HOUR
SPOT = Spot(Decimal("33.5"), Decimal("-86.8"), 180.0)


def reports(*items):
    return {"features": list(items)}


def a_week(**changed):
    """A report seven minutes before every hour of the last week."""
    last = NOW.replace(minute=0) - timedelta(minutes=7)
    return reports(*(observation(last - i * HOUR, **changed) for i in range(7 * 24)))


def test_only_stations_close_by_and_of_like_height_are_asked():
    assert [found.identifier for found in parse_stations(stations(), spot=SPOT)] == ["KTST"]
    assert parse_stations(stations(height_m=900), spot=SPOT) == []


def test_a_station_with_a_name_that_is_a_path_is_left_out():
    document = stations()
    document["features"][1]["properties"]["stationIdentifier"] = "../../points"

    assert parse_stations(document, spot=SPOT) == []


def test_a_report_just_before_the_hour_counts_for_that_hour():
    when = NOW.replace(minute=0) - timedelta(minutes=7)

    hours = parse_observations(reports(observation(when - 3 * HOUR)), now=NOW)

    assert hours.start == NOW.replace(minute=0) - 3 * HOUR
    assert (hours.air_c[0], hours.cloud_pct[0]) == (7.0, 75.0)


def test_the_last_hours_rain_belongs_to_the_hour_it_fell_in():
    when = NOW.replace(minute=0) - timedelta(minutes=7)
    rainy = observation(when - 2 * HOUR, precipitationLastHour=("mm", 2.5))

    hours = parse_observations(reports(rainy, observation(when - 3 * HOUR)), now=NOW)

    # The report of 10:53 speaks of the hour from 9:53, which is the hour of 10 but for 7 minutes.
    assert hours.rain_mm[hours.index(when - 2 * HOUR)] == 2.5
    assert np.nansum(hours.rain_mm) == 2.5


def test_null_rain_is_unknown():
    hours = parse_observations(a_week(), now=NOW)

    assert np.isnan(hours.rain_mm).all()


def test_the_report_nearest_to_the_hour_counts():
    hour = NOW.replace(minute=0) - 5 * HOUR
    far = observation(hour + timedelta(minutes=25), temperature=("degC", 1.0))
    near = observation(hour - timedelta(minutes=5), temperature=("degC", 9.0))

    hours = parse_observations(reports(far, near), now=NOW)

    assert hours.air_c[hours.index(hour)] == 9.0


@pytest.mark.parametrize(
    "temperature", [("degC", None), ("degC", 99.0, "X"), ("degF", 45.0), ("degC", "7")]
)
def test_a_doubted_or_unreadable_temperature_is_no_temperature(temperature):
    with pytest.raises(BadAnswer, match="no temperature"):
        parse_observations(a_week(temperature=temperature), now=NOW)


def test_a_report_without_measures_is_passed_over():
    with pytest.raises(BadAnswer, match="no temperature"):
        parse_observations(reports({"properties": {"@id": "somewhere"}}), now=NOW)


@pytest.mark.django_db
def test_a_new_place_has_a_measured_week_behind_it(nws, metno):
    nws.say("/points/33.5,-86.8", point())
    nws.say("/gridpoints/BMX/59,84", grid())
    nws.say("/gridpoints/BMX/59,84/stations", stations())
    nws.say("/stations/KTST/observations", a_week())
    place = services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago")

    services.refresh(place, now=NOW)

    hours = hours_at(place, now=NOW)
    week_ago, now = hours.index(NOW - timedelta(days=6)), hours.index(NOW)
    assert (hours.air_c[week_ago:now] == 7.0).all()
    assert hours.air_c[now] == 10.0  # from here on the forecast
    origins = past_origins(place, first=NOW.date(), last=NOW.date())
    assert set(origins.values()) == {"station"}


@pytest.mark.django_db
def test_a_station_that_fails_does_not_spoil_the_forecast(nws, metno):
    nws.say("/points/33.5,-86.8", point())
    nws.say("/gridpoints/BMX/59,84", grid())
    place = services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago")

    result = services.refresh(place, now=NOW)

    assert result.outcome is services.Outcome.STORED
