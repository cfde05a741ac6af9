"""Refreshing: which service is asked, what is stored, and what stands in when they fail."""

from datetime import timedelta

import numpy as np
import pytest

from tests.weather.conftest import Reply
from tests.weather.replies import HOUR, ISSUED, cell, grid, hourly, layer, metno, point, problem
from weather import services, standing
from weather.models import Forecast, Place, PlaceServiceState, ServiceState
from weather.reads import hours_at, latest_forecast
from weather.services import Outcome, Wanted

pytestmark = pytest.mark.django_db

NOW = ISSUED + HOUR
POINT = "/points/33.5,-86.8"
GRID = "/gridpoints/BMX/59,84"
HOURLY = f"{GRID}/forecast/hourly"
METNO = "/complete"
PROBLEM = "application/problem+json"


@pytest.fixture
def place():
    return services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago", name="Depot")


@pytest.fixture
def both(nws, metno):
    """Both services; the US one answers well."""
    nws.say(POINT, point())
    nws.say(GRID, grid())
    return nws, metno


def failing(status=503, kind="ForecastGridExpired"):
    return Reply(problem(kind, status), status=status, kind=PROBLEM)


def test_the_us_service_is_asked_first_and_its_hours_are_stored(both, place):
    nws, norway = both

    result = services.refresh(place, now=NOW)

    assert (result.outcome, result.source) == (Outcome.STORED, "nws")
    forecast = latest_forecast(place, now=NOW)
    assert (forecast.issued_at, forecast.fetched_at) == (ISSUED, NOW)
    assert np.array_equal(
        forecast.hours().rain_mm,
        hours_at(place, now=NOW).between(forecast.start, forecast.hours().end).rain_mm,
    )
    assert norway.seen == []
    assert nws.paths()[:2] == [POINT, GRID]


def test_unknown_survives_the_database(both, place):
    nws, _ = both
    nws.say(GRID, grid(quantitativePrecipitation=layer("mm", (0, "PT6H", 0))))

    services.refresh(place, now=NOW)

    rain = latest_forecast(place, now=NOW).hours().rain_mm
    assert rain[:6].tolist() == [0.0] * 6
    assert np.isnan(rain[6:]).all()


def test_refreshing_twice_stores_once_and_asks_only_for_news(both, place):
    nws, _ = both
    stamp = "Tue, 10 Mar 2026 12:20:00 GMT"
    nws.say(GRID, Reply(grid(), headers={"Last-Modified": stamp}), Reply(b"", status=304))

    outcomes = [services.refresh(place, now=NOW + i * HOUR).outcome for i in range(2)]

    assert outcomes == [Outcome.STORED, Outcome.UNCHANGED]
    assert Forecast.objects.count() == 1
    assert nws.seen[-1].headers["If-Modified-Since"] == stamp
    assert nws.paths().count(POINT) == 1  # the cell is remembered


def test_an_answer_that_has_not_expired_is_not_asked_for_again(both, place):
    nws, _ = both
    expires = "Tue, 10 Mar 2026 14:00:00 GMT"
    nws.say(GRID, Reply(grid(), headers={"Expires": expires}))
    services.refresh(place, now=NOW)
    asked = len(nws.seen)

    result = services.refresh(place, now=NOW + timedelta(minutes=20))

    assert (result.outcome, len(nws.seen)) == (Outcome.UNCHANGED, asked)


@pytest.mark.parametrize("reply", [failing(404, "InvalidPoint"), Reply(point(type="marine"))])
def test_outside_the_us_service_norway_is_asked_and_the_us_not_again(both, place, reply):
    nws, norway = both
    nws.say(POINT, reply)
    norway.say(METNO, Reply(metno(), kind="application/json"))

    first = services.refresh(place, now=NOW)
    services.refresh(place, now=NOW + HOUR)

    assert (first.outcome, first.source) == (Outcome.STORED, "metno")
    assert nws.paths() == [POINT]
    assert norway.seen[0].path == "/complete?lat=33.5&lon=-86.8"


def test_a_grid_that_fails_is_replaced_by_the_hourly_forecast(both, place):
    nws, norway = both
    nws.say(GRID, failing())
    nws.say(HOURLY, hourly())

    result = services.refresh(place, now=NOW)

    assert result.outcome is Outcome.STORED
    assert latest_forecast(place, now=NOW).source == "nws_hourly"
    assert norway.seen == []


def test_a_cell_that_moved_is_looked_up_again(both, place):
    nws, _ = both
    services.refresh(place, now=NOW)
    nws.say(GRID, {**grid(issued=ISSUED + HOUR), "geometry": cell(east=-74.0, north=40.7)})
    nws.say(POINT, point(x=60))
    nws.say("/gridpoints/BMX/60,84", grid(issued=ISSUED + 2 * HOUR))

    result = services.refresh(place, now=NOW + 2 * HOUR)

    place.refresh_from_db()
    assert (result.outcome, place.nws_grid) == (Outcome.STORED, "BMX/60,84")


def test_the_cell_is_looked_up_anew_after_a_week(both, place):
    nws, _ = both
    services.refresh(place, now=NOW)

    services.refresh(place, now=NOW + timedelta(days=8))

    assert nws.paths().count(POINT) == 2


def test_a_forecast_of_yesterday_is_kept_but_the_next_service_is_asked(both, place):
    # The service's network has been seen to hand out forecasts up to 48 hours old.
    nws, norway = both
    nws.say(GRID, grid(issued=NOW - 13 * HOUR))
    norway.say(METNO, Reply(metno(issued=NOW - HOUR), kind="application/json"))

    result = services.refresh(place, now=NOW)

    assert (result.outcome, result.source) == (Outcome.STORED, "metno")
    assert latest_forecast(place, now=NOW).source == "metno"


def test_an_older_issue_never_replaces_a_newer_one(both, place):
    nws, _ = both
    services.refresh(place, now=NOW)
    nws.say(GRID, grid(issued=ISSUED - 5 * HOUR, temperature=layer("degC", (0, "P2D", 30))))

    services.refresh(place, now=NOW + HOUR)

    assert latest_forecast(place, now=NOW + HOUR).issued_at == ISSUED
    assert Forecast.objects.count() == 1


def test_when_all_fail_the_last_forecast_stays_with_its_own_age(both, place):
    nws, _ = both
    services.refresh(place, now=NOW)
    nws.say(GRID, failing(500, "UnexpectedProblem"))
    later = NOW + 3 * HOUR

    result = services.refresh(place, now=later)

    assert result.outcome is Outcome.FAILED
    assert any("nws" in reason for reason in result.reasons)
    assert any("metno" in reason for reason in result.reasons)
    assert latest_forecast(place, now=later).issued_at == ISSUED
    place.refresh_from_db()
    assert place.try_not_before > later


def test_without_a_contact_nothing_is_asked_and_the_reason_is_a_sentence(both, place, settings):
    settings.FORECAST_CONTACT = ""

    result = services.refresh(place, now=NOW)

    assert result.outcome is Outcome.FAILED
    assert "SLABCAST_FORECAST_CONTACT" in result.reasons[0]
    assert [service.seen for service in both] == [[], []]


def test_one_broken_cell_does_not_silence_the_service_for_other_places(both, place):
    nws, _ = both
    nws.say(GRID, failing())
    services.refresh(place, now=NOW)
    other = services.place_for(latitude=34.0, longitude=-86.0, zone="America/Chicago")
    nws.say("/points/34,-86", point(x=90))
    nws.say("/gridpoints/BMX/90,84", {**grid(), "geometry": cell(east=-86.0, north=34.0)})

    result = services.refresh(other, now=NOW)

    assert (result.outcome, result.source) == (Outcome.STORED, "nws")
    asked = len(nws.seen)
    services.refresh(place, now=NOW + timedelta(minutes=1))
    assert len(nws.seen) == asked


def test_being_refused_silences_the_service_for_every_place(both, place):
    nws, norway = both
    nws.say(POINT, Reply(b"<html>Access denied</html>", status=403, kind="text/html"))
    norway.say(METNO, Reply(metno(), kind="application/json"))
    services.refresh(place, now=NOW)
    other = services.place_for(latitude=34.0, longitude=-86.0, zone="America/Chicago")

    result = services.refresh(other, now=NOW + timedelta(minutes=30))

    assert nws.paths() == [POINT]
    assert result.source == "metno"
    assert "403" in ServiceState.objects.get(service="nws").trouble


def test_a_long_retry_after_is_kept_over_processes(both, place):
    nws, _ = both
    nws.say(POINT, Reply({}, status=429, headers={"Retry-After": "7200"}))

    services.refresh(place, now=NOW)

    state = ServiceState.objects.get(service="nws")
    assert state.not_before >= NOW + timedelta(hours=2)


def test_after_its_rest_a_service_is_asked_again_and_forgiven(both, place):
    nws, _ = both
    nws.say(GRID, failing())
    services.refresh(place, now=NOW)
    nws.say(GRID, grid())

    result = services.refresh(place, now=NOW + HOUR)

    assert result.outcome is Outcome.STORED
    state = PlaceServiceState.objects.get(place=place, service="nws")
    assert (state.failures, state.not_before) == (0, None)


def test_no_more_calls_than_the_hour_allows(place, monkeypatch):
    monkeypatch.setitem(standing.REQUESTS_AN_HOUR, "nws", 2)

    reasons = [standing.reason_not_to_ask("nws", place, now=NOW) for _ in range(3)]

    assert [bool(reason) for reason in reasons] == [False, False, True]
    assert not standing.reason_not_to_ask("nws", place, now=NOW + HOUR)


def test_a_place_that_is_being_refreshed_is_left_to_the_other_worker(both, place):
    nws, _ = both
    Place.objects.filter(pk=place.pk).update(leased_until=NOW + timedelta(minutes=2))

    result = services.refresh(place, now=NOW)

    assert (result.outcome, nws.seen) == (Outcome.BUSY, [])
    assert services.refresh(place, now=NOW + timedelta(minutes=3)).outcome is Outcome.STORED


def test_a_warning_of_the_service_reaches_the_administrator(both, place):
    nws, norway = both
    nws.say(POINT, failing(404, "InvalidPoint"))
    norway.say(METNO, Reply(metno(), status=203, kind="application/json"))

    services.refresh(place, now=NOW)

    assert "about to end" in ServiceState.objects.get(service="metno").warning


def test_hours_that_have_gone_by_stay_after_the_next_forecast(both, place):
    nws, _ = both
    services.refresh(place, now=NOW)
    later = NOW + timedelta(hours=30)
    shifted = grid(issued=later - HOUR, temperature=layer("degC", (30, "P2D", 25)))
    nws.say(GRID, shifted)

    services.refresh(place, now=later)

    hours = hours_at(place, now=later)
    assert hours.issued_at == later - HOUR
    assert hours.air_c[hours.index(ISSUED)] == 10.0  # what the first forecast said
    assert hours.air_c[hours.index(later)] == 25.0


def test_work_within_two_days_is_refreshed_hourly_and_later_work_six_hourly(both, place):
    services.refresh(place, now=NOW)
    later = NOW + timedelta(minutes=66)

    soon = services.refresh_due(now=later, wanted=[Wanted(place.pk, NOW + 40 * HOUR)])
    far = services.refresh_due(now=later + HOUR, wanted=[Wanted(place.pk, NOW + 100 * HOUR)])
    never = services.refresh_due(now=later + 9 * HOUR, wanted=[Wanted(place.pk, NOW + 999 * HOUR)])

    assert [len(done) for done in (soon, far, never)] == [1, 0, 0]


def test_a_depot_is_always_refreshed(both, place):
    done = services.refresh_due(now=NOW, wanted=[Wanted(place.pk)])

    again = services.refresh_due(now=NOW + timedelta(minutes=5), wanted=[Wanted(place.pk)])

    assert [result.outcome for result in done] == [Outcome.STORED]
    assert again == []


def test_a_round_whose_time_is_over_leaves_the_rest_to_the_next(both):
    nws, _ = both
    for number in range(3):
        services.place_for(latitude=33 + number, longitude=-86, zone="America/Chicago")
        nws.say(f"/points/{33 + number},-86", point(x=90 + number))
        there = {**grid(), "geometry": cell(east=-86.0, north=33.0 + number)}
        nws.say(f"/gridpoints/BMX/{90 + number},84", there)
    wanted = [Wanted(place.pk) for place in Place.objects.all()]

    rounds = [services.refresh_due(now=NOW, wanted=wanted, within_s=0.0) for _ in range(4)]

    assert [len(done) for done in rounds] == [1, 1, 1, 0]
    assert {one.outcome for done in rounds for one in done} == {Outcome.STORED}


def test_a_place_that_failed_is_not_hammered(both, place):
    nws, _ = both
    nws.say(POINT, failing(500, "UnexpectedProblem"))
    wanted = [Wanted(place.pk, NOW)]
    services.refresh_due(now=NOW, wanted=wanted)

    again = services.refresh_due(now=NOW + timedelta(minutes=5), wanted=wanted)

    assert again == []


def test_old_forecasts_go_but_the_newest_and_the_used_stay(both, place):
    nws, _ = both
    for days in (0, 1, 2):
        moment = NOW + timedelta(days=days)
        nws.say(GRID, grid(issued=moment - HOUR))
        services.refresh(place, now=moment)
    first = Forecast.objects.order_by("issued_at").first()

    deleted = services.prune(now=NOW + timedelta(days=30), used=[first.pk])

    assert deleted == 1
    assert first in Forecast.objects.all()
    assert latest_forecast(place, now=NOW + timedelta(days=30)) is not None
