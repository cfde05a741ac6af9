"""Each limit at its line: the last value that holds, and the first that does not."""

from dataclasses import replace
from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dispatch.rules.verdicts import Dryness, Level, PartDryness, judge
from tests.dispatch.rules.skies import Row, changed, planned, sky
from tests.jobs.rules.floors import FAST, clock
from weather.rules.exposures import Exposure

ZONE = "America/Chicago"
NOW = clock(ZONE, "2026-06-09 18:00")
START = clock(ZONE, "2026-06-10 07:00")
FAIR, SLAB = sky(
    ZONE,
    {"2026-06-07 00:00": Row(20, 50, 9.3, 5, 0, 8, 20)},
    issued="2026-06-09 16:00",
    until="2026-06-14 00:00",
)
PLAN = planned(380, START, SLAB)
MIDDLE = FAIR.index(PLAN.pour) + 5


def found(name, hours=FAIR, slab=SLAB, *, exposure=Exposure.OPEN, dryness=None, card=FAST):
    verdict = judge(
        plan=PLAN,
        card=card,
        exposure=exposure,
        hours=hours,
        slab=slab,
        now=NOW,
        zone=ZoneInfo(ZONE),
        dryness=dryness or Dryness((PartDryness(),)),
    )
    return next(check for check in verdict.checks if check.name == name), verdict


# 3 °C over the dew point: the rule of ISO 8502-4 and ISO 12944-7 as coating inspectors use it;
# 5 °C is the care line of common practice.
@pytest.mark.parametrize(
    ("spread_c", "level"),
    [(2.9, Level.NO), (3.0, Level.CARE), (4.9, Level.CARE), (5.0, Level.GO), (-1.0, Level.NO)],
)
def test_the_slab_is_held_against_the_dew_point(spread_c, level):
    hours = changed(FAIR, dew_c={MIDDLE: 20 - spread_c})

    assert found("dew", hours)[0].level is level
    assert found("dew", hours, exposure=Exposure.GARAGE)[0].level is level


def test_dew_counts_until_tack_free_and_no_longer():
    last = FAIR.index(PLAN.tack_free)

    assert found("dew", changed(FAIR, dew_c={last: 19}))[0].level is Level.NO
    assert found("dew", changed(FAIR, dew_c={last + 1: 19}))[0].level is Level.GO


def test_outside_air_alone_never_refuses_a_room():
    hours = replace(FAIR, dew_c=np.full(len(FAIR), 19.0), humidity_pct=np.full(len(FAIR), 94.0))

    dew, verdict = found("dew", hours, exposure=Exposure.INTERIOR)

    assert dew.level is Level.CARE
    assert verdict.level is Level.CARE
    assert any(way.startswith("Meter first") for way in verdict.ways_out)


@pytest.mark.parametrize(
    ("chance_pct", "level"),
    [(14, Level.GO), (15, Level.CARE), (29, Level.CARE), (30, Level.NO)],
)
def test_rain_chance(chance_pct, level):
    assert found("rain", changed(FAIR, rain_chance_pct={MIDDLE: chance_pct}))[0].level is level


def test_rain_counts_from_the_hour_of_the_pour_to_the_hour_of_rain_safe():
    first, last = FAIR.index(PLAN.pour), FAIR.index(PLAN.rain_safe)

    levels = [
        found("rain", changed(FAIR, rain_chance_pct={at: 90}))[0].level
        for at in (first - 1, first, last, last + 1)
    ]

    assert levels == [Level.GO, Level.NO, Level.NO, Level.GO]


def test_an_unknown_chance_after_the_window_binds_the_pour_like_rain():
    after = FAIR.index(PLAN.rain_safe) + 2

    known = found("rain", changed(FAIR, rain_chance_pct={after: 15}))[1]
    unknown = found("rain", changed(FAIR, rain_chance_pct={after: float("nan")}))[1]

    assert unknown.level is Level.GO
    assert unknown.last_safe_pour == known.last_safe_pour
    assert "not known" in unknown.binds


@pytest.mark.parametrize(
    ("gust_kmh", "level"),
    [(23, Level.GO), (24, Level.CARE), (40, Level.CARE), (41, Level.NO)],
)
def test_gusts_over_wet_resin(gust_kmh, level):
    assert found("wind", changed(FAIR, gust_kmh={MIDDLE: gust_kmh}))[0].level is level


@pytest.mark.parametrize(
    ("humidity_pct", "level"),
    [(75, Level.GO), (76, Level.CARE), (85, Level.CARE), (86, Level.NO)],
)
def test_humidity_while_resin_goes_down(humidity_pct, level):
    # 85 % at most: ISO 12944-7 and the sheets of coatings; care from 75 is common practice.
    hours = changed(FAIR, humidity_pct={FAIR.index(PLAN.pour): humidity_pct})

    assert found("humidity", hours)[0].level is level


@pytest.mark.parametrize(
    ("slab_c", "level"),
    [
        (4.9, Level.NO),
        (5.0, Level.CARE),
        (9.9, Level.CARE),
        (10.0, Level.GO),
        (29.0, Level.GO),
        (29.1, Level.CARE),
        (32.0, Level.CARE),
        (32.1, Level.NO),
    ],
)
def test_the_slab_at_the_top_coat(slab_c, level):
    held = SLAB.mid_c.copy()
    held[SLAB.index(PLAN.top_start)] = slab_c

    assert found("slab", slab=replace(SLAB, mid_c=held))[0].level is level


def test_a_weak_slab_is_too_cold_on_its_cold_side_and_too_hot_in_its_middle():
    def weak(mid, half):
        held = np.full(len(SLAB), float(mid))
        return replace(SLAB, mid_c=held, cold_c=held - half, warm_c=held + half, weak=True)

    assert found("slab", slab=weak(7, 3))[0].level is Level.NO
    assert found("slab", slab=weak(30, 4))[0].level is Level.CARE
    assert found("slab", slab=weak(33, 4))[0].level is Level.NO


@pytest.mark.parametrize(
    ("wet_h", "dry_h", "level"),
    [
        (47, 23.9, Level.NO),
        (47, 24, Level.CARE),
        (48, 24, Level.GO),
        (60, 23.9, Level.NO),
        (23.9, None, Level.NO),
        # Nobody looked: on such a fair day the film is gone four hours after the wetting.
        (27, None, Level.NO),
        (29, None, Level.CARE),
        (47, None, Level.CARE),
        (48, None, Level.GO),
        (72, None, Level.GO),
    ],
)
def test_a_slab_dries_for_a_day_and_is_looked_at_for_two(wet_h, dry_h, level):
    wetted = PLAN.pour - timedelta(hours=wet_h)
    looked = None if dry_h is None else PLAN.pour - timedelta(hours=dry_h)

    dry = Dryness((PartDryness(wetted_at=wetted, looked_dry_at=looked),))

    assert found("dryness", dryness=dry)[0].level is level


def test_dryness_is_not_asked_of_floors_under_a_roof():
    for exposure in (Exposure.GARAGE, Exposure.INTERIOR, Exposure.PORCH, Exposure.CARPORT):
        _, verdict = found("slab", exposure=exposure)
        assert "dryness" not in {check.name for check in verdict.checks}


def test_the_order_of_levels_puts_unknown_between_care_and_no():
    assert sorted(Level, key=lambda level: level.severity) == [
        Level.GO,
        Level.CARE,
        Level.UNKNOWN,
        Level.NO,
    ]
    assert Level.worst() is Level.GO
    assert Level.worst(Level.CARE, Level.UNKNOWN) is Level.UNKNOWN


def test_cold_air_outdoors_is_a_meter_for_a_closed_garage_and_a_no_under_the_sky():
    # A card's least air is that of the room where the coat lies; common practice.
    card = replace(FAST, air_min_c=10.0, air_max_c=35.0)
    cold = changed(FAIR, air_c={FAIR.index(PLAN.pour): 9.0})
    hot = changed(FAIR, air_c={FAIR.index(PLAN.pour): 36.0})

    shut, _ = found("air", cold, exposure=Exposure.GARAGE, card=card)
    assert shut.level is Level.CARE
    assert "meter the closed garage first" in shut.sentence
    assert found("air", cold, exposure=Exposure.PORCH, card=card)[0].level is Level.NO
    assert found("air", cold, card=card)[0].level is Level.NO
    assert found("air", hot, exposure=Exposure.GARAGE, card=card)[0].level is Level.NO
