"""Beyond the forecast the season's habit costs open floors something, and is told as a habit."""

from datetime import timedelta

import pytest

from dispatch.reads.offers import best_days
from dispatch.rules.findings import Level
from dispatch.rules.season import season_sentence
from jobs.models import Branch
from tests.builders import NOW
from tests.dispatch.test_offers import house, job, weather  # noqa: F401  fixtures
from weather.models import MonthRecord
from weather.rules.seasonal import Counted, seasonal

pytestmark = pytest.mark.django_db(transaction=True)

HABIT = "what the season usually brings"


def beyond(offers, *, reach_days: int = 0):
    months = {(NOW + timedelta(days=ahead)).month for ahead in (0, reach_days)}
    every = sorted((*offers.best, *offers.others), key=lambda offer: offer.day)
    return [offer for offer in every if offer.beyond and offer.day.month in months]


def habit_cost(offer) -> float:
    return sum(part.amount for part in offer.parts if part.why == HABIT)


def test_an_open_floor_beyond_the_forecast_is_told_the_habit_of_its_month(house):  # noqa: F811
    weather(house.depot_place)

    found = beyond(best_days(job(house, exposure="open"), now=NOW, every=True))

    assert found
    for offer in found:
        assert offer.season.startswith("Usually wet on 2 days in 5 here in June")
        assert "a season's habit, not a forecast" in offer.season
        assert "New York in 2013" in offer.season  # nothing was counted here
        assert offer.verdict.level is Level.UNKNOWN  # a habit turns no day green


def test_a_garage_pays_nothing_for_the_season(house):  # noqa: F811
    weather(house.depot_place)

    found = beyond(best_days(job(house), now=NOW, every=True))

    assert {(offer.season, habit_cost(offer)) for offer in found} == {("", 0.0)}


def test_within_the_forecast_the_season_says_nothing(house):  # noqa: F811
    weather(house.depot_place, cloud_pct=95.0)

    offers = best_days(job(house, exposure="open"), now=NOW, every=True)

    near = [o for o in (*offers.best, *offers.others) if not o.beyond]
    assert near
    assert {(offer.season, habit_cost(offer)) for offer in near} == {("", 0.0)}


def test_wetter_months_cost_more_by_the_branchs_own_table(house):  # noqa: F811
    weather(house.depot_place)
    costs = {}
    for wet in (10, 80):
        Branch.objects.filter(pk=house.pk).update(wet_months={"6": wet})
        house.refresh_from_db()
        found = best_days(job(house, exposure="open"), now=NOW, every=True)
        costs[wet] = habit_cost(beyond(found)[0])

    assert costs == {10: pytest.approx(15.0), 80: pytest.approx(120.0)}


def test_the_places_own_record_moves_the_odds(house):  # noqa: F811
    weather(house.depot_place)
    MonthRecord.objects.create(place=house.depot_place, month=6, days=600, wet_days=30)

    offer = beyond(best_days(job(house, exposure="open"), now=NOW, every=True))[0]

    assert offer.season == (
        "Usually wet on hardly any day here in June: a season's habit, not a forecast."
    )


def test_the_sentence_for_december():
    odds = seasonal(12, {24: Counted(300, 100)}, {"12": 33})

    assert season_sentence(odds) == (
        "Usually wet on 1 day in 3 here in December: a season's habit, not a forecast."
    )


def test_a_day_at_the_turn_of_the_month_takes_the_month_of_its_pour(house):  # noqa: F811
    turn = NOW + timedelta(days=15)  # 16 June; offers reach into July
    weather(house.depot_place)

    offers = best_days(job(house, exposure="open"), now=turn, every=True)

    months = {offer.day.month: offer.season for offer in beyond(offers, reach_days=40)}
    assert "in July" in months[7]
    assert "in June" in months[6]
