"""Other water on the pages: when the customer keeps it off, and why a day is not on."""

import pytest

from dispatch.forms import FloorForm
from dispatch.models import StoredVerdict
from dispatch.reads.water_asks import reason_for_customer
from dispatch.services import links
from jobs.models import AuditEvent
from tests import builders
from tests.dispatch.days import NOW, book

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def booking(monkeypatch):
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)
    branch = builders.branch()
    found = book(branch, builders.crew(of=branch))
    found.job.floors.update(other_water=["irrigation", "slope"])
    return found


def test_the_customer_reads_from_when_until_when(client, booking):
    text = client.get(f"/c/{links.for_booking(booking, now=NOW).token}/").content.decode()

    # The crew comes on Tue Jul 7 at 8 AM.
    assert (
        "Keep sprinklers and irrigation off from Mon Jul 6, 8:00 AM until Wed Jul 8, 6:00 PM."
        in text
    )
    assert "dam for the threshold" not in text


def test_the_office_sees_what_crew_and_customer_see_to(client, booking):
    client.force_login(builders.user(of=booking.branch))

    text = client.get(f"/bookings/{booking.pk}/").content.decode()

    assert "Take a tarp and a dam for the threshold" in text
    assert "Keep sprinklers and irrigation off" in text


def verdict(level, *checks):
    kept = [{"name": name, "level": each, "sentence": "."} for name, each in checks]
    return StoredVerdict(level=level, headline="", checks=kept)


def test_calling_off_begins_with_the_true_cause():
    found = verdict("no", ("rain", "go"), ("dryness", "no"), ("wind", "no"))

    assert "needs a full day to dry" in reason_for_customer(found)


@pytest.mark.parametrize("level", ["go", "care"])
def test_a_day_that_is_on_has_no_cause_to_tell(level):
    assert reason_for_customer(verdict(level, ("rain", level))) == ""
    assert reason_for_customer(None) == ""


def test_the_office_notes_how_water_reaches_a_floor(client, booking):
    client.force_login(builders.user(of=booking.branch))
    floor = booking.job.floors.get()

    client.post(f"/bookings/{booking.pk}/waters/", {"floor": floor.pk, "water": ["thaw", "flood"]})

    floor.refresh_from_db()
    assert floor.other_water == ["thaw"]
    event = AuditEvent.objects.get(subject="floor", action="note other water")
    assert event.before == {"other_water": ["irrigation", "slope"]}


def test_what_wetted_a_slab_is_kept_and_shown(client, booking):
    client.force_login(builders.user(of=booking.branch))
    floor = booking.job.floors.get()
    floor.exposure = "open"
    floor.save()

    client.post(
        f"/bookings/{booking.pk}/dryness/",
        {"surface": str(floor.pk), "seen": "wetted:washing", "at": "2026-05-31T07:00"},
    )

    assert floor.parts.get().wetted_by == "washing"
    text = client.get(f"/bookings/{booking.pk}/").content.decode()
    assert "(it is hosed or washed down)" in text


def test_an_order_says_how_water_reaches_its_floor():
    typed = {"floor0-exposure": "garage", "floor0-area": "400", "floor0-condition": "bare"}
    form = FloorForm(us=True, data={**typed, "floor0-other_water": ["slope"]}, prefix="floor0")

    assert form.is_valid()
    assert form.floor().other_water == ("slope",)
