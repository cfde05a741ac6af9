"""Which grinder goes where: access and power of the site decide, and the pace follows it.

Paces are common practice: 225 sq ft an hour for a walk-behind of 20 in, 400 for a planetary.
"""

from datetime import timedelta

import pytest

from dispatch.models import Machine, MachineKind
from dispatch.reads.booked import booked_setting
from dispatch.reads.chain import setting_for
from dispatch.reads.offer import Offer
from dispatch.reads.offers import best_days, offer_for
from dispatch.services import bookings
from dispatch.services.verdicts import replan
from jobs.models import Job
from jobs.rules.machines import LARGE, SMALL
from jobs.rules.plan import Plan, StageKind
from tests import builders
from tests.builders import NOW
from weather.rules.hours import HOUR

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def branch(transactional_db):
    made = builders.branch()
    builders.crew(of=made)
    builders.forecast(
        at=made.depot_place, start=NOW - timedelta(days=15), count=25 * 24, issued_at=NOW
    )
    return made


def own(branch, *rates) -> list[Machine]:
    made = []
    for rate in rates:
        row = builders.machine(of=branch, name=rate.name)
        row.m2_per_h, row.width_m = rate.m2_per_h, rate.width_m
        row.volts, row.amps = rate.volts, rate.amps
        row.save()
        made.append(row)
    return made


def order(branch, **access) -> Job:
    site = builders.site(owner=builders.customer(of=branch), **access)
    made = builders.job(of=branch, floors=[builders.floor(at=site, area_m2=55.0)])
    return Job.objects.with_floors().get(pk=made.pk)


def best(job) -> Offer:
    return best_days(job, now=NOW).best[0]


def grind_h(plan: Plan) -> float:
    stages = (stage for visit in plan.visits for stage in visit.stages)
    return sum((each.end - each.start) / HOUR for each in stages if each.kind is StageKind.GRIND)


WIDE = {"way_in_m": 2.4, "volts": 240, "amps": 30}


def test_a_wide_site_with_power_takes_the_planetary_grinder_at_its_pace(branch):
    small, large = own(branch, SMALL, LARGE)

    wide, narrow = best(order(branch, **WIDE)), best(order(branch, **{**WIDE, "way_in_m": 0.7}))

    assert (wide.grinder, narrow.grinder) == (large, small)
    # 55 m² (592 sq ft) at 400 and at 225 sq ft an hour, and a quarter hour of proving.
    assert grind_h(wide.plan) == pytest.approx(592 / 400 + 0.25, abs=0.02)
    assert grind_h(narrow.plan) == pytest.approx(592 / 225 + 0.25, abs=0.02)


def test_an_unknown_site_is_no_reason_to_send_the_large_one(branch):
    small, _ = own(branch, SMALL, LARGE)

    assert best(order(branch)).grinder == small


def test_where_none_may_be_used_every_day_says_why(branch):
    own(branch, LARGE)

    found = best_days(order(branch, way_in_m=0.7, volts=120, amps=20), now=NOW)

    assert not found.best
    assert "does not fit through 0.70 m (2.3 ft)" in found.nothing


def test_where_the_fast_one_is_out_the_slow_one_goes_and_the_day_is_longer(branch):
    small, large = own(branch, SMALL, LARGE)
    job = order(branch, **WIDE)
    shown = best(job)
    builders.absence(
        who=large.resource, start=shown.plan.start - 2 * HOUR, end=shown.plan.end + 2 * HOUR
    )

    found = offer_for(job, shown.key, now=NOW)

    assert found is not None
    assert found.grinder == small
    assert grind_h(found.plan) > grind_h(shown.plan)
    assert found.plan.end > shown.plan.end


def test_a_booking_is_judged_at_the_pace_of_the_grinder_that_it_claims(branch):
    _, large = own(branch, SMALL, LARGE)
    job = order(branch, **WIDE)
    offer = offer_for(job, best(job).key, now=NOW)

    row = bookings.book(
        branch=branch,
        job_id=job.pk,
        version=job.version,
        ask=offer.ask(),
        by=builders.actor(of=branch),
        now=NOW,
    )
    stints = list(row.stints.order_by("number"))

    assert list(stints[0].machines.all()) == [large]
    assert replan(booked_setting(job, stints, now=NOW), stints).end == offer.plan.end
    assert replan(setting_for(job, now=NOW), stints).end > offer.plan.end


def test_grinders_of_which_nobody_said_anything_go_everywhere_at_the_branchs_pace(branch):
    plain = builders.machine(of=branch, kind=MachineKind.GRINDER)

    for access in ({}, WIDE, {"way_in_m": 0.6, "volts": 120, "amps": 15}):
        offer = best(order(branch, **access))
        assert offer.grinder == plain
        assert grind_h(offer.plan) == pytest.approx(592 / 225 + 0.25, abs=0.02)
