"""The round of background work: safe twice, late and when clocks change; it tidies up."""

from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

from deploy.celery import app
from dispatch import tasks
from dispatch.models import (
    Booking,
    Notice,
    NoticeKind,
    PromiseLevel,
    Stamp,
    StampKind,
    StoredVerdict,
)
from dispatch.reads import pulse
from dispatch.services import round as work
from dispatch.services import verdicts
from tests import builders
from tests.builders import NOW
from tests.dispatch.days import book
from weather.models import Chore, Forecast, Place
from weather.services import Wanted

pytestmark = pytest.mark.django_db(transaction=True)

# In the United States clocks go forward on 2026-03-08 and back on 2026-11-01, at 2 AM.
CHANGES = [datetime(2026, 3, 8, 7, 0, tzinfo=UTC), datetime(2026, 11, 1, 6, 0, tzinfo=UTC)]


@pytest.fixture
def house(transactional_db, settings):
    settings.FORECASTS = "replay"
    return builders.branch()


def test_old_weather_goes_and_what_a_verdict_rests_on_stays(house):
    place = house.depot_place
    issues = [
        builders.forecast(at=place, start=NOW - timedelta(days=days), source="nws")
        for days in (40, 30, 20, 0)
    ]
    booking = book(house, builders.crew(of=house))
    StoredVerdict.objects.create(
        stint=booking.stints.get(), forecast=issues[1], made_at=NOW, level="go", headline="x"
    )
    other = book(house, builders.crew(of=house))
    StoredVerdict.objects.create(
        stint=other.stints.get(), forecast=None, made_at=NOW, level="unknown", headline="x"
    )

    pruned = work.prune(now=NOW)

    assert pruned == 2
    assert set(Forecast.objects.all()) == {issues[1], issues[3]}


def test_pruning_is_done_once_in_six_hours_whoever_asks(house):
    for days in (30, 0):
        builders.forecast(at=house.depot_place, start=NOW - timedelta(days=days))

    first, second = (work.prune(now=NOW + timedelta(minutes=m)) for m in (0, 5))

    assert (first, second) == (1, 0)
    assert Chore.claim("prune weather", every=work.PRUNE_EVERY, now=NOW + timedelta(hours=7))


def test_the_round_prunes(house):
    for days in (30, 0):
        builders.forecast(at=house.depot_place, start=NOW - timedelta(days=days))

    work.go_round(now=NOW)

    assert not Forecast.objects.filter(fetched_at__lt=NOW - timedelta(days=14)).exists()


def test_a_round_done_twice_changes_nothing_more(house):
    builders.crew(of=house)
    first = work.go_round(now=NOW)
    held = (Forecast.objects.count(), StoredVerdict.objects.count())

    again = work.go_round(now=NOW)

    assert first.refreshed == 1
    assert (again.refreshed, again.judged, again.sent) == (0, 0, 0)
    assert (Forecast.objects.count(), StoredVerdict.objects.count()) == held


def test_a_round_that_comes_late_does_once_what_was_missed(house):
    work.go_round(now=NOW)

    late = work.go_round(now=NOW + timedelta(hours=30))

    assert late.refreshed == 1
    assert Forecast.objects.count() == 2


@pytest.mark.parametrize("change", CHANGES)
def test_hours_are_elapsed_hours_also_when_clocks_change(house, change):
    """Work every hour: six rounds around the change refresh six times, no more and no less."""
    place = house.depot_place
    start = change - timedelta(hours=3)
    wanted = [Wanted(place.pk, change + timedelta(days=1))]
    stored = 0
    for tick in range(6 * 12):  # every five minutes, as the clock wakes
        now = start + timedelta(minutes=5 * tick)
        stored += len(work.weather.refresh_due(now=now, wanted=wanted))

    spread = timedelta(minutes=place.pk % 5)
    every = timedelta(hours=1) + spread
    expected = 1 + int((timedelta(hours=6) - timedelta(minutes=5)) / every)
    assert abs(stored - expected) <= 1
    place.refresh_from_db()
    assert start + timedelta(hours=6) - place.checked_at <= every + timedelta(minutes=5)


@pytest.mark.parametrize("change", CHANGES)
def test_a_verdict_over_the_change_of_clocks_is_given(house, change):
    crew = builders.crew(of=house)
    now = change - timedelta(days=1)
    work.go_round(now=now)
    book(house, crew, change + timedelta(hours=8), now=now)

    assert verdicts.judge_due(now=now) == 1
    assert verdicts.judge_due(now=now) == 0


def test_every_tick_has_its_task():
    names = {entry["task"] for entry in app.conf.beat_schedule.values()}
    have = {f"dispatch.tasks.{name}" for name in dir(tasks)}

    assert names <= have


def by_the_loop():
    work.go_round(now=timezone.now())


def by_the_tasks():
    """What Celery's clock wakes, in an order in which one feeds the next."""
    for task in (
        tasks.refresh_forecasts,
        tasks.judge_due,
        tasks.send_due,
        tasks.refresh_prune,
    ):
        task()


@pytest.mark.parametrize("times", [1, 2])
@pytest.mark.parametrize("run", [by_the_loop, by_the_tasks])
def test_loop_and_tasks_do_all_that_is_due_and_do_it_once(house, run, times):
    now = timezone.now()
    crews = [builders.crew(of=house) for _ in range(3)]
    for days in (40, 30):
        builders.forecast(at=house.depot_place, start=now - timedelta(days=days))
    soon = book(house, crews[0], now + timedelta(hours=30), now=now)
    hold = book(house, crews[1], now + timedelta(days=5), now=now, promise=PromiseLevel.PLANNED)
    Booking.objects.filter(pk=hold.pk).update(state="held", held_until=now - timedelta(minutes=1))
    coated = coated_floor(house, crews[2], topped=now - timedelta(hours=2))

    for _ in range(times):
        run()

    hold.refresh_from_db()
    coated.refresh_from_db()
    assert Forecast.objects.filter(source="replay").count() == 1
    assert not Forecast.objects.filter(source="nws").exists()
    assert hold.state == "called_off"
    assert soon.stints.get().verdicts.count() == 1
    assert coated.drive_on_at > now + timedelta(hours=1)
    asked = Notice.objects.filter(booking=soon, kind=NoticeKind.READY_EARLY)
    assert asked.count() == 1
    # Each mail has gone, or waits for the morning; crews read theirs on the telephone.
    assert not Notice.objects.due(now).exclude(kind=NoticeKind.CREW_CHANGE).exists()
    assert sorted(pulse.heartbeat_ages_s(now=now)) == sorted(pulse.KINDS)


def coated_floor(house, crew, *, topped):
    """A floor whose drive-on was promised for an hour from now, far too early."""
    booking = book(house, crew, topped - timedelta(hours=5), now=topped - timedelta(days=2))
    stint = booking.stints.get()
    Stamp.objects.create(
        stint=stint, kind=StampKind.TOPPED, at=topped, noted_at=topped, noted_by="Lead"
    )
    Booking.objects.filter(pk=booking.pk).update(
        state="done", drive_on_at=topped + timedelta(hours=3)
    )
    return booking


def test_the_tasks_may_run_twice(house):
    for _ in range(2):
        by_the_tasks()

    assert Forecast.objects.count() == 1


def test_a_worker_that_died_leaves_a_lease_that_lapses(house):
    place = house.depot_place
    Place.objects.filter(pk=place.pk).update(leased_until=NOW + timedelta(minutes=3))

    busy = work.refresh_forecasts(now=NOW)
    later = work.refresh_forecasts(now=NOW + timedelta(minutes=4))

    assert (busy, later) == (0, 1)
