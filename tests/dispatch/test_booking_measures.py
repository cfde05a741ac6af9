"""What can be done about a booking: kept with its verdict, printed and shown on its page."""

import json
from datetime import time, timedelta
from io import StringIO

import pytest
from django.core.management import call_command

from dispatch.reads.chain import setting_for
from dispatch.reads.instead import floors_instead
from dispatch.reads.measuring import site_days, times_of
from dispatch.services import verdicts
from dispatch.services.verdicts import judge_booking
from jobs.models import Job
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_offers import weather
from tests.dispatch.test_verdict_rounds import booked, later_forecast, latest

pytestmark = pytest.mark.django_db(transaction=True)
LATER = NOW + timedelta(hours=3)


@pytest.fixture
def house(transactional_db):
    branch = builders.branch()
    builders.crew(of=branch, name="North")
    builders.machine(of=branch, name="Grinder 1")
    weather(branch.depot_place, cloud_pct=95.0)
    return branch


def rained_on(branch, **layers):
    """An open floor booked on a fine day of which the forecast turns."""
    booking = booked(branch)
    later_forecast(branch, cloud_pct=95.0, **({"rain_chance_pct": 80.0} | layers))
    verdicts.judge_due(now=LATER)
    return booking


def test_a_refused_day_keeps_what_was_tried_and_what_came_of_it(house):
    booking = rained_on(house)

    found = {each["kind"]: each for each in latest(booking).measures}

    assert found["canopy"]["then"] == "care"
    assert found["canopy"]["smallest"]
    assert found["canopy"]["cost"] > 0
    assert found["canopy"]["minutes"] > 0
    assert found["prepare"]["then"] == ""
    assert found["canopy"]["because"].startswith("because ")


def test_a_fine_day_keeps_none(house):
    booking = booked(house)
    verdicts.judge_open(now=NOW)

    assert [each["kind"] for each in latest(booking).measures] in ([], ["prepare"])
    assert latest(booking).wet_hours[0].startswith("Wet resin may lie from ")


def test_the_command_prints_measures_and_hours(house, monkeypatch):
    rained_on(house)
    monkeypatch.setattr("django.utils.timezone.now", lambda: LATER)
    out = StringIO()

    call_command("verdicts", "--json", stdout=out)

    row = json.loads(out.getvalue())[0]
    assert row["level"] == "no"
    assert {"canopy", "prepare"} <= {each["kind"] for each in row["measures"]}
    assert all(each["because"] for each in row["measures"])
    assert "Wet resin" in row["wet_hours"][0] or "wet resin" in row["wet_hours"][0]


def test_the_page_shows_each_measure_with_its_then_and_money_only_under_why(house, client):
    booking = rained_on(house)
    client.force_login(builders.user(of=house))

    text = client.get(f"/bookings/{booking.pk}/").content.decode()

    shown, _, why = text.partition("<summary>Why</summary>")
    assert "Put up a canopy or a tarp on a ridge before the pour." in shown
    assert "Then care, because" in shown
    assert "Costs about" not in shown
    assert "Costs about" in why


def test_a_site_that_closes_before_the_crews_day_ends_is_named(house):
    row = builders.job(of=house, exposure="garage")
    job = Job.objects.with_floors().get(pk=row.pk)
    setting = setting_for(job, now=NOW)

    assert times_of(job, site_days(job, now=NOW, setting=setting)).closes_words == (
        "crew's day ends"
    )
    job.site.closes = time(15)
    days = site_days(job, now=NOW, setting=setting)
    assert times_of(job, days).closes_words == "site closes"
    assert times_of(job, days).closes(NOW.date()) == house.at(NOW.date(), time(15))


def test_water_that_runs_to_the_door_is_judged_at_the_threshold(house):
    booking = booked(house, exposure="garage")
    booking.job.floors.update(other_water=["slope"])
    later_forecast(house, cloud_pct=95.0, rain_chance_pct=80.0)

    fresh = booking.__class__.objects.with_job().get(pk=booking.pk)
    verdict = judge_booking(fresh, now=LATER)

    assert verdict.level == "no"
    assert "runs down to the door" in verdict.headline
    tarp = next(each for each in latest(booking).measures if each["kind"] == "tarp")
    assert tarp["then"] in {"go", "care"}


def test_a_waiting_garage_that_does_not_mind_the_rain_is_offered_for_the_day(
    house, client, monkeypatch
):
    monkeypatch.setattr("django.utils.timezone.now", lambda: LATER)
    booking = rained_on(house)
    garage = builders.job(of=house, exposure="garage")
    builders.job(of=house, exposure="open")
    stints = list(booking.stints.all())

    found = floors_instead(booking, stints, latest(booking), now=LATER)

    assert [each.job.pk for each in found] == [garage.pk]
    client.force_login(builders.user(of=house))
    text = client.get(f"/bookings/{booking.pk}/").content.decode()
    assert "Floors that do not mind that day" in text
    assert f"/floors/{garage.pk}/days/" in text


def test_nobody_is_sent_elsewhere_on_a_day_that_is_on(house):
    booking = booked(house)
    builders.job(of=house, exposure="garage")
    verdicts.judge_open(now=NOW)

    assert floors_instead(booking, list(booking.stints.all()), latest(booking), now=NOW) == ()
