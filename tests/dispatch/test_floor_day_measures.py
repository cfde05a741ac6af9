"""`floor_day` says what can be done, each judged again with it done: a day in the desert."""

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from tests.dispatch.rules.floors_on_days import garage_in_the_desert
from tests.jobs.rules.floors import FAST
from tests.practice_cards import card_file, hours_file

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def asked(tmp_path):
    day = garage_in_the_desert()
    return {
        "area": "460",
        "exposure": "garage",
        "postal_code": "85003",
        "card": card_file(tmp_path, FAST),
        "hours": hours_file(tmp_path, day.hours, day.slabs.slab),
        "now": "2026-07-13 16:00",
        "start": "2026-07-14 07:30",
        "leave_by": "19:00",
        "opens": "05:00",
        "noise_from": "06:00",
        "spare_hands": "2",
    }


def ask(asked, **changed):
    out = StringIO()
    call_command("floor_day", stdout=out, **(asked | changed))
    return out.getvalue()


def test_a_hot_day_is_refused_with_what_would_make_it_possible(asked):
    told = json.loads(ask(asked, json=True))

    assert told["verdict"]["level"] == "no"
    found = {each["kind"]: each for each in told["measures"]}
    assert found["second_crew"]["then"] == "care"
    assert found["two_mornings"]["then"] == "care"
    # 5 AM and 6 AM in Arizona, which keeps standard time: seven hours behind UTC.
    assert found["second_crew"]["visits"][0]["start"] == "2026-07-14T12:00:00+00:00"
    assert "grind from 6 AM" in found["second_crew"]["title"]


def test_the_terminal_reads_the_same(asked):
    text = ask(asked)

    assert "CARE    Send a second crew: 4 people; start at 5 AM" in text
    assert "Wet resin may lie from 5 AM (site opens) until 10 AM (slab too hot from 10 AM)" in text


def test_a_time_that_is_none_is_refused(asked):
    with pytest.raises(CommandError, match="no time of day"):
        ask(asked, noise_from="dawn")
