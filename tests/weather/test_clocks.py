"""A clock that is wrong, ours or the service's: said aloud, and never a reason to look younger."""

from datetime import UTC, timedelta
from email.utils import format_datetime

import pytest
from django.utils import timezone

from tests.weather import replies
from tests.weather.conftest import Reply
from tests.weather.replies import grid, point
from weather import behaviour, http, services
from weather.models import PlaceServiceState, ServiceState
from weather.reads import forecast_age_h, latest_forecast
from weather.rules.hours import floor_hour

pytestmark = pytest.mark.django_db

POINT, GRID = "/points/33.5,-86.8", "/gridpoints/BMX/59,84"


def http_text(moment):
    return format_datetime(moment.astimezone(UTC), usegmt=True)


def dated(nws, *, ahead, lifetime=timedelta(minutes=30), age_s=0):
    """Let the service answer with a clock `ahead` of ours and an hour-old forecast."""
    theirs = timezone.now() + ahead
    headers = {
        "X-Date": http_text(theirs - timedelta(seconds=age_s)),
        "Age": str(age_s),
        "Expires": http_text(theirs + lifetime),
    }
    nws.say(POINT, Reply(point(), headers=headers))
    nws.say(GRID, Reply(grid(issued=theirs - timedelta(hours=1)), headers=headers))


@pytest.fixture
def place(monkeypatch):
    # The server on this machine writes a Date of its own, so the test's goes by another name.
    read = http._ahead_s

    def told(response):
        response.headers["Date"] = response.headers.get("X-Date", "")
        return read(response)

    monkeypatch.setattr(http, "_ahead_s", told)
    # The replies' hours are of March; here they have to be of today.
    monkeypatch.setattr(replies, "START", floor_hour(timezone.now()) - timedelta(hours=12))
    return services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago")


def test_clocks_that_agree_within_minutes_are_not_spoken_of(nws, metno, place):
    dated(nws, ahead=timedelta(minutes=4))

    services.refresh(place, now=timezone.now())

    assert ServiceState.objects.get(service="nws").clock_ahead_s == 0
    assert behaviour.clocks_apart() == ""


def test_a_cache_that_keeps_an_old_date_with_its_age_is_no_wrong_clock(nws, metno, place):
    dated(nws, ahead=timedelta(0), age_s=3000)

    services.refresh(place, now=timezone.now())

    assert behaviour.clocks_apart() == ""


@pytest.mark.parametrize(("ahead_h", "word"), [(1, "ahead of"), (-6, "behind")])
def test_clocks_apart_are_said_in_a_sentence(nws, metno, place, ahead_h, word):
    dated(nws, ahead=timedelta(hours=ahead_h))

    services.refresh(place, now=timezone.now())

    said = behaviour.clocks_apart()
    assert "US National Weather Service" in said
    assert f" {word} this machine's" in said


@pytest.mark.parametrize("ahead_h", [1.5, -6])
def test_expires_counts_from_the_services_own_date(nws, metno, place, ahead_h):
    """RFC 9111, 4.2.1: Expires minus Date is how long an answer holds."""
    dated(nws, ahead=timedelta(hours=ahead_h))
    now = timezone.now()

    services.refresh(place, now=now)

    expires_at = PlaceServiceState.objects.get(service="nws").expires_at
    assert timedelta(minutes=29) < expires_at - now < timedelta(minutes=31)


@pytest.mark.parametrize(("ahead_h", "age_h"), [(1.5, 1.0), (-6, 7.0)])
def test_a_forecast_is_as_old_as_the_clock_that_makes_it_older_says(
    nws, metno, place, ahead_h, age_h
):
    """With our clock behind, an hour-old forecast would seem to come from the future."""
    dated(nws, ahead=timedelta(hours=ahead_h))
    now = timezone.now()

    services.refresh(place, now=now)

    forecast = latest_forecast(place, now=timezone.now())
    assert forecast_age_h(forecast, now=now) == pytest.approx(age_h, abs=0.05)
    assert (now - forecast.hours().issued_at) / timedelta(hours=1) == pytest.approx(age_h, abs=0.05)
