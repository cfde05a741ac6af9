"""Rates and set times learnt from past days, drawn towards what is assumed."""

import pytest

from jobs.rules.learning import (
    COAT,
    PREPARE,
    PRIOR_FLOORS,
    SET,
    WHOLE_BRANCH,
    DayLog,
    hands_and_wait,
    learn,
    shrunk,
    with_learnt,
)
from jobs.rules.plan import StageKind
from jobs.rules.rates import Rates, stage_hours
from jobs.rules.stages import lay_out
from tests.jobs.rules.floors import FAST, PLANNING_RATES, clock, floor_of, steady


def log(*, hands_h=2.5, wait_h=2.0, hands=1.0, wait=1.0, prepare=1.0, crew="North"):
    return DayLog(
        crew=crew,
        prepare_h=4.0,
        hands_h=hands_h,
        wait_h=wait_h,
        pack_h=0.5,
        real_prepare_h=4.0 * prepare,
        real_coat_h=hands_h * hands + wait_h * wait,
        real_pack_h=0.5,
    )


def test_without_a_floor_all_stays_as_it_was_set():
    found = learn([])[WHOLE_BRANCH]

    assert {each.factor for each in found.values()} == {1.0}
    assert {each.floors for each in found.values()} == {0}


def test_as_many_floors_as_the_default_is_worth_go_half_the_way():
    found = shrunk([1.44] * PRIOR_FLOORS)

    assert found.factor == pytest.approx(1.2)  # half way by the logarithm
    assert found.floors == PRIOR_FLOORS


def test_more_floors_come_nearer_to_what_they_say_and_never_beyond():
    factors = [shrunk([1.3] * count).factor for count in (1, 3, 10, 100, 1000)]

    assert factors == sorted(factors)
    assert 1.0 < factors[0] < 1.05
    assert 1.29 < factors[-1] < 1.3


def test_one_bad_day_and_a_nonsense_stamp_do_not_count():
    found = shrunk([1.0] * 9 + [2.9, 12.0, float("nan"), -1.0])

    assert found.factor == pytest.approx(1.0)
    assert (found.floors, found.left_out) == (10, 3)


def test_floors_of_unlike_waits_tell_hands_from_setting():
    logs = [
        log(hands_h=hands_h, wait_h=wait_h, hands=1.2, wait=1.0)
        for hands_h in (2.0, 3.5)
        for wait_h in (1.0, 1.5, 3.0, 4.5)
    ] * 12

    hands, wait = hands_and_wait(logs)

    # The default keeps its own weight, so not quite all of the fifth is learnt.
    assert 1.15 < hands.factor < 1.2
    assert 0.98 < wait.factor < 1.05
    assert hands.floors == wait.floors == len(logs)


def test_floors_all_alike_move_both():
    hands, wait = hands_and_wait([log(hands=1.3, wait=1.3)] * 50)

    assert 1.1 < hands.factor < 1.35
    assert 1.1 < wait.factor < 1.35


def test_crews_are_told_apart_and_together():
    found = learn([log(prepare=1.5)] * 6 + [log(prepare=0.8, crew="South")] * 6)

    assert found["North"][PREPARE].factor > 1.2
    assert found["South"][PREPARE].factor < 0.95
    assert found[WHOLE_BRANCH][PREPARE].floors == 12


def test_a_missing_stamp_is_no_zero():
    half = DayLog("North", 4.0, 2.5, 2.0, 0.5, real_prepare_h=5.0)

    found = learn([half])[WHOLE_BRANCH]

    assert found[PREPARE].floors == 1
    assert found[COAT].floors == found[SET].floors == 0


def test_learnt_factors_make_every_stage_longer_by_themselves():
    floor = floor_of(450, edge_ft=86, crack_ft=20, steps=2)
    plain = stage_hours(work=floor, rates=Rates(), crew_size=2)

    slower = stage_hours(
        work=floor, rates=with_learnt(Rates(), {PREPARE: 1.2, COAT: 1.1}), crew_size=2
    )

    for kind, hours in plain.items():
        by = {StageKind.PACK: 1.0}.get(
            kind, 1.1 if kind in {StageKind.BASE, StageKind.SCRAPE, StageKind.TOP} else 1.2
        )
        assert slower[kind] == pytest.approx(hours * by), kind


@pytest.mark.parametrize(("said", "used"), [(1.5, 1.5), (0.7, 1.0)])
def test_a_set_may_be_learnt_longer_but_never_shorter_than_the_sheet(said, used):
    start = clock("America/Chicago", "2026-05-04 07:00")

    plan = lay_out(
        work=floor_of(450),
        card=FAST,
        rates=with_learnt(PLANNING_RATES, {SET: said}),
        crew_size=2,
        start=start,
        slab=steady(start, 18),
    )

    assert (plan.recoat_from - plan.base_end).total_seconds() / 3600 == pytest.approx(2 * used)
