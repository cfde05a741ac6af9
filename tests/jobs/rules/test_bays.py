"""Large floors: sections at joints, several crews, and as many grinders as there are.

A shop of 3,000 sq ft in four bays on the planning card; the hours were worked out on paper.
"""

from itertools import pairwise

import pytest

from jobs.rules.bays import lay_in_bays
from jobs.rules.plan import StageKind
from jobs.rules.refusals import CannotPlan
from jobs.rules.stages import elapsed_h, lay_out, prepare_h
from tests.jobs.rules.floors import EPOXY_BASE, FAST, PLANNING_RATES, clock, floor_of, steady
from weather.rules.hours import HOUR

START = clock("America/Boise", "2026-09-15 07:00")
SECOND = clock("America/Boise", "2026-09-16 07:00")
SHOP = floor_of(3000)


def bays(count=4, *, second_start=SECOND, crew_size=4, card=FAST, slab_c=17, **more):
    return lay_in_bays(
        work=SHOP,
        bays=count,
        card=card,
        rates=PLANNING_RATES,
        crew_size=crew_size,
        start=START,
        second_start=second_start,
        slab=steady(START, slab_c),
        **more,
    )


def test_two_crews_prepare_on_the_first_day_and_coat_bay_by_bay_on_the_second():
    plan = bays()

    first, second = ((visit.end - visit.start) / HOUR for visit in plan.visits)
    assert first == pytest.approx(9.75)  # 9.25 h of preparing, and packing
    # 12 x 0.75 h of base, scrape and top, and packing: no bay is waited for.
    assert second == pytest.approx(9.5)
    assert not any(stage.kind.wait for stage in plan.visits[1].stages)


def test_in_one_piece_the_second_day_is_longer_by_the_wait():
    whole = bays(1)

    second = whole.visits[1]
    assert (second.end - second.start) / HOUR == pytest.approx(11.5)  # over a day of 11 h


def test_no_grinding_beside_wet_resin():
    plan = bays(second_start=None)

    kinds = [stage.kind for visit in plan.visits for stage in visit.stages]
    assert StageKind.GRIND not in kinds[kinds.index(StageKind.BASE) :]


def test_every_bay_is_based_scraped_and_topped_once_and_in_order():
    stages = bays().visits[1].stages

    for kind in (StageKind.BASE, StageKind.SCRAPE, StageKind.TOP):
        assert sum(stage.kind is kind for stage in stages) == 4
    assert all(before.end == after.start for before, after in pairwise(stages))
    assert stages[0].kind is StageKind.BASE
    assert stages[-1].kind is StageKind.PACK


def test_promises_count_from_the_last_bay():
    plan = bays()

    assert plan.top_end == [s.end for s in plan.visits[1].stages if s.kind is StageKind.TOP][-1]
    assert (plan.drive_on - plan.top_end) / HOUR == 48
    # Wednesday afternoon and 48 hours: Friday.
    assert plan.drive_on >= clock("America/Boise", "2026-09-18 16:00")


def test_one_crew_takes_days():
    assert elapsed_h(bays(crew_size=2)) > 30


def test_one_bay_is_the_whole_floor():
    whole = lay_out(
        work=SHOP,
        card=FAST,
        rates=PLANNING_RATES,
        crew_size=4,
        start=START,
        slab=steady(START, 17),
    )

    assert bays(1, second_start=None) == whole


def test_the_last_bay_is_waited_for_on_a_cold_slab():
    waits = [stage for stage in bays(slab_c=6).visits[1].stages if stage.kind.wait]

    assert waits
    assert all(stage.hands == 0 for stage in waits)


@pytest.mark.parametrize(("count", "card"), [(0, FAST), (99, FAST), (4, EPOXY_BASE)])
def test_what_cannot_be_laid_in_bays_is_refused(count, card):
    with pytest.raises(CannotPlan):
        bays(count, card=card)


def test_one_grinder_does_not_go_faster_for_four_people():
    four = {"work": SHOP, "rates": PLANNING_RATES, "crew_size": 4}

    # 0.55 h by 100 sq ft is 16.5 h for one machine, 8.25 h for two.
    both = prepare_h(**four, grinders=2)
    assert both == pytest.approx(prepare_h(**four))
    assert prepare_h(**four, grinders=1) == pytest.approx(both + 8.25)
    with pytest.raises(CannotPlan, match="no grinder"):
        prepare_h(**four, grinders=0)
