"""Over days before, during and after the work, with every check at hand: dryer, calmer and warmer
weather is no worse a verdict except by heat, and a missing hour never a better one.

Two facts of the trade stand outside: a system that cures by water wants it in the air, and snow
that stays frozen runs nowhere.
"""

from dataclasses import replace
from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, find, given, settings
from hypothesis import strategies as st

from dispatch.rules.checks import OF_SCENE, OF_SURFACE
from dispatch.rules.covers import Cover
from dispatch.rules.findings import Level, Part
from dispatch.rules.verdicts import ORDER, Dryness, PartDryness, judge
from jobs.rules.other_water import Water
from tests.dispatch.rules.skies import Row, planned, sky
from tests.jobs.rules.floors import FAST, clock
from weather.rules.exposures import Exposure

ZONE = "America/Denver"
NOW = clock(ZONE, "2026-06-09 18:00")
HOURS, SLAB = sky(
    ZONE,
    {"2026-06-05 00:00": Row(20, 50, 9.3, 5, 0, 8, 20)},
    issued="2026-06-09 16:00",
    until="2026-06-14 00:00",
)
PLAN = planned(380, clock(ZONE, "2026-06-10 07:00"), SLAB)
CARD = replace(FAST, air_min_c=8.0, air_max_c=35.0)
THIRSTY = replace(CARD, humidity_min_grains=40.0)
# Six hours hold one value: from five days before the start until the floor is driven on.
BLOCK = 6
BLOCKS = len(HOURS) // BLOCK
WET = ("rain_chance_pct", "rain_mm", "snow_mm")
DAMP = ("humidity_pct", "dew_c")
NOTES = {"bubbles", "foot", "recoat"}
RANGES = {
    "rain_chance_pct": (0, 100),
    "rain_mm": (0, 4),
    "snow_mm": (0, 2),
    "gust_kmh": (0, 70),
    "dew_c": (-5, 24),
    "humidity_pct": (25, 100),
    "air_c": (-8, 32),
}


def blocks(low, high):
    """A value for every six hours; half of them fair, so that single bad spells decide."""
    fair = st.just(float(low))
    wild = st.floats(low, high).map(lambda value: round(value, 1))
    return st.lists(st.one_of(fair, wild), min_size=BLOCKS, max_size=BLOCKS).map(
        lambda values: np.repeat(np.array(values), BLOCK)[: len(HOURS)]
    )


@st.composite
def days(draw, *layers):
    """Hours, a slab, and a floor with what is known of it; these layers vary, and some others."""
    chosen = {*layers, *draw(st.sets(st.sampled_from(sorted(RANGES)), min_size=1, max_size=2))}
    hours = replace(HOURS, **{name: draw(blocks(*RANGES[name])) for name in sorted(chosen)})
    if draw(st.booleans()):
        hours = replace(hours, chance_derived=np.ones(len(hours), dtype=bool))
    slab = draw(st.one_of(st.just(SLAB), st.integers(0, 36).map(held)))
    seen = draw(st.sampled_from([None, 20, 40, 60, 200]))
    part = PartDryness("the floor", NOW - timedelta(hours=seen)) if seen else PartDryness()
    return hours, {
        "slab": draw(st.sampled_from([slab, replace(slab, weak=True)])),
        "exposure": draw(st.sampled_from([Exposure.OPEN, *Exposure])),
        "parts": draw(st.sampled_from([(), (Part("the apron", Exposure.APRON),)])),
        "covers": draw(st.frozensets(st.sampled_from(list(Cover)))),
        "waters": tuple(sorted(draw(st.sets(st.sampled_from(list(Water)))))),
        "dryness": draw(st.sampled_from([None, Dryness((part,)), Dryness((part,), metered=True)])),
        "card": draw(st.sampled_from([CARD, THIRSTY])),
        "day_end": PLAN.end + timedelta(hours=draw(st.sampled_from([-1, 2]))),
        "now": NOW + timedelta(hours=draw(st.sampled_from([0, -1, 13]))),
    }


def held(value):
    """A slab that stays at `value` (°C)."""
    series = np.full(len(SLAB), value)
    return replace(SLAB, mid_c=series, cold_c=series, warm_c=series)


def judged(hours, given):
    return judge(plan=PLAN, hours=hours, zone=ZoneInfo(ZONE), **given)


def levels(verdict):
    """The worst of each check by its name."""
    found = {}
    for check in verdict.checks:
        found[check.name] = max(
            found.get(check.name, Level.GO), check.level, key=lambda each: each.severity
        )
    return found


def no_worse(better, worse):
    """Every check by itself, so that no other hides it behind its no."""
    one, two = levels(better), levels(worse)
    assert one.keys() == two.keys() or {*one, *two} - (one.keys() & two.keys()) <= NOTES
    for name in one.keys() & two.keys():
        assert one[name].severity <= two[name].severity, name


many = settings(max_examples=80, deadline=None)
shares = st.one_of(st.floats(0, 1), blocks(0, 1))  # of the whole time, or spell by spell


@many
@given(days(*WET), shares, st.sampled_from(WET))
def test_dryer_days_worsen_no_check(day, share, layer):
    hours, floor = day

    no_worse(judged(replace(hours, **{layer: getattr(hours, layer) * share}), floor), judged(*day))


@many
@given(days("gust_kmh"), shares)
def test_calmer_days_worsen_no_check(day, share):
    hours, floor = day
    calm = replace(hours, gust_kmh=hours.gust_kmh * share, wind_kmh=hours.wind_kmh * share)

    no_worse(judged(calm, floor), judged(*day))


@many
@given(days(*DAMP), blocks(0, 12), st.sampled_from(DAMP))
def test_dryer_air_worsens_no_check_but_that_of_a_system_that_cures_by_water(day, less, layer):
    hours, floor = day
    floor = {**floor, "card": CARD}
    dryer = replace(hours, **{layer: np.maximum(getattr(hours, layer) - less, -45.0)})

    no_worse(judged(dryer, floor), judged(hours, floor))


@many
@given(days("air_c"), st.floats(0, 6))
def test_warmer_days_worsen_no_check_below_the_heat_where_no_snow_lies(day, more):
    hours, floor = day
    floor = {**floor, "waters": tuple(each for each in floor["waters"] if each != Water.THAW)}
    air = np.minimum(hours.air_c, CARD.air_max_c - more)
    slab = held(min(float(floor["slab"].mid_c[0]), CARD.slab_amber_above_c - more))
    cold = {**floor, "slab": replace(slab, weak=floor["slab"].weak)}
    warm = {**floor, "slab": replace(held(slab.mid_c[0] + more), weak=floor["slab"].weak)}

    no_worse(
        judged(replace(hours, air_c=air + more), warm), judged(replace(hours, air_c=air), cold)
    )


@settings(max_examples=80, deadline=None)
@given(
    st.sampled_from(sorted(RANGES)).flatmap(lambda name: st.tuples(st.just(name), days(name))),
    st.integers(1, 12),
    st.integers(-36, 30),
)
def test_missing_hours_make_no_verdict_better(named, count, ahead):
    name, (hours, floor) = named
    first = hours.index(PLAN.pour) + ahead
    series = getattr(hours, name).copy()
    series[max(0, first) : first + count] = np.nan

    known = judged(hours, floor).level
    missing = judged(replace(hours, **{name: series}), floor).level

    # Without the hour that said no it is not known any more whether it is one: never go or care.
    assert missing.severity >= min(known.severity, Level.UNKNOWN.severity)


@pytest.mark.parametrize("name", [name for name in ORDER if name not in NOTES])
def test_every_check_is_met_in_these_days(name):
    # Without this the properties above could hold because a check never speaks.
    def speaks(day):
        return levels(judged(*day)).get(name, Level.GO) is not Level.GO

    # Not made small afterwards: one such day is enough.
    look = settings(
        max_examples=2000, phases=[Phase.generate], suppress_health_check=[*HealthCheck]
    )
    found = find(days(), speaks, settings=look)

    assert speaks(found)


def test_every_check_of_the_list_has_a_place_in_the_order():
    assert len(ORDER) == len(OF_SURFACE) + len(OF_SCENE)
