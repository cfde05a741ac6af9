"""The hours in which wet resin may lie: from when, until when, how many are needed and missing."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.dispatch.rules import days
from tests.dispatch.rules.floors_on_days import garage_in_the_desert, situation, times_at
from tests.dispatch.rules.floors_on_days import washed_patio as patio
from tests.dispatch.rules.skies import Row, sky
from tests.jobs.rules.floors import clock
from weather.rules.exposures import Exposure


def wet(asked):
    return asked.judged().verdict.wet_hours


def showers_from(hour: int, **more):
    row = {"chance_pct": 5, "gust_kmh": 10, "slab_c": 22}
    rows = {
        "2026-06-07 00:00": Row(22, 50, 11, **row),
        f"2026-06-10 {hour:02}:00": Row(22, 50, 11, **(row | {"chance_pct": 60})),
    }
    held = sky(days.OHIO, rows, issued="2026-06-09 16:00", until="2026-06-14 00:00")
    return situation(
        380, "2026-06-10 07:00", held, days.OHIO, Exposure.OPEN, now="2026-06-09 18:00", **more
    )


def test_they_open_with_the_site_and_close_with_the_showers():
    found = wet(showers_from(18))

    assert found.opens == clock(days.OHIO, "2026-06-10 07:00")
    assert found.opens_because == "site opens"
    assert found.closes == clock(days.OHIO, "2026-06-10 18:00")
    assert found.closes_because == "rain 60 % from 6 PM"
    assert found.short == timedelta(0)


def test_what_they_fall_short_of_what_is_needed_is_said():
    asked = showers_from(12)
    plan = asked.judged().plan

    found = wet(asked)

    assert found.needed == plan.rain_safe - plan.pour
    assert found.short == found.needed - timedelta(hours=5)
    assert "too few" in found.sentence


def test_a_slab_that_dries_opens_them_in_the_afternoon():
    found = wet(patio("2026-04-15 08:00"))

    assert found.opens == clock(days.CAROLINA, "2026-04-15 15:00")
    assert found.opens_because == "dry long enough from 3 PM"


def test_a_day_on_which_it_never_dries_has_none():
    found = wet(patio("2026-04-14 08:00"))

    assert found.sentence == ("No wet resin may lie that day: dry long enough from Wed 3 PM.")
    assert found.short == found.needed


def test_a_hot_slab_closes_them_for_the_coats_only():
    found = wet(garage_in_the_desert())

    assert found.closes == clock(days.ARIZONA, "2026-07-14 10:00")
    assert found.closes_because == "slab too hot from 10 AM"


@pytest.mark.parametrize("words", ["site closes", "crew's day ends"])
def test_the_last_safe_pour_names_whose_day_ends(words):
    asked = showers_from(23, times=replace(times_at(days.OHIO, closes=15), closes_words=words))

    outcome = asked.judged()

    assert outcome.verdict.binds == f"{words} at 3 PM"
    left = clock(days.OHIO, "2026-06-10 15:00") - outcome.plan.end
    assert outcome.verdict.slack_min == pytest.approx(left / timedelta(minutes=1), abs=1)
