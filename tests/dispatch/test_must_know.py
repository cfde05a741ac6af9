"""What must be known before a day is confirmed: asked, named, noted, and no longer in the way."""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.reads import needs
from dispatch.rules.firmness import Firmness
from dispatch.services import bookings
from jobs.models import AuditEvent, Job
from jobs.rules.must_know import Standing, Topic
from jobs.services import questions
from jobs.services.questions import NotKnown
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_bookings import MORNING, House, ask
from tests.dispatch.test_needs import judged

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def house(transactional_db) -> House:
    return House()


def unasked(house, *, exposure: str = "garage") -> Job:
    return builders.job(of=house.branch, exposure=exposure, known=False)


def confirm(house, booking):
    return bookings.confirm(
        branch=house.branch, booking_id=booking.pk, version=booking.version, by=house.by, now=NOW
    )


def say_all(house, job, *, standing: Standing = Standing.KNOWN) -> None:
    questions.answer(
        branch=house.branch,
        job_id=job.pk,
        answers=dict.fromkeys(job.missing(today=NOW.date()), (standing, "As asked.")),
        by=house.by,
        now=NOW,
    )


def test_confirming_names_all_that_is_missing(house):
    job = unasked(house)
    booking = house.book(job, ask(house.north, level=Firmness.PLANNED))

    with pytest.raises(NotKnown) as refusal:
        confirm(house, booking)

    # What a crew must know before it sets out: common practice.
    for each in ("power", "width and stairs", "trailer parks", "age of the concrete"):
        assert each in str(refusal.value)
    assert "permit" not in str(refusal.value)
    booking.refresh_from_db()
    assert booking.promise == Firmness.PLANNED


def test_a_patio_is_asked_its_permit_and_a_basement_its_moisture(house):
    patio, basement = unasked(house, exposure="open"), unasked(house, exposure="interior")

    assert Topic.PERMIT in patio.missing(today=NOW.date())
    assert Topic.MOISTURE in basement.missing(today=NOW.date())


@pytest.mark.parametrize("standing", [Standing.KNOWN, Standing.NOT_NEEDED])
def test_once_all_is_known_the_day_is_confirmed(house, standing):
    job = unasked(house)
    booking = house.book(job, ask(house.north, level=Firmness.PLANNED))
    say_all(house, job, standing=standing)

    assert confirm(house, booking).promise == Firmness.CONFIRMED
    assert AuditEvent.objects.filter(subject="question", subject_id=job.pk).count() == 4


def test_a_near_day_is_booked_as_planned_while_something_is_missing(house):
    assert house.book(unasked(house), ask(house.north)).promise == Firmness.PLANNED
    assert house.book(house.first, ask(house.south)).promise == Firmness.CONFIRMED


def test_what_is_noted_of_the_site_answers_for_itself(house):
    job = unasked(house)
    job.site.volts, job.site.amps, job.site.way_in_m = 240, 30, 2.4
    job.site.save()

    assert job.missing(today=NOW.date()) == (Topic.PARKING, Topic.CONCRETE_AGE)


def test_young_concrete_is_tested_however_it_lies(house):
    job = unasked(house)
    job.floors.update(poured_on=NOW.date() - timedelta(days=20))

    # Concrete is coated 28 days after it was poured at the earliest: common practice.
    assert Topic.MOISTURE in Job.objects.get(pk=job.pk).missing(today=NOW.date())


def test_needs_a_person_asks_instead_of_confirming(house):
    job = unasked(house)
    start = MORNING + timedelta(days=7)
    judged(house.book(job, ask(house.north, start=start, level=Firmness.PLANNED)), "go")

    (need,) = [each for each in needs.everything(house.branch, now=NOW) if each.kind == "known"]
    assert "power" in need.reason

    say_all(house, job)
    assert "confirm" in [each.kind for each in needs.everything(house.branch, now=NOW)]


def test_the_page_names_it_takes_the_answers_and_then_confirms(house):
    client = Client()
    client.force_login(house.by.user)
    job = unasked(house)
    booking = house.book(job, ask(house.north, level=Firmness.PLANNED))
    press = {"version": booking.version}

    refused = client.post(reverse("confirm", args=[booking.pk]), press, follow=True)
    assert "are not known yet" in refused.content.decode()

    client.post(
        reverse("known", args=[job.pk]),
        {
            "power": "20 A, 30 ft away",
            "access": "8 ft",
            "parking": "Drive",
            "concrete_age-not": "yes",
        },
    )
    client.post(reverse("confirm", args=[booking.pk]), press)
    booking.refresh_from_db()
    assert booking.promise == Firmness.CONFIRMED
    assert "20 A, 30 ft away" in client.get(reverse("booking", args=[booking.pk])).content.decode()
