"""Better weather is never a worse verdict, and not knowing is never a better one."""

from dataclasses import replace
from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from dispatch.rules.verdicts import Dryness, Level, PartDryness, judge
from tests.dispatch.rules.skies import Row, planned, sky, without
from tests.jobs.rules.floors import FAST, clock
from weather.rules.exposures import Exposure

ZONE = "America/Denver"
NOW = clock(ZONE, "2026-06-09 18:00")
START = clock(ZONE, "2026-06-10 07:00")
FAIR, SLAB = sky(
    ZONE,
    {"2026-06-07 00:00": Row(20, 50, 9.3, 5, 0, 8, 20)},
    issued="2026-06-09 16:00",
    until="2026-06-14 00:00",
)
PLAN = planned(380, START, SLAB)
LAST = 16  # hours from an hour before the pour on that the tests play with
FIRST = FAIR.index(PLAN.pour) - 1
DRY = Dryness((PartDryness(wetted_at=NOW - timedelta(days=5)),))


def level(hours, slab=SLAB, exposure=Exposure.OPEN, dryness=DRY):
    return judged(hours, slab, exposure, dryness).level


def judged(hours, slab=SLAB, exposure=Exposure.OPEN, dryness=DRY):
    return judge(
        plan=PLAN,
        card=FAST,
        exposure=exposure,
        hours=hours,
        slab=slab,
        now=NOW,
        zone=ZoneInfo(ZONE),
        dryness=dryness,
    )


def layer(low, high):
    return st.lists(
        st.floats(low, high).map(lambda value: round(value, 1)), min_size=LAST, max_size=LAST
    )


def put(hours, name, values):
    series = getattr(hours, name).copy()
    series[FIRST : FIRST + LAST] = values
    return replace(hours, **{name: series})


@st.composite
def skies(draw):
    hours = put(FAIR, "rain_chance_pct", draw(layer(0, 40)))
    hours = put(
        hours, "rain_mm", draw(st.sampled_from([0.0, 0.1, 0.6]).map(lambda mm: [mm] * LAST))
    )
    hours = put(hours, "gust_kmh", draw(layer(0, 45)))
    hours = put(hours, "dew_c", draw(layer(5, 20)))
    return put(hours, "humidity_pct", draw(layer(30, 90)))


exposures = st.sampled_from(list(Exposure))
shares = st.lists(st.floats(0, 1), min_size=LAST, max_size=LAST)


@settings(max_examples=30)
@given(skies(), shares, st.sampled_from(["rain_chance_pct", "rain_mm"]), exposures)
def test_dryer_weather_never_worsens(hours, share, name, exposure):
    before = getattr(hours, name)[FIRST : FIRST + LAST]
    dryer = put(hours, name, before * np.array(share))

    better, worse = level(dryer, exposure=exposure), level(hours, exposure=exposure)

    assert better.severity <= worse.severity


@settings(max_examples=30)
@given(skies(), shares, st.sampled_from(["gust_kmh", "humidity_pct", "dew_c"]), exposures)
def test_calmer_and_less_humid_air_never_worsens(hours, share, name, exposure):
    before = getattr(hours, name)[FIRST : FIRST + LAST]
    better = put(hours, name, before * np.array(share))

    assert level(better, exposure=exposure).severity <= level(hours, exposure=exposure).severity


@settings(max_examples=30)
@given(skies(), st.floats(2, 29), st.floats(0, 10), exposures)
def test_a_warmer_slab_never_worsens_below_the_heat(hours, slab_c, warmer_c, exposure):
    def slab(value):
        held = np.full(len(SLAB), min(value, FAST.slab_amber_above_c))
        return replace(SLAB, mid_c=held, cold_c=held, warm_c=held)

    warm = level(hours, slab(slab_c + warmer_c), exposure)

    assert warm.severity <= level(hours, slab(slab_c), exposure).severity


@settings(max_examples=50)
@given(skies(), st.integers(1, 8), exposures)
def test_a_missing_hour_is_never_go_and_never_better_than_unknown(hours, ahead, exposure):
    missing = without(hours, PLAN.pour + timedelta(hours=ahead))

    assert level(missing, exposure=exposure) in {Level.UNKNOWN, Level.NO}


@settings(max_examples=30)
@given(skies(), st.integers(0, 30), exposures)
def test_a_missing_hour_never_makes_a_later_pour_safe(hours, ahead, exposure):
    known = judged(hours, exposure=exposure)
    missing = judged(without(hours, PLAN.pour + timedelta(hours=ahead)), exposure=exposure)

    if known.last_safe_pour is not None and missing.last_safe_pour is not None:
        # The pour that held with the hour known is the latest that can hold without it.
        assert missing.last_safe_pour <= known.last_safe_pour
    if known.last_safe_pour is None and known.level is Level.NO:
        assert missing.level in {Level.UNKNOWN, Level.NO}


@settings(max_examples=30)
@given(skies(), exposures)
def test_the_last_safe_pour_holds_if_one_pours_then(hours, exposure):
    verdict = judged(hours, exposure=exposure)
    if verdict.last_safe_pour is None:
        return

    shift = verdict.last_safe_pour - PLAN.pour
    moments = ("pour", "base_end", "recoat_from", "recoat_until", "top_start", "top_end")
    moments += ("tack_free", "rain_safe", "walk_on", "drive_on")
    moved = replace(PLAN, **{name: getattr(PLAN, name) + shift for name in moments})
    again = judge(
        plan=moved,
        card=FAST,
        exposure=exposure,
        hours=hours,
        slab=SLAB,
        now=NOW,
        zone=ZoneInfo(ZONE),
        dryness=DRY,
    )

    named = {"rain", "dew", "wind", "slab"}
    assert not [check for check in again.checks if check.level is Level.NO and check.name in named]
