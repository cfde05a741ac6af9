"""Rates: what a crew's size and a floor's measures do to the hours of each stage."""

from dataclasses import replace

import pytest

from jobs.rules.plan import StageKind, Work
from jobs.rules.rates import Pace, Rates, stage_hours
from jobs.rules.refusals import CannotPlan, NeedsTwo
from tests.jobs.rules.floors import PLANNING_RATES, floor_of

GARAGE = floor_of(450, edge_ft=86, crack_ft=20)
FIXED = {StageKind.SET_UP, StageKind.MASK, StageKind.PACK}


def test_more_people_shorten_all_but_set_up_mask_and_pack():
    two = stage_hours(work=GARAGE, rates=PLANNING_RATES, crew_size=2)
    four = stage_hours(work=GARAGE, rates=PLANNING_RATES, crew_size=4)

    for kind, hours in two.items():
        assert four[kind] == pytest.approx(hours if kind in FIXED else hours / 2)


def test_readings_and_fillers_do_not_hurry_for_more_people():
    rates = Rates()
    two = stage_hours(work=GARAGE, rates=rates, crew_size=2)[StageKind.GRIND]
    four = stage_hours(work=GARAGE, rates=rates, crew_size=4)[StageKind.GRIND]

    assert four - rates.prove_h == pytest.approx((two - rates.prove_h) / 2)


def test_a_pace_has_a_least_time():
    assert PLANNING_RATES.base.hours(1) == 0.5
    assert PLANNING_RATES.base.hours(1000) > 0.5


def test_three_people_on_a_big_garage():
    # 700 sq ft: grinding 3.85 h and three coats of work at 1.4 h for two, two thirds for three.
    hours = stage_hours(work=floor_of(700), rates=PLANNING_RATES, crew_size=3)

    assert sum(hours.values()) == pytest.approx(1.5 + (3.85 + 3 * 1.4) * 2 / 3)


def test_resin_needs_two_and_a_crew_somebody():
    with pytest.raises(NeedsTwo, match="two people"):
        stage_hours(work=GARAGE, rates=Rates(), crew_size=1)
    with pytest.raises(CannotPlan, match="nobody"):
        stage_hours(work=GARAGE, rates=Rates(), crew_size=0, resin=False)


def test_stages_that_take_no_time_are_left_out():
    bare = Work(area_m2=40, edge_m=26)
    hours = stage_hours(work=bare, rates=replace(Rates(), vacuum=Pace()), crew_size=2)

    assert not {StageKind.VACUUM, StageKind.VERTICALS, StageKind.ABRADE} & set(hours)


@pytest.mark.parametrize("wrong", [{"fixed_h": -1}, {"least_h": -1}, {"m2_per_h": 0}])
def test_a_pace_without_sense_is_refused(wrong):
    with pytest.raises(ValueError, match="zero"):
        Pace(**wrong)
