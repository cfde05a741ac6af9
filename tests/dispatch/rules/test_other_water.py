"""Water that does not fall as rain on the floor: at the threshold, from an edge, in with a car.

The lines are common practice; moderate rain begins at 2.5 mm an hour in the Glossary of
Meteorology of the American Meteorological Society.
"""

from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dispatch.rules.covers import Cover
from dispatch.rules.verdicts import Level, judge
from jobs.rules.other_water import Water, waters
from tests.dispatch.rules.days import OHIO, named
from tests.dispatch.rules.skies import Row, planned, sky, without
from tests.jobs.rules.floors import FAST, clock
from weather.rules.exposures import Exposure

NOW = clock(OHIO, "2026-06-09 18:00")
HOURS, SLAB = sky(
    OHIO,
    {"2026-06-03 00:00": Row(22, 50, 11, 5, 0, 10, 22)},
    issued="2026-06-09 16:00",
    until="2026-06-14 00:00",
)
PLAN = planned(380, clock(OHIO, "2026-06-10 07:30"), SLAB)


def verdict(*seen, hours=HOURS, exposure=Exposure.GARAGE, covers=frozenset()):
    return judge(
        plan=PLAN,
        card=FAST,
        exposure=exposure,
        hours=hours,
        slab=SLAB,
        now=NOW,
        zone=ZoneInfo(OHIO),
        waters=seen,
        covers=covers,
    )


def raining(chance_pct=5.0, mm=0.0):
    return replace(
        HOURS,
        rain_chance_pct=np.full(len(HOURS), float(chance_pct)),
        rain_mm=np.full(len(HOURS), float(mm)),
    )


@pytest.mark.parametrize(
    ("chance_pct", "mm", "level"),
    [
        (29, 0, Level.GO),
        (30, 0, Level.CARE),
        (59, 0, Level.CARE),
        (60, 0, Level.NO),
        (50, 2.5, Level.NO),
        (50, 2.4, Level.CARE),
    ],
)
@pytest.mark.parametrize("kind", [Water.SLOPE, Water.ROOF_EDGE])
def test_rain_that_runs_or_drips_to_a_closed_garage_counts_there(kind, chance_pct, mm, level):
    assert named(verdict(kind, hours=raining(chance_pct, mm)), "water").level is level


def test_a_garage_that_nobody_saw_wet_has_no_such_rule():
    assert not [c for c in verdict(hours=raining(90, 9)).checks if c.name == "water"]


def test_a_tarp_at_the_doorway_keeps_the_slope_off():
    found = verdict(Water.SLOPE, hours=raining(90, 9), covers=frozenset({Cover.TARP}))

    assert not [check for check in found.checks if check.name == "water"]


def test_an_unknown_hour_is_unknown_water():
    gone = without(HOURS, PLAN.pour, "rain_chance_pct")

    assert named(verdict(Water.SLOPE, hours=gone), "water").level is Level.UNKNOWN


def test_snow_of_the_last_days_that_melts_while_the_floor_is_wet_is_care():
    snow = np.zeros(len(HOURS))
    snow[HOURS.index(clock(OHIO, "2026-06-07 03:00"))] = 20.0
    snowed = replace(HOURS, snow_mm=snow)
    frozen = replace(snowed, air_c=np.full(len(HOURS), -3.0))

    assert named(verdict(Water.THAW, hours=snowed), "water").level is Level.CARE
    assert named(verdict(Water.THAW, hours=frozen), "water").level is Level.GO
    assert named(verdict(Water.THAW), "water").level is Level.GO


def test_snow_of_which_nothing_is_known_is_unknown_only_where_it_could_have_fallen():
    silent = replace(HOURS, snow_mm=np.full(len(HOURS), np.nan))
    cold = replace(silent, air_c=np.full(len(HOURS), 2.0))

    assert named(verdict(Water.THAW, hours=silent), "water").level is Level.GO
    assert named(verdict(Water.THAW, hours=cold), "water").level is Level.UNKNOWN


def test_a_wet_car_in_the_day_before_is_care():
    wet = HOURS.rain_mm.copy()
    wet[HOURS.index(PLAN.pour) - 10] = 1.0

    found = named(verdict(Water.VEHICLES, hours=replace(HOURS, rain_mm=wet)), "water")

    assert found.level is Level.CARE
    assert "keep it out" in found.sentence


def test_the_worst_of_several_waters_is_shown():
    found = named(verdict(Water.VEHICLES, Water.SLOPE, hours=raining(90, 0)), "water")

    assert found.level is Level.NO


def test_names_that_nobody_knows_are_no_water():
    assert waters(["slope", "flood", "thaw"]) == (Water.SLOPE, Water.THAW)
