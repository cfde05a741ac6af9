"""Readings and heaters on the booking's page and on the crew's phone, judged at once."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from dispatch.models import Booking, HeaterStay, LinkPurpose, MachineKind, StoredVerdict
from dispatch.services import links
from jobs.models import Role, SiteReading
from tests import builders
from tests.dispatch.test_office_pages import Office

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def office(transactional_db):
    return Office()


@pytest.fixture
def booked(client, office):
    client.force_login(office.user)
    office.book(client)
    return Booking.objects.get()


def reading(booking, **typed):
    floor = booking.job.floors.get()
    return {"floor": floor.pk, "spot": "By the wall", "slab": "70", **typed}


def page(client, booking):
    return client.get(reverse("booking", args=[booking.pk])).content.decode()


def test_a_reading_is_kept_in_celsius_shown_in_fahrenheit_and_judged(client, booked):
    before = StoredVerdict.objects.count()
    typed = reading(booked, air="75", humidity="50", moisture="4.5", moisture_method="percent")

    answer = client.post(reverse("enter-reading", args=[booked.pk]), typed)

    assert answer.status_code == 302
    row = SiteReading.objects.get()
    assert row.slab_c == pytest.approx(21.1, abs=0.05)
    assert row.taken_by
    told = page(client, booked)
    assert "slab 70 °F" in told
    # Air of 75 °F at 50 % has its dew point at 55.1 °F: the trade's dew-point chart.
    assert "14.9 °F over the dew point" in told
    assert "moisture 4.5 % (Concrete meter, % by mass), limit not compared" in told
    assert StoredVerdict.objects.count() >= before


def test_what_cannot_be_read_is_said(client, booked):
    for typed, sentence in (
        ({"slab": "warm"}, "is not a number"),
        ({"slab": "400"}, "read it again"),
        ({"at": "yesterday"}, "no day and time"),
        ({"floor": "0"}, "Choose the floor"),
        ({"within_limit": "perhaps"}, "Say yes, no"),
    ):
        answer = client.post(reverse("enter-reading", args=[booked.pk]), reading(booked, **typed))

        assert answer.status_code == 422
        assert sentence in answer.content.decode()
    assert not SiteReading.objects.exists()


def test_a_heater_is_put_down_and_taken_away_on_the_page(client, office, booked):
    heater = builders.machine(of=office.branch, kind=MachineKind.HEATER, name="Heater 1")
    local = timezone.localtime(timezone=office.branch.tz)
    typed = {
        "machine": heater.pk,
        "power_kw": "9",
        "start": f"{local:%Y-%m-%dT%H:%M}",
        "end": f"{local + timedelta(days=3):%Y-%m-%dT%H:%M}",
    }

    client.post(reverse("place-heater", args=[booked.pk]), typed)

    stay = HeaterStay.objects.get()
    assert stay.vented
    assert "Heater 1, 9 kW" in page(client, booked)
    again = client.post(reverse("place-heater", args=[booked.pk]), typed)
    assert again.status_code == 409
    take_away = reverse("take-heater-away", args=[booked.pk, stay.pk])
    assert take_away in page(client, booked)
    client.post(take_away)
    left = page(client, booked)
    assert take_away not in left
    assert "took Heater 1 away: it stood " in left


def test_a_reader_sees_readings_and_enters_none(client, office, booked):
    client.post(reverse("enter-reading", args=[booked.pk]), reading(booked))
    client.force_login(builders.user(of=office.branch, role=Role.READER))

    assert "slab 70 °F" in page(client, booked)
    assert "Enter a reading" not in page(client, booked)
    answer = client.post(reverse("enter-reading", args=[booked.pk]), reading(booked))
    assert answer.status_code == 403


def test_another_branchs_booking_is_not_there(client, booked):
    client.force_login(builders.user(of=builders.branch()))

    answer = client.post(reverse("enter-reading", args=[booked.pk]), reading(booked))

    assert answer.status_code == 404


def test_the_crew_enters_a_reading_on_its_phone_once(client, office, booked):
    stint = booked.stints.get()
    link = links.make_link(
        branch=office.branch,
        purpose=LinkPurpose.PHONE,
        name="Phone",
        crew=stint.crew,
        by=builders.actor(of=office.branch),
        now=timezone.now(),
    )
    client.logout()
    where = reverse("phone-reading", args=[link.token, stint.pk])
    at = timezone.localtime(timezone=office.branch.tz)
    typed = reading(booked, at=f"{at - timedelta(minutes=20):%Y-%m-%dT%H:%M}")

    for _ in range(2):
        assert client.post(where, typed).status_code == 302

    row = SiteReading.objects.get()
    assert stint.crew.name in row.taken_by
    sheet = client.get(reverse("phone-sheet", args=[link.token, stint.pk])).content.decode()
    assert "slab 70 °F" in sheet
    refused = client.post(where, reading(booked, slab="400"))
    assert refused.status_code == 422
    assert "read it again" in refused.content.decode()
