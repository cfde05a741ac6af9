"""A garage's door over a day: open while people work, shut while a coat sets."""

from datetime import timedelta

from jobs.rules.doors import open_spans
from jobs.rules.plan import StageKind
from jobs.rules.stages import lay_out
from tests.jobs.rules.floors import EPOXY_BASE, FAST, PLANNING_RATES, clock, floor_of, steady

START = clock("America/Chicago", "2026-05-04 07:00")


def laid(card=FAST):
    return lay_out(
        work=floor_of(450),
        card=card,
        rates=PLANNING_RATES,
        crew_size=2,
        start=START,
        slab=steady(START, 18),
    )


def test_it_is_shut_while_the_base_sets_and_once_the_crew_has_gone():
    plan = laid()
    wait = next(s for s in plan.visits[0].stages if s.kind is StageKind.SET)

    assert open_spans(plan) == ((plan.start, wait.start), (wait.end, plan.end))


def test_a_floor_of_two_days_is_shut_overnight():
    plan = laid(EPOXY_BASE)

    first, second = open_spans(plan)
    assert first == (plan.visits[0].start, plan.visits[0].end)
    assert second == (plan.visits[1].start, plan.visits[1].end)
    assert second[0] - first[1] > timedelta(hours=10)
