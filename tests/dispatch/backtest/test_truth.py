"""What really happens to a floor in the backtest."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from dispatch.backtest.scenario import LEVELS, Order, Unseen
from dispatch.backtest.truth import harms, true_card, true_plan
from dispatch.backtest.world import World
from jobs.rules.catalogue import ONE_DAY
from jobs.rules.plan import Work
from weather.rules.exposures import Exposure
from weather.rules.hours import HOUR, SlabHours
from weather.rules.slab import slab_hours

MIDDLE = LEVELS // 2
PLAIN = Unseen(MIDDLE, MIDDLE, cure=1.0, labour=1.0, start_min=0.0, shelter=1.0)
START = datetime(2013, 5, 15, 11, 30, tzinfo=UTC)


def order(exposure=Exposure.OPEN, unseen=PLAIN):
    return Order(0, START.date(), exposure, Work(area_m2=36, edge_m=25), unseen)


@pytest.fixture
def fine(newark):
    """The year with mild, dry, still air and no rain at all."""
    truth = newark.truth
    calm = np.full(len(truth), 5.0)
    hours = replace(
        truth,
        dew_c=np.full(len(truth), -5.0),
        rain_mm=np.zeros(len(truth)),
        wind_kmh=calm,
        gust_kmh=calm,
    )
    return World(newark.station, hours, newark.forecasts, newark.zone)


def held(world, at_c=20.0):
    series = np.full(len(world.truth), at_c)
    return SlabHours(world.truth.start, series, series, series)


def spoiled(world, *, exposure=Exposure.OPEN, unseen=PLAIN, slab_c=20.0):
    """The plan of a floor that day, and what spoils it."""
    slab = held(world, slab_c)
    one = order(exposure, unseen)
    plan = true_plan(one, card=ONE_DAY, people=2, start=START, slab=slab)
    return plan, set(harms(plan, order=one, card=ONE_DAY, world=world, slab=slab))


def with_layer(world, name, at, value):
    series = getattr(world.truth, name).copy()
    series[world.truth.index(at)] = value
    return World(world.station, replace(world.truth, **{name: series}), world.forecasts, world.zone)


def test_a_fine_day_spoils_nothing(fine):
    for exposure in (Exposure.GARAGE, Exposure.PORCH, Exposure.OPEN):
        assert spoiled(fine, exposure=exposure)[1] == set()


def test_an_hour_of_rain_spoils_what_lies_under_the_sky(fine):
    plan, _ = spoiled(fine)
    wet = with_layer(fine, "rain_mm", plan.top_start, 0.254)

    assert spoiled(wet)[1] == {"rain"}
    assert spoiled(wet, exposure=Exposure.PORCH)[1] == set()
    assert spoiled(wet, exposure=Exposure.GARAGE)[1] == set()
    driven = with_layer(wet, "gust_kmh", plan.top_start, 30.0)
    assert "rain" in spoiled(driven, exposure=Exposure.PORCH)[1]


def test_rain_after_the_floor_is_rain_safe_does_no_harm(fine):
    plan, _ = spoiled(fine)

    assert spoiled(with_layer(fine, "rain_mm", plan.rain_safe + HOUR, 5.0))[1] == set()


def test_rain_some_hours_before_leaves_the_slab_damp(fine):
    plan, _ = spoiled(fine)

    assert spoiled(with_layer(fine, "rain_mm", plan.pour - 6 * HOUR, 1.0))[1] == {"damp"}
    assert spoiled(with_layer(fine, "rain_mm", plan.pour - 12 * HOUR, 1.0))[1] == set()


def test_dew_cold_heat_and_wind_spoil_each_by_itself(fine):
    plan, _ = spoiled(fine)

    assert spoiled(with_layer(fine, "dew_c", plan.pour + HOUR, 20.5))[1] == {"dew"}
    assert spoiled(fine, slab_c=ONE_DAY.slab_min_c - 2.5)[1] == {"cold"}
    assert spoiled(fine, slab_c=ONE_DAY.slab_max_c + 3.5)[1] == {"heat"}
    blown = with_layer(fine, "gust_kmh", plan.pour, 40.0)
    assert spoiled(blown)[1] == {"wind"}
    # Behind houses the same gust is half of it, under the 25 km/h that flake bears.
    assert spoiled(blown, unseen=replace(PLAIN, shelter=0.5))[1] == set()


def test_slow_hands_and_a_slow_cure_make_the_day_longer(fine):
    usual, _ = spoiled(fine)
    slow, _ = spoiled(fine, unseen=replace(PLAIN, labour=1.15))
    slow_cure, _ = spoiled(fine, unseen=replace(PLAIN, cure=1.15))
    late, _ = spoiled(fine, unseen=replace(PLAIN, start_min=30.0))

    assert slow.pour - START == pytest.approx(1.15 * (usual.pour - START), rel=1e-6)
    assert slow_cure.recoat_from - slow_cure.base_end == pytest.approx(
        1.15 * (usual.recoat_from - usual.base_end), rel=1e-6
    )
    assert late.pour - usual.pour == timedelta(minutes=30)


def test_a_card_cures_slower_in_every_time_and_in_nothing_else():
    slow = true_card(ONE_DAY, 1.15)

    assert slow.rain_safe.points[0][1] == pytest.approx(1.15 * ONE_DAY.rain_safe.points[0][1])
    assert slow.slab_min_c == ONE_DAY.slab_min_c
    assert slow.recoat_until_h == ONE_DAY.recoat_until_h


@pytest.mark.parametrize("exposure", [Exposure.GARAGE, Exposure.PORCH, Exposure.OPEN])
def test_a_floor_like_the_program_s_has_its_slab(newark, slabs, exposure):
    """With the middle offset and film, truth is what the program reckons from true hours."""
    now = datetime(2013, 6, 1, tzinfo=UTC)
    start = now - timedelta(days=15)
    ours = slab_hours(
        hours=newark.truth.between(start, now),
        exposure=exposure,
        latitude=newark.station.latitude,
        longitude=newark.station.longitude,
        now=now,
    )
    true = slabs.of(order(exposure))
    first = true.index(now - timedelta(days=2))

    # The program starts its slab fifteen days before, the truth in January.
    assert ours.mid_c[-48:] == pytest.approx(true.mid_c[first : first + 48], abs=0.6)


def test_hidden_offsets_and_films_make_slabs_differ(slabs):
    warm, cold = (slabs.of(order(Exposure.GARAGE, replace(PLAIN, garage_level=n))) for n in (4, 0))
    march = warm.index(datetime(2013, 3, 5, tzinfo=UTC))

    assert warm.mid_c[march] - cold.mid_c[march] > 1.0
    thick, thin = (slabs.of(order(Exposure.OPEN, replace(PLAIN, film_level=n))) for n in (4, 0))
    june = slice(thick.index(datetime(2013, 6, 1, tzinfo=UTC)), None)
    # Under a thin film the sun is felt more.
    assert thin.mid_c[june].max() > thick.mid_c[june].max() + 1.0
