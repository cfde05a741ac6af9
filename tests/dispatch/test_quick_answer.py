"""A quick answer on the telephone: five days, one held, then the rest; nothing before a press."""

import re
from datetime import timedelta
from time import perf_counter

import pytest
from django.urls import reverse
from django.utils import timezone

from dispatch.models import Booking, BookingState
from dispatch.services import bookings
from jobs.models import Customer, Job, Role
from tests import builders
from tests.invariants import broken

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def branch():
    """An office with a crew, a grinder and the weather of Birmingham, Alabama."""
    found = builders.branch()
    builders.crew(of=found, name="North")
    builders.machine(of=found)
    builders.system(of=found)
    start = timezone.now() - timedelta(days=15)
    builders.forecast(at=found.depot_place, start=start, count=24 * 24, issued_at=timezone.now())
    return found


@pytest.fixture
def desk(client, branch):
    """A browser of somebody in the office."""
    client.force_login(builders.user(of=branch))
    return client


@pytest.fixture
def told(branch):
    """What the caller says."""
    return {
        "postal_code": "35203",
        "area": "450",
        "exposure": "garage",
        "system_id": str(branch.systems.get().pk),
        "condition": "bare",
        "key": "call-1",
    }


def first_key(page) -> str:
    found = re.search(r'name="hold" value="([^"]+)"', page.content.decode())
    assert found, "no day is offered"
    return found[1]


def test_five_days_are_shown_while_the_caller_talks_and_nothing_is_written(desk, told):
    page = desk.get(reverse("quick-answer"), told)

    assert page.status_code == 200
    assert page.content.decode().count('name="hold"') == 5
    assert not Job.objects.exists()
    assert not Customer.objects.exists()


def test_from_hello_to_a_held_day_in_under_a_minute(desk, told):
    began = perf_counter()

    page = desk.get(reverse("quick-answer"), told)
    held = desk.post(reverse("quick-answer"), told | {"hold": first_key(page)})

    # What the machine takes of the minute; the rest is left to talking.
    assert perf_counter() - began < 10
    booking = Booking.objects.get()
    assert held.url == reverse("take-in-rest", args=[booking.job_id])
    assert booking.state == BookingState.HELD
    assert booking.job.described_only
    assert str(booking.job.customer) == "Caller from 35203"
    assert broken() == []


def test_a_second_press_finds_the_same_hold(desk, told):
    chosen = told | {"hold": first_key(desk.get(reverse("quick-answer"), told))}

    pages = [desk.post(reverse("quick-answer"), chosen) for _ in range(2)]

    assert len({page.url for page in pages}) == 1
    assert Booking.objects.count() == Job.objects.count() == 1


def test_a_hold_lapses_by_itself_and_the_day_is_offered_again(desk, told):
    key = first_key(desk.get(reverse("quick-answer"), told))
    desk.post(reverse("quick-answer"), told | {"hold": key})

    assert bookings.lapse_holds(now=timezone.now() + timedelta(minutes=31)) == 1

    assert first_key(desk.get(reverse("quick-answer"), told)) == key


def test_the_rest_is_taken_in_afterwards_and_the_hold_stays(desk, told):
    page = desk.get(reverse("quick-answer"), told)
    desk.post(reverse("quick-answer"), told | {"hold": first_key(page)})
    job = Job.objects.get()
    rest = {"customer_name": "Ada Fields", "street": "12 Oak Street", "version": job.version}

    wrong = desk.post(reverse("take-in-rest", args=[job.pk]), rest)
    right = desk.post(reverse("take-in-rest", args=[job.pk]), rest | {"telephone": "205-555-0123"})

    assert wrong.status_code == 422
    assert "telephone number or an e-mail address" in wrong.content.decode()
    assert right.url == reverse("booking", args=[Booking.objects.get().pk])
    job = Job.objects.select_related("customer", "site").get()
    assert (str(job.customer), job.site.street) == ("Ada Fields", "12 Oak Street")
    assert not job.described_only
    assert broken() == []


def test_a_place_never_fetched_is_answered_from_the_nearest_and_says_so(desk, told):
    # Bessemer, Alabama, lies some 20 km from Birmingham.
    page = desk.get(reverse("quick-answer"), told | {"postal_code": "35020"})

    assert "until this place is fetched" in page.content.decode()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"postal_code": "00000"}, "No US postal code 00000 is known"),
        ({"area": ""}, "Type the area of the floor"),
        ({"area": "many"}, "many"),
        ({"exposure": "moon"}, "Say how the floor lies"),
        ({"system_id": ""}, "Choose a coating system"),
    ],
)
def test_what_is_missing_is_said_at_its_box_and_nothing_is_written(desk, told, changed, sentence):
    page = desk.get(reverse("quick-answer"), told | changed)

    assert page.status_code == 422
    assert sentence in page.content.decode()
    assert not Job.objects.exists()


@pytest.mark.parametrize("role", [Role.LEAD, Role.INSTALLER, Role.READER])
def test_only_the_office_answers(client, branch, told, role):
    client.force_login(builders.user(of=branch, role=role))

    assert client.get(reverse("quick-answer"), told).status_code == 403


def test_the_api_answers_and_holds_the_same_way(desk, branch):
    said = {
        "postal_code": "35203",
        "area_m2": 42,
        "exposure": "garage",
        "system": branch.systems.get().pk,
    }

    answer = desk.get(reverse("api-quick-answer"), said)
    key = answer.json()["best"][0]["key"]
    sent = {"data": said | {"offer": key}, "content_type": "application/json"}
    held = [
        desk.post(reverse("api-quick-answer"), headers={"Idempotency-Key": "call-9"}, **sent)
        for _ in range(2)
    ]

    assert len(answer.json()["best"]) == 5
    assert [each.status_code for each in held] == [201, 201]
    assert held[0].json()["id"] == held[1].json()["id"]
    assert Booking.objects.get().state == BookingState.HELD
    assert broken() == []
