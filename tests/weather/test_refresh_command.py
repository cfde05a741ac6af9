"""`manage.py refresh_weather`: what came of each place, as text and as JSON."""

import json
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from tests.weather.conftest import Reply
from tests.weather.replies import ISSUED, grid, point
from weather import services
from weather.models import Place, ServiceState
from weather.rules.hours import floor_hour
from weather.standing import REQUESTS_AN_HOUR

pytestmark = pytest.mark.django_db


@pytest.fixture
def place(settings):
    settings.FORECASTS = "replay"
    return services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago", name="Depot")


def run(*words):
    out = StringIO()
    call_command("refresh_weather", *words, stdout=out)
    return out.getvalue()


def test_the_command_says_what_came_of_each_place(place):
    assert run() == "Depot: stored replay\n"
    assert run(str(place.pk)) == "Depot: unchanged replay\n"


def test_the_command_says_when_there_is_nothing_to_do(db):
    assert run() == "There is no place to refresh.\n"


def test_the_command_fails_when_nothing_could_be_fetched(place, settings):
    settings.FORECASTS = "live"
    settings.FORECAST_CONTACT = ""

    with pytest.raises(CommandError, match="No forecast"):
        run()


def test_one_pass_as_a_document(place):
    found = json.loads(run("--once", "--json"))

    (told,) = found["places"]
    assert (told["place"], told["outcome"], told["source"]) == ("Depot", "stored", "replay")
    assert 0 <= told["age_h"] < 2
    assert found["requests"] == 0  # a replay asks nobody
    assert [each["name"] for each in found["services"]] == ["nws", "metno", "open_meteo"]
    assert found["services"][2]["configured"] is False


def test_a_rehearsal_counts_the_requests_of_an_hour_and_leaves_this_database_alone(place):
    found = json.loads(run("--plan", "60", "--towns", "4", "--hours", "2", "--json"))

    assert (found["sites"], found["towns"], found["places"]) == (60, 4, 12)
    # Cold: look-up, grid, stations, observations and a second service for each of 12 places.
    assert 12 * 4 < found["requests_by_hour"][0] <= 12 * 5
    # An hour later only the grids, and only where work lies within two days.
    assert 6 <= found["requests_by_hour"][1] <= 12
    assert found["without_forecast"] == 0
    assert found["oldest_h"] <= 2
    assert Place.objects.count() == 1


@pytest.mark.long
def test_five_thousand_sites_in_forty_towns_take_at_most_three_hundred_requests_an_hour(db):
    found = json.loads(run("--plan", "5000", "--json"))

    assert (found["sites"], found["towns"]) == (5000, 40)
    assert found["most_an_hour"] <= 300
    assert found["without_forecast"] == 0
    assert found["oldest_h"] <= 2


def test_the_budgets_of_an_hour_come_to_three_hundred():
    assert sum(REQUESTS_AN_HOUR.values()) == 300


def test_every_request_counts_and_not_only_every_question(db, nws, metno):
    live = services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago")
    nws.say("/points/33.5,-86.8", point())
    nws.say("/gridpoints/BMX/59,84", Reply({}, status=503), grid())

    services.refresh(live, now=ISSUED)

    # The look-up, the grid, and the grid tried again.
    assert ServiceState.objects.get(service="nws").budget_used == 3


def test_when_the_hour_is_spent_what_is_held_stays_and_nobody_else_is_pestered(db, nws, metno):
    live = services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago")
    nws.say("/points/33.5,-86.8", point())
    nws.say("/gridpoints/BMX/59,84", grid())
    services.refresh(live, now=ISSUED)
    later = ISSUED + timedelta(hours=2)
    ServiceState.objects.filter(service="nws").update(
        budget_hour=floor_hour(later), budget_used=REQUESTS_AN_HOUR["nws"]
    )

    result = services.refresh(live, now=later)

    assert result.outcome is services.Outcome.FAILED
    assert metno.seen == []
