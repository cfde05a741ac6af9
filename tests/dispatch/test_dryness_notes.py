"""Notes of wet and dry slabs: kept, counted by the verdict at once, never taken for a reading."""

from datetime import timedelta

import pytest
from django.urls import reverse

from dispatch.models import Booking, StoredVerdict
from jobs.models import AuditEvent, FloorPart
from jobs.refusals import Invalid, NotFound
from jobs.services import dryness
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_office_pages import Office

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def branch(transactional_db):
    return builders.branch()


@pytest.fixture
def patio(branch):
    return builders.job(of=branch, exposure="open").floors.get()


def note(branch, floor, **seen) -> FloorPart:
    return dryness.note(
        branch=branch, floor_id=floor.pk, by=builders.actor(of=branch), now=NOW, **seen
    )


def test_a_sighting_is_kept_with_who_and_when(branch, patio):
    note(branch, patio, wetted_at=NOW - timedelta(hours=30))
    part = note(branch, patio, looked_dry_at=NOW - timedelta(hours=5))

    assert part.wetted_at == NOW - timedelta(hours=30)
    assert part.looked_dry_at == NOW - timedelta(hours=5)
    assert part.noted_at == NOW
    assert AuditEvent.objects.filter(subject="floor", action="note dryness").count() == 2


def test_a_new_wetting_makes_an_old_dry_look_worth_nothing(branch, patio):
    note(branch, patio, looked_dry_at=NOW - timedelta(hours=5))

    assert note(branch, patio, wetted_at=NOW - timedelta(hours=1)).looked_dry_at is None


@pytest.mark.parametrize(
    ("seen", "sentence"),
    [
        ({}, "Please say when"),
        ({"wetted_at": NOW + timedelta(hours=1)}, "still to come"),
        ({"looked_dry_at": NOW - timedelta(hours=40)}, "wetted after that"),
    ],
)
def test_what_cannot_have_been_seen_is_refused(branch, patio, seen, sentence):
    note(branch, patio, wetted_at=NOW - timedelta(hours=30))

    with pytest.raises(Invalid, match=sentence):
        note(branch, patio, **seen)


def test_another_branchs_floor_is_not_found(branch, patio):
    with pytest.raises(NotFound):
        note(builders.branch(), patio, wetted_at=NOW)


def test_a_note_on_the_booking_page_is_judged_at_once(client, transactional_db):
    office = Office()
    client.force_login(office.user)
    office.book(client)
    booking = Booking.objects.get()
    floor = booking.job.floors.get()
    floor.exposure = "open"
    floor.save()
    local = booking.stints.get().start.astimezone(office.branch.tz)
    seen = min(local, office.now.astimezone(office.branch.tz) - timedelta(minutes=5))

    answer = client.post(
        reverse("note-dryness", args=[booking.pk]),
        {"surface": floor.pk, "seen": "wetted", "at": f"{seen:%Y-%m-%dT%H:%M}"},
    )

    assert answer.status_code == 302
    verdict = StoredVerdict.objects.get(stint__booking=booking, latest=True)
    assert any(check["name"] == "dryness" for check in verdict.checks)
    assert "wetted" in client.get(reverse("booking", args=[booking.pk])).content.decode()


def test_a_time_that_is_none_is_said(client, transactional_db):
    office = Office()
    client.force_login(office.user)
    office.book(client)
    booking = Booking.objects.get()

    answer = client.post(
        reverse("note-dryness", args=[booking.pk]),
        {"surface": booking.job.floors.get().pk, "seen": "wetted", "at": "yesterday"},
    )

    assert answer.status_code == 422
    assert "no day and time" in answer.content.decode()
