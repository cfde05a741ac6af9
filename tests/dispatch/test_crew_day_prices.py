"""Prices that a stored plan leaves for the search for days: by crew and day, and nobody else's."""

from datetime import timedelta

import pytest

from dispatch.models import PlanState, StoredPlan
from dispatch.reads.crew_day_prices import crew_day_prices
from dispatch.reads.free_time import prepared
from dispatch.reads.offers import best_days
from jobs.models import Job
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db(transaction=True)
DAY = timedelta(days=1)
WORTH = "what this crew's day is worth to other floors"


@pytest.fixture
def branch(transactional_db):
    row = builders.branch()
    for name in ("North", "South"):
        builders.crew(of=row, name=name)
        builders.machine(of=row, name=f"Grinder {name}")
    builders.forecast(
        at=row.depot_place,
        start=NOW - 15 * DAY,
        count=24 * 24,
        issued_at=NOW - timedelta(minutes=30),
    )
    return row


def plan(branch, *, crew, cents, made_at=NOW, first=0, **given):
    today = branch.today(NOW)
    days = [str(today + (first + n) * DAY) for n in range(len(cents))]
    return StoredPlan.objects.create(
        branch=branch,
        state=PlanState.READY,
        asked_at=made_at,
        made_at=made_at,
        prices={"crews": [crew.pk], "days": days, "cents": [cents]},
        **given,
    )


def prices(branch, days=5):
    staff = prepared(branch, now=NOW, moving=None).staff
    return crew_day_prices(staff, first_day=branch.today(NOW), days=days).tolist()


def test_without_a_plan_nothing_is_priced(branch):
    assert prices(branch) == [[0, 0]] * 5


def test_the_newest_plan_prices_its_own_crews_and_days(branch):
    north = branch.crews.get(name="North")
    plan(branch, crew=north, cents=[999, 999], made_at=NOW - DAY)
    plan(branch, crew=north, cents=[100, 25_050], first=-1)

    found = prices(branch)

    column = [crew.name for crew in prepared(branch, now=NOW, moving=None).staff.crews]
    assert found[0][column.index("North")] == 250.50
    assert sum(map(sum, found)) == 250.50


def test_what_was_asked_without_somebody_and_other_branches_price_nothing(branch):
    north = branch.crews.get(name="North")
    plan(branch, crew=north, cents=[100], away=[{"resource": 1}])
    other = builders.branch(name="Elsewhere")
    plan(other, crew=builders.crew(of=other), cents=[100])

    assert prices(branch) == [[0, 0]] * 5


def test_a_dear_crew_day_is_said_and_another_is_offered_first(branch):
    job = Job.objects.with_floors().get(pk=builders.job(of=branch).pk)
    before = best_days(job, now=NOW).best[0]
    days = (before.day - branch.today(NOW)).days
    plan(branch, crew=before.crew, cents=[0] * days + [80_000])

    after = best_days(job, now=NOW).best

    assert (after[0].crew, after[0].day) != (before.crew, before.day)
    same = [each for each in after if (each.crew, each.day) == (before.crew, before.day)]
    assert all(any(part.why == WORTH for part in each.parts) for each in same)
