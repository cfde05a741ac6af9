"""Breaks by a branch's rule, and the wait as idle time."""

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import pytest

from jobs.rules.plan import StageKind
from jobs.rules.refusals import CannotPlan
from jobs.rules.stages import elapsed_h, idle_spans, lay_out
from tests.jobs.rules.floors import FAST, PLANNING_RATES, clock, floor_of, steady
from weather.rules.hours import HOUR

START = clock("America/Chicago", "2026-05-04 07:00")
RESTED = replace(PLANNING_RATES, break_after_h=4.0, break_h=0.5)


def plan(area_ft2, rates=RESTED, slab_c=18):
    return lay_out(
        work=floor_of(area_ft2),
        card=FAST,
        rates=rates,
        crew_size=2,
        start=START,
        slab=steady(START, slab_c),
    )


def breaks(laid):
    return [s for s in laid.visits[0].stages if s.kind is StageKind.BREAK]


def test_without_a_rule_nobody_rests():
    assert not breaks(plan(900, PLANNING_RATES))


def test_a_long_grind_is_broken_off_after_four_hours():
    laid = plan(1000)

    first = breaks(laid)[0]
    assert first.start == START + 4 * HOUR
    assert first.end - first.start == timedelta(minutes=30)
    assert first.hands == 0
    grinding = [s for s in laid.visits[0].stages if s.kind is StageKind.GRIND]
    assert sum((s.end - s.start) / HOUR for s in grinding) == pytest.approx(5.5)


def test_a_coat_is_never_left_half_laid():
    for area in range(300, 1600, 50):
        laid = plan(area)
        stages = laid.visits[0].stages
        for kind in (StageKind.BASE, StageKind.TOP):
            assert sum(stage.kind is kind for stage in stages) == 1
        assert all(a.end == b.start for a, b in pairwise(stages))


def test_nobody_works_longer_than_the_rule_but_to_finish_a_coat():
    worked = timedelta(0)
    for stage in plan(1000).visits[0].stages:
        worked = timedelta(0) if stage.kind.wait else worked + (stage.end - stage.start)
        assert worked <= 4.5 * HOUR or stage.kind is StageKind.PACK


def test_a_wait_for_the_set_is_a_rest():
    # 430 sq ft: the coat begins within the grace, and the wait of 2 h follows.
    assert not breaks(plan(430, replace(RESTED, break_after_h=5.0)))


def test_breaks_make_a_day_longer_by_themselves_alone():
    longer = elapsed_h(plan(1000)) - elapsed_h(plan(1000, PLANNING_RATES))

    assert longer == pytest.approx(0.5 * len(breaks(plan(1000))))


def test_a_break_after_no_work_is_refused():
    with pytest.raises(CannotPlan, match="after some work"):
        plan(400, replace(RESTED, break_after_h=0.0))


def test_the_wait_is_idle_time_and_a_break_is_not():
    (span,) = idle_spans(plan(1000))

    assert (span[1] - span[0]) / HOUR == pytest.approx(2.0)
