"""What is not known is never zero and never go, and a forecast ages."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from dispatch.rules.verdicts import Level
from tests.dispatch.rules.fair import DRY, NOW, START, ZONE, fair_sky, judged, level_of
from tests.dispatch.rules.skies import planned, without
from tests.jobs.rules.floors import clock
from weather.rules.exposures import Exposure


@pytest.fixture(name="fair")
def _fair():
    return fair_sky()


def test_a_fair_day_is_go(fair):
    verdict = judged(*fair)

    assert verdict.level is Level.GO
    assert verdict.firmness == "firm"
    assert verdict.reasons == ()


def test_without_a_forecast_nothing_is_known(fair):
    _, slab = fair
    for exposure in Exposure:
        verdict = judged(None, slab, exposure=exposure)

        assert verdict.level is Level.UNKNOWN
        assert verdict.headline.startswith("No forecast is held")
        assert verdict.last_safe_pour is None


def test_without_a_slab_nothing_is_go(fair):
    hours, _ = fair
    for exposure in Exposure:
        assert judged(hours, None, exposure=exposure).level is Level.UNKNOWN


@pytest.mark.parametrize("layer", ["rain_chance_pct", "dew_c", "humidity_pct", "gust_kmh"])
def test_an_hour_that_is_missing_while_the_floor_is_wet_is_unknown(fair, layer):
    hours, slab = fair

    verdict = judged(without(hours, START + timedelta(hours=5), layer), slab)

    assert verdict.level is Level.UNKNOWN


def test_an_amount_that_is_missing_is_care_at_best(fair):
    hours, slab = fair

    verdict = judged(without(hours, START + timedelta(hours=5), "rain_mm"), slab)

    assert verdict.level is Level.CARE


def test_a_forecast_that_ends_before_the_floor_is_rain_safe_is_unknown(fair):
    hours, slab = fair
    short = hours.between(hours.start, clock(ZONE, "2026-06-18 15:00"))

    verdict = judged(short, slab)

    assert verdict.level is Level.UNKNOWN
    assert "forecast ends 3 PM" in verdict.headline


def test_hours_after_the_end_of_the_forecast_bind_the_pour(fair):
    hours, slab = fair
    plan = planned(380, START, slab)
    short = hours.between(hours.start, clock(ZONE, "2026-06-18 21:00"))

    verdict = judged(short, slab, plan=plan)

    assert plan.rain_safe is not None
    assert verdict.last_safe_pour is not None
    left = clock(ZONE, "2026-06-18 21:00") - plan.rain_safe
    assert verdict.slack_min == pytest.approx(left.total_seconds() / 60, abs=1)
    assert "not known" in verdict.binds or "nothing known" in verdict.binds


@pytest.mark.parametrize(
    ("age_h", "level"),
    [(1, Level.GO), (12, Level.GO), (13, Level.CARE), (24, Level.CARE), (26, Level.UNKNOWN)],
)
def test_a_forecast_ages_from_its_issue_and_not_from_its_fetch(fair, age_h, level):
    hours, slab = fair
    old = replace(hours, issued_at=NOW - timedelta(hours=age_h), fetched_at=NOW)

    assert judged(old, slab, exposure=Exposure.GARAGE).level is level


def test_a_forecast_without_an_issue_time_is_unknown(fair):
    hours, slab = fair

    verdict = judged(replace(hours, issued_at=None, fetched_at=NOW), slab)

    assert verdict.level is Level.UNKNOWN
    assert "when the forecast was made" in verdict.headline


def test_a_floor_without_a_time_to_be_rain_safe_is_unknown(fair):
    hours, slab = fair
    plan = replace(planned(380, START, slab), rain_safe=None, tack_free=None)

    verdict = judged(hours, slab, plan=plan)

    assert verdict.level is Level.UNKNOWN
    assert verdict.wet_until is None
    assert verdict.last_safe_pour is None


def test_past_hours_nobody_saw_are_unknown_for_an_open_slab(fair):
    hours, slab = fair
    from_now = hours.between(NOW, hours.end)

    assert level_of(judged(from_now, slab, dryness=None), "dryness") is Level.UNKNOWN
    assert level_of(judged(from_now, slab), "dryness") is Level.GO
    assert level_of(judged(hours, slab, dryness=None), "dryness") is Level.GO


def test_a_note_on_dryness_speaks_until_it_was_made(fair):
    hours, slab = fair
    from_now = hours.between(NOW, hours.end)
    fresh, old = (replace(DRY, noted_at=NOW - timedelta(hours=age_h)) for age_h in (0, 30))

    assert level_of(judged(from_now, slab, dryness=fresh), "dryness") is Level.GO
    assert level_of(judged(from_now, slab, dryness=old), "dryness") is Level.UNKNOWN
    assert level_of(judged(hours, slab, dryness=old), "dryness") is Level.GO


def test_a_weak_slab_without_a_reading_is_care_and_with_one_go(fair):
    hours, slab = fair
    weak = replace(slab, cold_c=slab.mid_c - 2, warm_c=slab.mid_c + 2, weak=True)

    guessed = judged(hours, weak)
    read = judged(hours, weak, reading=True)

    assert guessed.level is Level.CARE
    assert any(way.startswith("Meter first") for way in guessed.ways_out)
    assert read.level is Level.GO


def test_a_derived_chance_is_care_at_best(fair):
    hours, slab = fair
    derived = replace(hours, chance_derived=np.ones(len(hours), dtype=bool))

    verdict = judged(derived, slab)

    assert verdict.level is Level.CARE
    assert "reckoned from amounts" in verdict.headline
