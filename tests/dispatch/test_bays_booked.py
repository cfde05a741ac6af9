"""A floor with joints, booked with one crew: laid bay by bay where that is done sooner."""

from datetime import timedelta

import numpy as np
import pytest

from dispatch.reads.booked import booked_as
from dispatch.reads.chain import lay, setting_for
from dispatch.reads.measuring import situation_of
from dispatch.reads.offers import best_days, offer_for
from dispatch.services import bookings
from dispatch.services.verdicts import judge_booking, replan
from jobs.models import Job
from jobs.rules.bays import divisions, lay_in_bays
from jobs.rules.catalogue import ONE_DAY
from jobs.rules.many_starts import lay_many
from jobs.rules.plan import StageKind
from jobs.rules.rates import Rates
from jobs.rules.stages import lay_out
from tests import builders
from tests.builders import NOW
from tests.jobs.rules.floors import clock, floor_of, steady
from weather.rules.hours import HOUR

BAYS = 4


@pytest.fixture
def branch(transactional_db):
    made = builders.branch()
    builders.crew(of=made, installers=4)
    builders.machine(of=made)
    builders.forecast(
        at=made.depot_place, start=NOW - timedelta(days=15), count=25 * 24, issued_at=NOW
    )
    return made


def order(branch, *, bays=BAYS, area_m2=140.0, closes=None) -> Job:
    site = builders.site(owner=builders.customer(of=branch), closes=closes)
    floor = builders.floor(at=site, area_m2=area_m2, bays=bays)
    made = builders.job(of=branch, floors=[floor])
    return Job.objects.with_floors().get(pk=made.pk)


def booked(branch, job):
    shown = best_days(job, now=NOW).best[0]
    offer = offer_for(job, shown.key, now=NOW)
    row = bookings.book(
        branch=branch,
        job_id=job.pk,
        version=job.version,
        ask=offer.ask(),
        by=builders.actor(of=branch),
        now=NOW,
    )
    return offer, row


def bases(plan) -> int:
    kinds = [stage.kind for visit in plan.visits for stage in visit.stages]
    return kinds.count(StageKind.BASE)


def test_a_floor_with_joints_is_offered_bay_by_bay_where_it_ends_sooner(branch):
    setting = setting_for(order(branch, bays=1), now=NOW)

    offer = best_days(order(branch), now=NOW).best[0]
    whole = lay(setting, crew_size=4, start=offer.plan.start)

    assert bases(offer.plan) == 2, "two sections of two bays: four fixed parts cost more"
    assert offer.plan.end < whole.end


def test_a_floor_too_long_for_the_day_fits_it_where_joints_divide_it(branch):
    setting = setting_for(order(branch), now=NOW)
    start = best_days(order(branch), now=NOW).best[0].plan.start
    ends = [lay(setting, crew_size=4, start=start, bays=bays, door=False).end for bays in (2, 1)]
    between = (ends[0] + (ends[1] - ends[0]) / 2).astimezone(branch.tz).time()

    whole = best_days(order(branch, bays=1, closes=between), now=NOW)
    joints = best_days(order(branch, closes=between), now=NOW).best

    assert not whole.best
    assert any("It takes" in each.why for each in whole.refused)
    assert {len(offer.plan.visits) for offer in joints} == {1}
    assert {bases(offer.plan) for offer in joints} == {2}


@pytest.mark.django_db(transaction=True)
def test_what_was_booked_in_bays_is_judged_and_drawn_in_bays(branch):
    job = order(branch)

    offer, row = booked(branch, job)
    stints = list(row.stints.order_by("number"))
    setting = setting_for(job, now=NOW)
    again = replan(setting, stints)

    assert booked_as(stints).bays == 2
    assert again.visits == offer.plan.visits
    assert again.drive_on == offer.plan.drive_on
    measured = situation_of(row, stints, setting=setting).judged().plan
    assert abs(measured.end - again.end) < timedelta(minutes=5)
    assert judge_booking(row, now=NOW) is not None
    assert stints[0].verdicts.filter(latest=True).exists()


def test_without_joints_or_with_one_bay_nothing_changes(branch):
    job = order(branch, bays=1)

    offer, row = booked(branch, job)

    assert bases(offer.plan) == 1
    assert booked_as(list(row.stints.all())).bays == 1


@pytest.mark.parametrize("slab_c", [12.0, 21.0, 28.0])
@pytest.mark.parametrize("bays", [2, 4])
def test_the_rough_plan_of_bays_lies_near_the_exact_one(slab_c, bays):
    # A rough plan orders and thins out candidates: a quarter of an hour is its own grain.
    start = clock("America/Chicago", "2026-06-02 07:00")
    slab = steady(start, slab_c)
    given = {"work": floor_of(900), "card": ONE_DAY, "rates": Rates(), "crew_size": 3}

    rough = lay_many(**given, start_h=np.array([(start - slab.start) / HOUR]), slab=slab, bays=bays)
    whole = lay_out(**given, start=start, slab=slab)
    laid = [lay_in_bays(**given, bays=n, start=start, slab=slab) for n in divisions(bays)]
    exact = min(plan.end for plan in (whole, *laid))

    assert rough.end_h[0] == pytest.approx((exact - slab.start) / HOUR, abs=0.25)
