"""With measures too, better weather is never worse, and not knowing is never better."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from dispatch.rules.measures.ranking import ranked
from jobs.rules.other_water import Water
from tests.dispatch.rules.floors_on_days import situation, times_at
from tests.dispatch.rules.skies import without
from tests.dispatch.rules.test_verdicts_order import (
    FIRST,
    LAST,
    PLAN,
    SLAB,
    ZONE,
    put,
    shares,
    skies,
)
from tests.jobs.rules.floors import FAST
from weather.rules.exposures import Exposure

exposures = st.sampled_from([Exposure.OPEN, Exposure.PORCH, Exposure.GARAGE])


def best(hours, exposure, *, waters=()):
    """The best level that the day or anything done about it comes to."""
    asked = situation(
        380,
        "2026-06-10 07:00",
        (hours, SLAB),
        ZONE,
        exposure,
        now="2026-06-09 18:00",
        times=times_at(ZONE, opens=6),
    )
    floors = tuple(replace(floor, waters=waters) for floor in asked.floors)
    asked = asked.changed(floors=floors)
    outcome = asked.judged()
    found = [measure.level for measure in ranked(asked, outcome) if measure.level]
    return min([outcome.verdict.level, *found], key=lambda level: level.severity)


@settings(max_examples=15, deadline=None)
@given(skies(), shares, st.sampled_from(["rain_chance_pct", "rain_mm"]), exposures)
def test_dryer_weather_never_leaves_less_to_be_done(hours, share, name, exposure):
    dryer = put(hours, name, getattr(hours, name)[FIRST : FIRST + LAST] * np.array(share))

    assert best(dryer, exposure).severity <= best(hours, exposure).severity


@settings(max_examples=15, deadline=None)
@given(skies(), shares, st.sampled_from(["gust_kmh", "humidity_pct", "dew_c"]), exposures)
def test_calmer_and_less_humid_air_never_leaves_less_to_be_done(hours, share, name, exposure):
    better = put(hours, name, getattr(hours, name)[FIRST : FIRST + LAST] * np.array(share))

    assert best(better, exposure).severity <= best(hours, exposure).severity


@settings(max_examples=15, deadline=None)
@given(skies(), st.floats(2, 29), st.floats(0, 10), exposures)
def test_a_warmer_slab_never_leaves_less_to_be_done_below_the_heat(
    hours, slab_c, warmer_c, exposure
):
    def level(value):
        held = np.full(len(SLAB), min(value, FAST.slab_amber_above_c))
        slab = replace(SLAB, mid_c=held, cold_c=held, warm_c=held)
        asked = situation(
            380,
            "2026-06-10 07:00",
            (hours, slab),
            ZONE,
            exposure,
            now="2026-06-09 18:00",
            times=times_at(ZONE, opens=6),
        )
        outcome = asked.judged()
        found = [measure.level for measure in ranked(asked, outcome) if measure.level]
        return min([outcome.verdict.level, *found], key=lambda each: each.severity)

    # Under 5 °C the card has no row at all, and the plan is refused instead of judged.
    cold = max(slab_c, FAST.slab_min_c)
    assert level(cold + warmer_c).severity <= level(cold).severity


@settings(max_examples=15, deadline=None)
@given(skies(), st.integers(-1, 10), exposures)
def test_a_missing_hour_never_leaves_more_to_be_done(hours, ahead, exposure):
    missing = without(hours, PLAN.pour + timedelta(hours=ahead))

    assert best(missing, exposure).severity >= best(hours, exposure).severity


@settings(max_examples=15, deadline=None)
@given(skies(), shares, st.sets(st.sampled_from([Water.SLOPE, Water.ROOF_EDGE, Water.VEHICLES])))
def test_dryer_weather_never_makes_other_water_worse(hours, share, seen):
    dryer = put(
        hours, "rain_chance_pct", hours.rain_chance_pct[FIRST : FIRST + LAST] * np.array(share)
    )
    waters = tuple(sorted(seen))

    better, worse = (best(each, Exposure.GARAGE, waters=waters) for each in (dryer, hours))

    assert better.severity <= worse.severity
