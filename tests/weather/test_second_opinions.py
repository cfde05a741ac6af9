"""A second service is asked where work is near; what it says waits until it is its turn."""

from datetime import timedelta

import pytest

from tests.weather import replies
from tests.weather.conftest import Reply
from tests.weather.replies import HOUR, ISSUED, grid, layer, point, problem
from weather import services
from weather.models import Forecast
from weather.reads import hours_at, latest_forecast, past_origins, second_forecast
from weather.services import Outcome, Wanted

pytestmark = pytest.mark.django_db

NOW = ISSUED + HOUR
POINT = "/points/33.5,-86.8"
GRID = "/gridpoints/BMX/59,84"
METNO = "/complete"
NEAR, FAR = timedelta(days=2), timedelta(days=5)


@pytest.fixture
def place():
    return services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago")


@pytest.fixture
def both(nws, metno):
    nws.say(POINT, point())
    nws.say(GRID, grid())
    newer = replies.metno(issued=NOW)
    metno.say(METNO, Reply(newer, kind="application/json"))
    return nws, metno


def refreshed(place, *, ahead=NEAR, now=NOW):
    return services.refresh_due(now=now, wanted=[Wanted(place.pk, now + ahead)])


def test_near_work_is_worth_a_second_opinion_that_does_not_count(both, place):
    (result,) = refreshed(place)

    second = second_forecast(place, now=NOW)
    assert (result.source, second.source, second.second) == ("nws", "metno", True)
    # It was issued later than the first, and still is not what is known.
    assert latest_forecast(place, now=NOW).source == "nws"
    assert hours_at(place, now=NOW).source == "nws"


@pytest.mark.parametrize("wanted", [FAR, None])
def test_work_far_off_and_depots_ask_one_service(both, place, wanted):
    _, norway = both
    work = None if wanted is None else NOW + wanted

    services.refresh_due(now=NOW, wanted=[Wanted(place.pk, work)])

    assert norway.seen == []


def test_the_second_is_asked_every_three_hours_and_the_first_every_hour(both, place):
    us, norway = both
    for hour in range(4):
        now = NOW + hour * timedelta(minutes=66)
        us.say(GRID, grid(issued=now))
        norway.say(METNO, Reply(replies.metno(issued=now), kind="application/json"))
        refreshed(place, now=now)

    assert us.paths().count(GRID) == 4
    assert len(norway.seen) == 2


def test_a_second_opinion_is_no_past(both, place):
    refreshed(place)

    origins = set(past_origins(place, first=NOW.date(), last=NOW.date()).values())

    assert origins <= {"nws", "station"}


def test_when_the_first_fails_for_long_the_second_takes_its_place(both, place):
    us, _ = both
    refreshed(place)
    us.say(GRID, Reply(problem("ForecastGridExpired", 503), 503, "application/problem+json"))
    later = NOW + timedelta(hours=1, minutes=10)

    (result,) = refreshed(place, now=later)

    assert result.outcome is Outcome.STORED
    assert latest_forecast(place, now=later).source == "metno"
    assert not Forecast.objects.filter(source="metno", second=True).exists()


def test_a_second_that_fails_spoils_nothing(both, place):
    _, norway = both
    norway.say(METNO, Reply(b"<html>", status=500, kind="text/html"))

    (result,) = refreshed(place)

    assert result.outcome is Outcome.STORED
    assert second_forecast(place, now=NOW) is None


def test_the_us_hourly_text_is_no_second_opinion_on_its_own_grid(both, place):
    us, norway = both
    norway.say(METNO, Reply(b"", status=500, kind="text/html"))
    refreshed(place)
    us.say(GRID, Reply(problem("UnexpectedProblem", 500), 500, "application/problem+json"))
    us.say(f"{GRID}/forecast/hourly", replies.hourly(issued=ISSUED + HOUR))
    later = NOW + 2 * HOUR

    refreshed(place, now=later)

    assert latest_forecast(place, now=later).source == "nws_hourly"
    assert second_forecast(place, now=later) is None


def test_an_older_second_does_not_replace_a_newer_one(both, place):
    _, norway = both
    refreshed(place)
    old = replies.metno(issued=ISSUED - 5 * HOUR)
    norway.say(METNO, Reply(old, kind="application/json"))
    later = NOW + timedelta(hours=4)

    services.refresh(place, now=later, compare=True)

    assert second_forecast(place, now=later).issued_at == NOW
    assert Forecast.objects.filter(source="metno").count() == 1


def test_a_grid_that_differs_stays_the_one_that_counts(both, place):
    us, _ = both
    us.say(GRID, grid(temperature=layer("degC", (0, "P2D", 20))))

    refreshed(place)

    hours = hours_at(place, now=NOW)
    assert hours.air_c[hours.index(NOW)] == 20
