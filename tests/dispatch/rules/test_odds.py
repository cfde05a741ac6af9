"""Odds that a floor is spoiled: what moves them and what they never do."""

from dataclasses import replace

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given

from dispatch.rules.odds import Cause, Margins, Odds, OddsPart, margins_of, odds_spoiled, usual_rain
from tests.dispatch.rules.fair import FAST, START, fair_sky, judged, planned, slab_to_plan
from weather.rules.exposures import Exposure
from weather.rules.seasonal import seasonal

JUNE = seasonal(6, {}, {})
PLAN = planned(380, START, slab_to_plan(fair_sky()[1]))
FAIR = Margins(
    wet_h=7,
    rain_pct=5,
    over_dew_c=8,
    over_least_c=10,
    under_most_c=10,
    gust_share=0.5,
)


def odds(*, exposure=Exposure.OPEN, lead_h=24.0, **changed):
    margins = replace(FAIR, **changed)
    return odds_spoiled(margins=margins, exposure=exposure, lead_h=lead_h, season=JUNE)


def test_rain_of_seven_hours_is_never_the_product_of_hours():
    one, seven = (odds(rain_pct=15, wet_h=wet_h).of(Cause.RAIN) for wet_h in (6, 7))

    assert one == pytest.approx(0.15)
    # Seven hours at 15 % taken as independent would be 68 %.
    assert one < seven < 0.2


def test_a_longer_wet_window_is_never_safer():
    shares = [odds(rain_pct=20, wet_h=wet_h).of(Cause.RAIN) for wet_h in (2, 4, 6, 9, 14, 30)]

    assert shares == sorted(shares)


def test_walls_and_a_roof_keep_rain_and_wind_away():
    shut = odds(exposure=Exposure.GARAGE, rain_pct=90, gust_share=2.0)

    assert shut.of(Cause.RAIN) == 0
    assert shut.of(Cause.WIND) == 0
    roofed = odds(exposure=Exposure.PORCH, rain_pct=90).of(Cause.RAIN)
    assert 0 < roofed < 0.7 * odds(rain_pct=90).of(Cause.RAIN)


def test_what_no_forecast_reaches_is_answered_by_the_season():
    far = odds(rain_pct=None, wet_h=6)

    assert far.of(Cause.RAIN) == pytest.approx(JUNE.quarter_day)
    assert far.seasonal
    assert not odds().seasonal


def test_nothing_known_is_never_no_odds():
    nothing = Margins(wet_h=7, rain_pct=None)

    for exposure in Exposure:
        found = odds_spoiled(margins=nothing, exposure=exposure, lead_h=400, season=JUNE)
        assert found.total > 0.02
        assert found.seasonal


def test_a_season_lies_between_its_hour_and_its_day():
    assert usual_rain(JUNE, 1) == pytest.approx(JUNE.hour)
    assert usual_rain(JUNE, 24) == pytest.approx(JUNE.day)
    assert JUNE.quarter_day < usual_rain(JUNE, 8) < JUNE.half_day


@given(
    rain=st.floats(0, 100),
    dew=st.floats(-10, 20),
    least=st.floats(-10, 30),
    gust=st.floats(0.01, 4),
    lead=st.floats(0, 240),
)
def test_better_weather_is_never_worse_odds(rain, dew, least, gust, lead):
    before = odds(
        rain_pct=rain, over_dew_c=dew, over_least_c=least, gust_share=gust, lead_h=lead
    ).total
    for better in (
        {"rain_pct": rain * 0.8},
        {"over_dew_c": dew + 1},
        {"over_least_c": least + 1},
        {"gust_share": gust * 0.8},
    ):
        usual = {
            "rain_pct": rain,
            "over_dew_c": dew,
            "over_least_c": least,
            "gust_share": gust,
        }
        assert odds(**{**usual, **better}, lead_h=lead).total <= before + 1e-12


def test_the_total_is_that_none_of_the_causes_comes():
    both = Odds((OddsPart(Cause.RAIN, 0.2), OddsPart(Cause.DEW, 0.1)))

    assert both.total == pytest.approx(1 - 0.8 * 0.9)


def test_margins_are_those_of_the_verdict():
    hours, slab = fair_sky()
    verdict = judged(hours, slab)

    found = margins_of(checks=verdict.checks, plan=PLAN, card=FAST, hours=hours)

    dew = next(check for check in verdict.checks if check.name == "dew")
    assert found.over_dew_c == dew.value
    assert found.rain_pct == np.nanmax(
        hours.between(verdict.wet_from, verdict.wet_until).rain_chance_pct
    )
    assert found.over_least_c == pytest.approx(20 - FAST.slab_min_c)
    assert found.under_most_c == pytest.approx(FAST.slab_max_c - 20)


def test_a_missing_hour_leaves_the_chance_to_the_season():
    hours, slab = fair_sky()
    verdict = judged(hours, slab)
    unknown = hours.rain_chance_pct.copy()
    unknown[hours.index(verdict.wet_from)] = np.nan

    found = margins_of(
        checks=verdict.checks,
        plan=PLAN,
        card=FAST,
        hours=replace(hours, rain_chance_pct=unknown),
    )

    assert found.rain_pct is None


def test_the_fair_day_is_worth_little_worry():
    hours, slab = fair_sky()
    verdict = judged(hours, slab)
    margins = margins_of(checks=verdict.checks, plan=PLAN, card=FAST, hours=hours)

    found = odds_spoiled(margins=margins, exposure=Exposure.OPEN, lead_h=12, season=JUNE)

    assert found.total < 0.15
