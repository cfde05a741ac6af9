"""What is kept only so long goes once a day, and nothing that still stands goes with it."""

from datetime import timedelta

import pytest
from django.contrib.sessions.models import Session

from dispatch.models import Booking
from dispatch.services import retention
from dispatch.services.round import go_round
from jobs.models import AuditEvent, Customer, IdempotencyKey, Job, JobState
from tests import builders
from tests.builders import NOW
from tests.dispatch.days import book

pytestmark = pytest.mark.django_db(transaction=True)
YEAR = timedelta(days=366)


@pytest.fixture
def branch(transactional_db):
    return builders.branch()


def done_floor(branch, *, ago, name="Ada Fields"):
    """A customer whose floor was done so long ago."""
    site = builders.site(owner=builders.customer(of=branch, name=name))
    job = builders.job(of=branch, floors=[builders.floor(at=site)])
    booking = book(branch, builders.crew(of=branch), NOW - ago, job=job, now=NOW - ago)
    Job.objects.filter(pk=job.pk).update(state=JobState.DONE, created_at=NOW - ago)
    Booking.objects.filter(pk=booking.pk).update(
        state="done", drive_on_at=NOW - ago, done_at=NOW - ago
    )
    return site.customer


def test_a_customer_is_erased_years_after_their_last_floor_and_the_booking_stays(branch, settings):
    settings.KEEP_CUSTOMERS_YEARS = 3
    old, new = done_floor(branch, ago=4 * YEAR), done_floor(branch, ago=2 * YEAR, name="Jo March")

    assert retention.sweep(now=NOW) == 1

    old.refresh_from_db()
    new.refresh_from_db()
    assert "Ada" not in old.name
    assert new.name == "Jo March"
    assert Booking.objects.count() == 2
    erased = AuditEvent.objects.get(subject="customer", action="erase")
    assert erased.actor_name == "Slabcast"


def test_it_is_done_once_a_day_and_never_twice_for_one_customer(branch, settings):
    settings.KEEP_CUSTOMERS_YEARS = 3
    done_floor(branch, ago=4 * YEAR)

    came_to = [retention.sweep(now=NOW + hours * timedelta(hours=1)) for hours in (0, 1, 25, 50)]

    assert came_to == [1, 0, 0, 0]


def test_without_the_setting_nobody_is_erased(branch):
    done_floor(branch, ago=40 * YEAR)

    assert retention.sweep(now=NOW) == 0
    assert Customer.objects.get().name == "Ada Fields"


def test_whoever_waits_or_is_booked_stays(branch, settings):
    settings.KEEP_CUSTOMERS_YEARS = 1
    waits = done_floor(branch, ago=9 * YEAR, name="Wait")
    site = waits.sites.first()
    builders.job(of=branch, floors=[builders.floor(at=site)], created_at=NOW - 8 * YEAR)

    assert retention.sweep(now=NOW) == 0


def test_old_repeats_and_sessions_go_with_the_round(branch):
    for name, ago in (("old", 100), ("new", 10)):
        IdempotencyKey.objects.create(
            owner="x", key=name, digest="d", subject="job", subject_id=1,
            created_at=NOW - timedelta(days=ago),
        )  # fmt: skip
        Session.objects.create(
            session_key=name, session_data="", expire_date=NOW + timedelta(days=50 - ago)
        )

    go_round(now=NOW)

    assert [each.key for each in IdempotencyKey.objects.all()] == ["new"]
    assert [each.session_key for each in Session.objects.all()] == ["new"]
