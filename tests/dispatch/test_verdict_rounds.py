"""Verdicts on stored bookings: worked out on each forecast, kept, and turned into needs."""

from datetime import timedelta

import pytest

from dispatch.models import Booking, Notice, NoticeKind, StampKind, StoredVerdict
from dispatch.reads import needs
from dispatch.reads.offers import best_days
from dispatch.services import bookings, stamps, verdicts
from jobs.models import Job
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_offers import PAST, weather

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def house(transactional_db):
    branch = builders.branch()
    builders.crew(of=branch, name="North")
    builders.machine(of=branch, name="Grinder 1")
    return branch


def booked(branch, *, exposure: str = "open") -> Booking:
    """A floor booked on the best day of the forecast that is stored."""
    row = builders.job(of=branch, exposure=exposure)
    job = Job.objects.with_floors().get(pk=row.pk)
    offer = best_days(job, now=NOW).best[0]
    return bookings.book(
        branch=branch,
        job_id=job.pk,
        version=0,
        ask=offer.ask(),
        by=builders.actor(of=branch),
        now=NOW,
    )


def later_forecast(branch, *, after: timedelta = timedelta(hours=2), **layers) -> None:
    """A newer issue for the depot's place, as seen from NOW."""
    builders.forecast(
        at=branch.depot_place,
        start=NOW - PAST,
        count=24 * 24,
        issued_at=NOW + after,
        **layers,
    )


def latest(booking: Booking) -> StoredVerdict:
    return StoredVerdict.objects.get(stint__booking=booking, latest=True)


def test_a_booking_on_a_fine_day_is_judged_go_and_needs_nobody(house):
    weather(house.depot_place, cloud_pct=95.0)  # June sun would make the slab too hot
    booking = booked(house)

    assert verdicts.judge_open(now=NOW) == 1

    verdict = latest(booking)
    assert verdict.level == "go"
    assert verdict.forecast.source == "nws"
    assert not [need for need in needs.everything(house, now=NOW) if need.kind == "weather"]


def test_a_forecast_that_turns_to_rain_makes_it_a_need_with_numbers_and_an_answer(house):
    weather(house.depot_place, cloud_pct=95.0)
    booking = booked(house)
    verdicts.judge_open(now=NOW)

    later_forecast(house, cloud_pct=95.0, rain_chance_pct=80.0)
    verdicts.judge_due(now=NOW + timedelta(hours=3))

    assert latest(booking).level == "no"
    assert "80 %" in latest(booking).headline
    need = next(
        each
        for each in needs.everything(house, now=NOW + timedelta(hours=3))
        if each.kind == "weather"
    )
    assert need.level == "no"
    assert need.answer_url_name == "move"
    assert StoredVerdict.objects.filter(stint__booking=booking).count() == 2


def test_the_same_forecast_is_not_judged_twice_within_the_hour(house):
    weather(house.depot_place)
    booked(house)

    assert verdicts.judge_due(now=NOW) == 1
    assert verdicts.judge_due(now=NOW + timedelta(minutes=1)) == 0
    assert verdicts.judge_due(now=NOW + timedelta(hours=2)) == 1
    assert StoredVerdict.objects.filter(latest=True).count() == 1


def test_a_forecast_of_yesterday_is_unknown_and_never_green(house):
    weather(house.depot_place)
    booking = booked(house, exposure="open")
    day_before = booking.stints.get().start - timedelta(hours=12)

    verdicts.judge_open(now=max(day_before, NOW + timedelta(hours=26)))

    assert latest(booking).level in {"unknown", "no"}


def test_a_colder_forecast_moves_the_drive_on_later_and_tells_the_customer_once(house):
    weather(house.depot_place, air_c=24.0)
    booking = booked(house, exposure="garage")
    promised = booking.drive_on_at

    later_forecast(house, air_c=11.0, dew_c=2.0)
    verdicts.judge_due(now=NOW + timedelta(hours=3))
    verdicts.judge_open(now=NOW + timedelta(hours=4))

    booking.refresh_from_db()
    assert booking.drive_on_at > promised
    assert Notice.objects.filter(kind=NoticeKind.DRIVE_ON_LATER).count() == 1


def test_a_warmer_forecast_never_moves_the_promise_earlier(house):
    weather(house.depot_place, air_c=14.0)
    booking = booked(house, exposure="garage")
    promised = booking.drive_on_at

    later_forecast(house, air_c=26.0)
    verdicts.judge_due(now=NOW + timedelta(hours=3))

    booking.refresh_from_db()
    assert booking.drive_on_at == promised


def test_a_coated_floor_stays_under_watch_until_its_drive_on(house):
    weather(house.depot_place, air_c=24.0)
    booking = booked(house, exposure="garage")
    stint = booking.stints.get()
    crew = builders.actor(of=house)
    top_end = stint.end - timedelta(minutes=30)
    stamps.stamp(stint, kind=StampKind.TOPPED, by=crew, now=top_end)
    stamps.stamp(stint, kind=StampKind.LEFT, by=crew, now=stint.end)
    booking.refresh_from_db()
    promised = booking.drive_on_at

    later_forecast(house, after=stint.end - NOW, air_c=6.0, dew_c=0.0)
    assert verdicts.watch_coated(now=stint.end + timedelta(minutes=5)) == 1
    assert verdicts.watch_coated(now=stint.end + timedelta(minutes=6)) == 0

    booking.refresh_from_db()
    assert booking.state == "done"
    assert booking.drive_on_at > promised
