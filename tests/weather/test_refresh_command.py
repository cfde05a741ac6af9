"""`manage.py refresh_weather` and the task behind a place that was never fetched."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from weather import services, tasks

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


def test_the_task_may_run_twice_and_for_a_place_that_is_gone(place):
    outcomes = [tasks.refresh_place(place.pk), tasks.refresh_place(place.pk)]

    assert outcomes == ["stored", "unchanged"]
    assert tasks.refresh_place(place.pk + 1) == "gone"
