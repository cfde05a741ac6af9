"""Open-Meteo: only with a key, which nothing shows; its members counted, its soil kept apart."""

import logging
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.weather.conftest import Reply
from tests.weather.replies import HOUR, ISSUED, START, problem
from weather import http, services
from weather.answers import BadAnswer
from weather.models import Forecast, ServiceState, packed_members, unpacked_members
from weather.providers import configured, open_meteo
from weather.reads import hours_at, latest_forecast
from weather.rules.hours import Hours
from weather.rules.members import member_chances, wet_share_pct, wet_within_pct

NOW = ISSUED + HOUR
POINT = "/points/33.5,-86.8"
KEY = "key-of-this-test"
JSON = "application/json"


def times(count):
    """Seconds since 1970 of `count` hours from one hour after START."""
    return [int((START + (i + 1) * HOUR).timestamp()) for i in range(count)]


def forecast(count=48, **changed):
    """A reply in the documented shape of /v1/forecast (open-meteo.com/en/docs)."""
    layers = {
        "temperature_2m": ("°C", 12.0),
        "dew_point_2m": ("°C", 6.0),
        "relative_humidity_2m": ("%", 66),
        "precipitation": ("mm", 0.0),
        "precipitation_probability": ("%", 10),
        "cloud_cover": ("%", 50),
        "wind_speed_10m": ("m/s", 3.0),
        "wind_gusts_10m": ("m/s", 6.0),
        "snowfall": ("cm", 0.0),
        "soil_temperature_0cm": ("°C", 14.5),
        **changed,
    }
    hourly = {"time": times(count)}
    units = {"time": "unixtime"}
    for name, (unit, value) in layers.items():
        hourly[name] = value if isinstance(value, list) else [value] * count
        units[name] = unit
    return {
        "latitude": 33.5,
        "longitude": -86.8,
        "utc_offset_seconds": 0,
        "hourly": hourly,
        "hourly_units": units,
    }


def ensemble(*, wet=9, of=30, count=48, at=12, amount=1.0, control=9.0):
    """Members of which `wet` have rain at one hour; the control run says something else."""
    hourly = {"time": times(count), "precipitation": [control] * count}
    units = {"time": "unixtime", "precipitation": "mm"}
    for number in range(1, of + 1):
        row = [0.0] * count
        if number <= wet:
            row[at] = amount
        name = f"precipitation_member{number:02d}"
        hourly[name], units[name] = row, "mm"
    return {"utc_offset_seconds": 0, "hourly": hourly, "hourly_units": units}


@pytest.fixture
def place(db):
    return services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago")


@pytest.fixture
def alone(nws, metno, open_meteo):
    """Open-Meteo answers; the other two do not cover the place or are down."""
    gone = Reply(problem("InvalidPoint", 404), status=404, kind="application/problem+json")
    nws.say(POINT, gone)
    metno.say("/complete", Reply(b"", status=500, kind="text/html"))
    open_meteo.say("/forecast", Reply(forecast(), kind=JSON))
    open_meteo.say("/ensemble", Reply(ensemble(), kind=JSON))
    return open_meteo


def test_without_a_key_it_is_not_among_the_services(settings):
    settings.OPEN_METEO_KEY = ""
    without = [service.name for service in configured()]
    settings.OPEN_METEO_KEY = KEY

    assert without == ["nws", "metno"]
    assert [service.name for service in configured()] == ["nws", "metno", "open_meteo"]


def test_without_a_key_its_hosts_are_never_asked(nws, settings, start_service):
    settings.OPEN_METEO_KEY, settings.OPEN_METEO_URL = "", start_service().url

    with pytest.raises(http.Trouble, match="not a forecast service"):
        http.get_json(settings.OPEN_METEO_URL, "/forecast?a=1", accept=JSON)


def test_the_hosts_of_a_business_begin_with_customer():
    from deploy import settings as program

    # open-meteo.com/en/docs, "Commercial": the host prefix customer- with apikey.
    assert program.OPEN_METEO_URL.startswith("https://customer-api.")
    assert program.OPEN_METEO_ENSEMBLE_URL.startswith("https://customer-ensemble-api.")


def test_it_is_asked_last_and_its_members_give_the_chance(alone, place):
    result = services.refresh(place, now=NOW)

    stored = latest_forecast(place, now=NOW)
    hours = stored.hours()
    assert (result.source, stored.source) == ("open_meteo", "open_meteo")
    # Position 12 of the reply is the hour before START + 13 h: START + 12 h, in the six hours
    # of UTC from 18 to 24. 9 of 30 members are wet there.
    wet = hours.index(START + 12 * HOUR)
    assert hours.rain_chance_pct[wet - 0 : wet + 6].tolist() == [30.0] * 6
    assert hours.chance_window_h[wet] == 6
    assert not hours.chance_derived[wet]
    assert hours.rain_chance_pct[wet - 1] == 0.0
    assert any("30 members" in note for note in stored.notes)


def test_the_members_are_kept_and_can_be_asked_of_any_time(alone, place):
    services.refresh(place, now=NOW)

    hours = hours_at(place, now=NOW)
    at = START + 12 * HOUR  # what falls before the stated time belongs to the hour before it
    assert hours.members_mm.shape == (30, len(hours))
    assert wet_within_pct(hours, at - 2 * HOUR, at + HOUR / 2) == pytest.approx(30.0)
    assert wet_within_pct(hours, at + HOUR, at + 5 * HOUR) == 0.0
    assert wet_within_pct(hours, at - 2 * HOUR, at + HOUR, least_mm=1.5) == 0.0
    # Beyond the members nothing is known, also where only the last hour lies beyond them.
    assert np.isnan(wet_within_pct(hours, at, START + 60 * HOUR))
    assert np.isnan(wet_within_pct(hours.between(at, at + HOUR), at, at + 2 * HOUR))


def test_members_take_little_room(alone, place):
    services.refresh(place, now=NOW)

    assert len(bytes(Forecast.objects.get().members)) < 1000


@given(st.integers(0, 2**32 - 1), st.integers(0, 20), st.integers(1, 20), st.integers(0, 6))
def test_a_longer_time_is_never_less_likely_to_be_wet(seed, first, length, more):
    rain = np.random.default_rng(seed).choice([0.0, 0.0, 0.1, 0.4], size=(12, 48))
    hours = replace(Hours.unknown(start=START, count=48), members_mm=rain)
    start, end = START + first * HOUR, START + (first + length) * HOUR

    short, long = wet_within_pct(hours, start, end), wet_within_pct(hours, start, end + more * HOUR)

    assert short <= long
    # Counted anew, member by member.
    wet = sum(row[first : first + length].sum() >= 0.254 for row in rain)
    assert short == pytest.approx(100 * wet / 12)


@given(st.integers(0, 2**32 - 1))
def test_packing_members_loses_nothing_that_is_told(seed):
    rain = np.random.default_rng(seed).choice([0.0, 0.1, 0.254, 12.3, np.nan], size=(11, 30))

    again = unpacked_members(packed_members(rain), count=30)

    assert np.allclose(again, rain, equal_nan=True, atol=0.0006)


def test_its_age_counts_from_before_the_fetch(alone, place):
    services.refresh(place, now=NOW)

    stored = latest_forecast(place, now=NOW)
    assert NOW - stored.issued_at == timedelta(hours=6)


def test_the_ground_is_kept_beside_the_hours_and_is_no_layer_of_them(alone, place):
    services.refresh(place, now=NOW)

    stored = latest_forecast(place, now=NOW)
    assert set(stored.layers["soil_c"]) == {14.5}
    assert len(stored.layers["soil_c"]) == stored.count


def test_members_that_fail_cost_a_warning_and_not_the_forecast(alone, place):
    alone.say("/ensemble", Reply({"error": True, "reason": "Professional plan"}, 400, JSON))

    services.refresh(place, now=NOW)

    hours = latest_forecast(place, now=NOW).hours()
    assert hours.rain_chance_pct[hours.index(START + 12 * HOUR)] == 10.0
    assert "Professional plan" in ServiceState.objects.get(service="open_meteo").warning


def test_the_key_is_sent_and_shown_nowhere(alone, place, caplog):
    logging.getLogger("urllib3").setLevel(logging.INFO)  # as the settings set it
    caplog.set_level(logging.DEBUG)
    services.refresh(place, now=NOW)
    alone.say("/forecast", Reply({"error": True, "reason": f"apikey={KEY} is bad"}, 401, JSON))
    later = services.refresh(place, now=NOW + timedelta(hours=2))

    assert f"apikey={KEY}" in alone.seen[0].path
    said = caplog.text + "".join(later.reasons)
    assert KEY not in said
    stored = list(Forecast.objects.values()) + list(ServiceState.objects.values())
    assert KEY not in repr(stored)


def test_a_dead_line_does_not_show_the_key_either(nws, settings, caplog):
    settings.OPEN_METEO_KEY, settings.OPEN_METEO_URL = KEY, "http://127.0.0.1:9"

    with pytest.raises(http.Unreachable) as caught:
        http.get_json(settings.OPEN_METEO_URL, "/forecast?a=1", accept=JSON, secret=f"apikey={KEY}")

    assert KEY not in repr(caught.value)
    assert caught.value.__cause__ is None
    assert caught.value.__suppress_context__


def test_the_program_keeps_addresses_out_of_its_log(settings):
    assert settings.LOGGING["loggers"]["urllib3"]["level"] == "INFO"


@given(
    st.integers(10, 20),
    st.integers(1, 40),
    st.integers(0, 23),
    st.integers(0, 2**32 - 1),
)
def test_the_chance_of_a_period_is_at_least_that_of_its_wettest_hour(members, count, hour, seed):
    rain = np.random.default_rng(seed).choice([0.0, 0.1, 0.3, 2.0], size=(members, count))
    start = START.replace(hour=hour)

    chances, windows = member_chances(rain, start=start)

    for position in range(count):
        single = wet_share_pct(rain, position, position + 1)
        assert chances[position] >= single - 0.06  # chances are kept to a tenth
        assert 1 <= windows[position] <= 6
    assert ((chances >= 0) & (chances <= 100)).all()


def test_hours_are_not_multiplied():
    # The same ten of twenty members are wet in every hour: half of the stories, not nearly all.
    rain = np.zeros((20, 6))
    rain[:10] = 1.0

    assert wet_share_pct(rain, 0, 6) == 50.0


def test_too_few_or_silent_members_make_no_chance():
    few, silent = np.zeros((9, 6)), np.zeros((12, 6))
    silent[:3, 2] = np.nan

    assert np.isnan(wet_share_pct(few, 0, 6))
    assert np.isnan(wet_share_pct(silent, 0, 6))
    assert wet_share_pct(silent, 3, 6) == 0.0


def test_an_answer_for_another_point_is_noted(alone, place):
    alone.say("/forecast", Reply({**forecast(), "latitude": 33.9}, kind=JSON))

    services.refresh(place, now=NOW)

    assert any("44 km away" in note for note in latest_forecast(place, now=NOW).notes)


def test_several_places_in_one_answer_are_refused():
    with pytest.raises(BadAnswer):
        open_meteo.parse([forecast(), forecast()], fetched_at=NOW)
