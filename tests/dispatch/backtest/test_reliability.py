"""Whether the odds come true, on hours at an airport that they were not fitted to."""

import pytest

from dispatch.backtest.real_hours import STATIONS
from dispatch.backtest.reliability import reliability, samples, tables
from dispatch.backtest.world import World


def test_knowing_is_worth_one_and_the_base_rate_nothing():
    came = [True, False, False, True, False]

    assert reliability("x", [1.0, 0.0, 0.0, 1.0, 0.0], came).skill == pytest.approx(1.0)
    assert reliability("x", [0.4] * 5, came).skill == pytest.approx(0.0)


def test_the_brier_score_is_the_mean_square():
    found = reliability("x", [0.1, 0.4], [False, True])

    # (0.1² + 0.6²) / 2, by hand.
    assert found.brier == pytest.approx(0.185)
    assert [(each.count, each.came) for each in found.bins] == [(1, 0.0), (1, 1.0)]


@pytest.fixture(scope="module")
def kennedy(scenario):
    world = World.of(STATIONS[1], seed=12)
    return tables(samples(world, scenario, seed=2))


def test_odds_come_true_at_an_airport_they_were_not_fitted_to(kennedy):
    every = kennedy[0]

    assert every.skill > 0.3
    # The six leads of a floor share one outcome and the floors of a day its weather, so two
    # months hold some eighty cases: ten points of luck in one range, fewer over all of them.
    off = sum(each.count * abs(each.said - each.came) for each in every.bins) / every.count
    assert off < 0.09
    assert sum(each.count * each.said for each in every.bins) / every.count == pytest.approx(
        every.base_rate, abs=0.06
    )


def test_odds_of_the_evening_before_are_worth_more_than_those_of_a_week_before(kennedy):
    skill = {each.name: each.skill for each in kennedy}

    assert skill["1 d"] > skill["7 d"] + 0.05


def test_every_exposure_has_skill(kennedy):
    skill = {each.name: each.skill for each in kennedy}

    assert all(skill[name] > 0.1 for name in ("garage", "porch", "open"))
