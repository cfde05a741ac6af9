"""Readings taken on site: kept, believed by the slab at once, and never made into a dry slab."""

from dataclasses import replace
from datetime import timedelta

import pytest

from dispatch.reads.chain import lay, setting_for, verdict_on
from jobs.models import AuditEvent, SiteReading
from jobs.refusals import Invalid, NotFound
from jobs.rules.site_readings import NewReading
from jobs.services import dryness, readings
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db(transaction=True)
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
READ = NewReading(at=NOW - HOUR, slab_c=21.0)


@pytest.fixture
def branch(transactional_db):
    return builders.branch()


@pytest.fixture
def job(branch):
    builders.forecast(
        at=branch.depot_place,
        start=NOW - 2 * DAY,
        count=13 * 24,
        issued_at=NOW,
        air_c=12.0,
        dew_c=4.0,
    )
    return builders.job(of=branch)


def enter(branch, job, new=READ, *, now=NOW, **changed):
    floor = job.floors.get()
    by = builders.actor(of=branch)
    return readings.enter(
        branch=branch, floor_id=floor.pk, new=replace(new, **changed), by=by, now=now
    )


def test_a_reading_moves_the_slab_to_it_and_narrows_its_band(branch, job):
    before = setting_for(job, now=NOW).grounds[0]
    enter(branch, job)

    after = setting_for(job, now=NOW).grounds[0]

    assert before.slab.at_c(NOW) < 17
    assert after.slab.at_c(NOW) == pytest.approx(21, abs=0.5)
    i = before.slab.index(NOW)
    assert (
        after.slab.warm_c[i] - after.slab.cold_c[i] < before.slab.warm_c[i] - before.slab.cold_c[i]
    )
    assert before.slab.weak
    assert not after.slab.weak
    assert after.read_lately


def test_the_newest_reading_counts_and_an_old_one_fades(branch, job):
    enter(branch, job, at=NOW - 5 * HOUR, slab_c=30.0)
    enter(branch, job)

    assert setting_for(job, now=NOW).grounds[0].slab.at_c(NOW) == pytest.approx(21, abs=0.5)
    days_later = setting_for(job, now=NOW + 5 * DAY).grounds[0]
    assert not days_later.read_lately
    assert days_later.slab.at_c(NOW + 5 * DAY) < 17


def test_the_plan_is_laid_on_what_was_read(branch, job):
    plain = lay(setting_for(job, now=NOW), crew_size=2, start=NOW + HOUR)
    enter(branch, job, slab_c=27.0)

    read = lay(setting_for(job, now=NOW), crew_size=2, start=NOW + HOUR)

    assert read.slab_at_pour_c > plain.slab_at_pour_c + 5
    assert read.end < plain.end


def test_moisture_within_the_limit_is_kept_and_still_no_dry_slab(branch, job):
    floor = job.floors.get()
    floor.exposure = "open"
    floor.save()
    by = builders.actor(of=branch)
    dryness.note(branch=branch, floor_id=floor.pk, wetted_at=NOW - 30 * HOUR, by=by, now=NOW)
    metered = {"slab_c": None, "moisture": 3.0, "moisture_method": "percent"}
    enter(branch, job, **metered, within_limit=True)

    setting = setting_for(job, now=NOW)
    seen = setting.grounds[0].dryness
    verdict = verdict_on(setting, lay(setting, crew_size=2, start=NOW + 2 * HOUR))

    assert seen.metered
    # A number within the limit does not take the wetting back: care at best.
    named = next(check for check in verdict.checks if check.name == "dryness")
    assert named.level != "go"


def test_a_wetting_after_the_meter_makes_it_worth_nothing(branch, job):
    floor = job.floors.get()
    metered = {"slab_c": None, "moisture": 3.0, "moisture_method": "percent"}
    enter(branch, job, **metered, within_limit=True, at=NOW - 5 * HOUR)
    assert setting_for(job, now=NOW).grounds[0].dryness.metered

    by = builders.actor(of=branch)
    dryness.note(branch=branch, floor_id=floor.pk, wetted_at=NOW - HOUR, by=by, now=NOW)

    assert not setting_for(job, now=NOW).grounds[0].dryness.metered


def test_a_newer_reading_over_the_limit_takes_the_old_ones_place(branch, job):
    metered = {"slab_c": None, "moisture": 3.0, "moisture_method": "percent"}
    enter(branch, job, **metered, within_limit=True, at=NOW - 5 * HOUR)
    enter(branch, job, **metered | {"moisture": 5.8}, within_limit=False)

    assert setting_for(job, now=NOW).grounds[0].dryness is None


def test_a_phone_that_sends_twice_is_one_reading(branch, job):
    by = builders.actor(of=branch)
    for _ in range(2):
        readings.enter(branch=branch, floor_id=job.floors.get().pk, new=READ, by=by, now=NOW)

    assert SiteReading.objects.count() == 1
    assert AuditEvent.objects.filter(action="enter reading").count() == 1


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"slab_c": 200.0}, "slab_c"),
        ({"slab_c": float("nan")}, "slab_c"),
        ({"air_c": -80.0}, "air_c"),
        ({"humidity_pct": 0.0}, "humidity_pct"),
        ({"humidity_pct": 101.0}, "humidity_pct"),
        ({"slab_c": None}, "slab_c"),
        ({"at": NOW + HOUR}, "at"),
        ({"at": NOW - 90 * DAY}, "at"),
        ({"moisture": 4.0}, "moisture_method"),
        ({"moisture_method": "guess"}, "moisture_method"),
        ({"moisture_method": "percent"}, "moisture"),
        ({"moisture_method": "percent", "moisture": 60.0}, "moisture"),
        ({"moisture_method": "in_slab", "moisture": 101.0}, "moisture"),
        ({"moisture_method": "sheet"}, "within_limit"),
        ({"moisture_method": "sheet", "moisture": 1.0, "within_limit": True}, "moisture"),
        ({"within_limit": True}, "within_limit"),
        ({"spot": "x" * 81}, "spot"),
    ],
)
def test_what_no_instrument_says_is_refused_with_a_sentence(branch, job, changed, field):
    with pytest.raises(Invalid) as refusal:
        enter(branch, job, **changed)

    assert field in refusal.value.problems
    assert refusal.value.problems[field].endswith(".")
    assert not SiteReading.objects.exists()


def test_another_branchs_floor_is_not_found(branch, job):
    with pytest.raises(NotFound):
        enter(builders.branch(), job)
