"""A garage's door in the chain: planned, judged and drawn on one slab that feels it open."""

import re
from datetime import date, time, timedelta
from unittest import mock

import numpy as np
import pytest

from dispatch.reads.booking_day import day_picture
from dispatch.reads.chain import lay, setting_for, verdict_on, with_door_open
from dispatch.reads.offers import best_days, offer_for
from dispatch.services import bookings
from dispatch.services.verdicts import judge_booking, replan
from jobs.models import Job
from tests import builders
from tests.builders import NOW

PAST_H = 15 * 24

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def branch(transactional_db):
    row = builders.branch()
    builders.crew(of=row, name="North")
    builders.machine(of=row, name="Grinder 1")
    # Two cool weeks, and a warm dry spell that begins now.
    builders.forecast(
        at=row.depot_place,
        start=NOW - timedelta(hours=PAST_H),
        count=24 * 24,
        issued_at=NOW - timedelta(minutes=30),
        rows={n: {"air_c": 8.0} for n in range(PAST_H)},
        air_c=24.0,
        dew_c=2.0,
    )
    return row


def job(branch, **given):
    return Job.objects.with_floors().get(pk=builders.job(of=branch, **given).pk)


def test_warm_air_through_the_door_warms_a_cool_slab_while_people_work(branch):
    setting = setting_for(job(branch), now=NOW)
    start = NOW + timedelta(hours=21)

    plan = lay(setting, crew_size=2, start=start)

    shut = setting.grounds[0].slab
    opened = with_door_open(setting, plan).grounds[0].slab
    before, noon = shut.index(start) - 1, shut.index(start) + 4
    assert opened.mid_c[before] == pytest.approx(shut.mid_c[before])
    assert opened.mid_c[noon] > shut.mid_c[noon] + 0.3
    assert plan.slab_at_pour_c == pytest.approx(opened.at_c(plan.pour))


def test_plan_verdict_and_picture_see_the_same_slab(branch):
    setting = setting_for(job(branch), now=NOW)
    plan = lay(setting, crew_size=2, start=NOW + timedelta(hours=21))

    verdict = verdict_on(setting, plan)
    picture = day_picture(setting, plan, last_safe_pour=None)

    slab = next(check for check in verdict.checks if check.name == "slab")
    assert slab.value == pytest.approx(plan.slab_at_pour_c, abs=0.6)
    shown = [value for value in picture.slab_c if value is not None]
    assert plan.slab_at_pour_c in shown
    assert len(setting.doors) == 1


def test_a_patio_has_no_door(branch):
    setting = setting_for(job(branch, exposure="open"), now=NOW)
    plan = lay(setting, crew_size=2, start=NOW + timedelta(hours=21))

    assert with_door_open(setting, plan) is setting


def test_an_offer_says_what_the_booking_will_be_judged_by(branch):
    asked = job(branch)
    shown = best_days(asked, now=NOW).best[0]

    booked = offer_for(asked, shown.key, now=NOW)
    row = bookings.book(
        branch=branch,
        job_id=asked.pk,
        version=asked.version,
        ask=booked.ask(),
        by=builders.actor(of=branch),
        now=NOW,
    )

    assert (booked.walk_on, booked.drive_on) == (shown.walk_on, shown.drive_on)
    again = replan(setting_for(asked, now=NOW), list(row.stints.all()))
    assert again.pour == booked.plan.pour
    assert not np.isnan(again.slab_at_pour_c)


def test_the_booking_page_shows_stages_and_hours_beside_the_picture(branch, client):
    asked = job(branch)
    offer = offer_for(asked, best_days(asked, now=NOW).best[0].key, now=NOW)
    row = bookings.book(
        branch=branch,
        job_id=asked.pk,
        version=asked.version,
        ask=offer.ask(),
        by=builders.actor(of=branch),
        now=NOW,
    )
    judge_booking(row, now=NOW)
    client.force_login(builders.user(of=branch))

    with mock.patch("django.utils.timezone.now", return_value=NOW):
        text = client.get(f"/bookings/{row.pk}/").content.decode()

    hours = text.split("Stages and hours")[1].split("</details>")[0]
    assert "grind and repair" in hours
    assert "wait for the set, idle hands" in hours
    assert hours.count("<tr>") > 8
    assert ">wet<" in hours
    assert "5.4 °F over the dew point" in hours  # 3 °C; a difference takes no 32
    assert text.count("<svg") > 1, "one for a desk, one for a phone"
    assert "; free for other work on this site." in text
    ids = re.findall(r' id="(day-[^"]+)"', text)
    assert len(ids) == len(set(ids)) > 3
    assert "All checks" in text


def test_after_the_clocks_change_the_picture_shows_the_clocks_on_the_wall(branch):
    # 2026-11-01, 2 AM: an hour comes twice in Chicago, so 8 AM is nine hours after midnight.
    sunday = branch.at(date(2026, 11, 1), time(8))
    builders.forecast(at=branch.depot_place, start=sunday - timedelta(days=16), count=24 * 24)
    setting = setting_for(job(branch), now=sunday - timedelta(days=1))

    picture = day_picture(setting, lay(setting, crew_size=2, start=sunday), last_safe_pour=None)

    assert picture.stages[0].start_h == 9
    assert picture.clock(picture.stages[0].start_h) == "8 AM"
