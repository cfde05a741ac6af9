"""Swapping bookings and handing machines over: by page and over the API, refusals included."""

import json
from datetime import time, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from dispatch.models import Claim
from dispatch.services import bookings
from jobs.models import AuditEvent, Role
from tests import builders
from tests.dispatch.battery.office import ask
from tests.invariants import broken

pytestmark = pytest.mark.django_db(transaction=True)


class House:
    """Two bookings on coming days: North with the grinder, South two days later."""

    def __init__(self) -> None:
        self.branch = builders.branch(weekdays=[0, 1, 2, 3, 4, 5, 6])
        self.north, self.south = (builders.crew(of=self.branch, name=n) for n in ("North", "South"))
        self.grinder = builders.machine(of=self.branch, name="Large grinder")
        self.user = builders.user(of=self.branch)
        self.day = self.branch.at(self.branch.today(timezone.now()) + timedelta(days=3), time(7))
        self.one = self.book(ask(self.north, start=self.day, machines=(self.grinder,)))
        self.two = self.book(ask(self.south, start=self.day + timedelta(days=2), hours=6))

    def book(self, wanted):
        job = builders.job(of=self.branch)
        given = {"branch": self.branch, "by": builders.actor(of=self.branch)}
        return bookings.book(
            job_id=job.pk, version=job.version, ask=wanted, now=timezone.now(), **given
        )


@pytest.fixture
def house(transactional_db) -> House:
    return House()


@pytest.fixture
def desk(client, house):
    client.force_login(house.user)
    return client


def on_the_wall(house, hours):
    local = (house.day + timedelta(hours=hours)).astimezone(house.branch.tz)
    return local.strftime("%Y-%m-%dT%H:%M")


def api(desk, name, pk, **body):
    address = reverse(name, args=[pk])
    return desk.post(address, json.dumps(body), content_type="application/json")


def test_the_page_offers_the_other_booking_and_swaps_them(desk, house):
    page = desk.get(reverse("exchange", args=[house.one.pk])).content.decode()
    other = f"{house.two.pk}:{house.two.version}"
    assert f'value="{other}"' in page
    assert "South" in page

    answer = desk.post(
        reverse("swap", args=[house.one.pk]),
        {"version": house.one.version, "other": other, "why": "the patio needs the dry day"},
    )

    assert answer.status_code == 302
    assert house.one.stints.get().crew == house.south
    assert house.two.stints.get().crew == house.north
    events = AuditEvent.objects.filter(action="swap")
    assert len({event.group for event in events}) == 1
    assert broken(house.branch) == []


def test_a_swap_from_an_old_page_is_refused_and_keeps_what_was_typed(desk, house):
    known = {"booking_id": house.two.pk, "version": house.two.version, "now": timezone.now()}
    given = {"branch": house.branch, "by": builders.actor(of=house.branch)}
    bookings.confirm(**known, **given)

    answer = desk.post(
        reverse("swap", args=[house.one.pk]),
        {
            "version": house.one.version,
            "other": f"{house.two.pk}:{house.two.version}",
            "why": "rain on Tuesday",
        },
    )

    assert answer.status_code == 409
    assert "was changed by somebody else" in answer.content.decode()
    assert 'value="rain on Tuesday"' in answer.content.decode()
    assert house.one.stints.get().crew == house.north


def test_a_machine_is_handed_over_by_page_and_taken_back(desk, house):
    answer = desk.post(
        reverse("hand-over", args=[house.one.pk]),
        {
            "version": house.one.version,
            "machine": house.grinder.pk,
            "until": on_the_wall(house, 3),
            "road": "35",
            "why": "Lena drives it over",
        },
    )

    assert answer.status_code == 302
    held = Claim.objects.filter(resource=house.grinder.resource)
    assert held.count() == 4 * 3 + 3  # 35 minutes of road reach into a third quarter
    page = desk.get(reverse("booking", args=[house.one.pk])).content.decode()
    assert "arranged for a machine to be handed over: Lena drives it over" in page
    house.one.refresh_from_db()
    back = desk.post(reverse("undo", args=[house.one.pk]), {"version": house.one.version})
    assert back.status_code == 302
    assert held.count() == 4 * 8
    assert broken(house.branch) == []


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"until": ""}, "needs a day and a time"),
        ({"until": "2027-03-14T02:30"}, "does not exist"),
        ({"road": "far"}, "is not a count"),
        ({"road": "2000"}, "no road"),
        ({"machine": "999"}, "not booked for"),
    ],
)
def test_what_cannot_be_handed_over_is_said_on_the_page(desk, house, typed, said):
    usual = {
        "version": house.one.version,
        "machine": house.grinder.pk,
        "until": on_the_wall(house, 3),
        "road": "20",
        "why": "Lena",
    }

    answer = desk.post(reverse("hand-over", args=[house.one.pk]), {**usual, **typed})

    assert answer.status_code in {400, 409}
    assert said in answer.content.decode()
    assert 'value="Lena"' in answer.content.decode()


def test_a_machine_that_came_from_another_floor_goes_on_from_when_it_came(house):
    given = {"branch": house.branch, "by": builders.actor(of=house.branch), "now": timezone.now()}
    first = bookings.hand_over(
        booking_id=house.one.pk,
        version=house.one.version,
        machine_id=house.grinder.pk,
        until=house.day + timedelta(hours=5),
        **given,
    )

    again = bookings.hand_over(
        booking_id=first.pk,
        version=first.version,
        machine_id=house.grinder.pk,
        until=house.day + timedelta(hours=2),
        **given,
    )

    (span,) = again.stints.get().machine_spans
    assert span["until"] == (house.day + timedelta(hours=2)).isoformat()
    assert Claim.objects.filter(resource=house.grinder.resource).count() == 4 * 2


def test_the_api_swaps_hands_over_and_takes_back(desk, house):
    body = {
        "version": house.one.version,
        "other": house.two.pk,
        "other_version": house.two.version,
        "why": "dry day",
    }
    swapped = api(desk, "api-swap", house.one.pk, **body)
    assert swapped.status_code == 200, swapped.content
    assert swapped.json()["stints"][0]["crew"]["name"] == "South"

    house.two.refresh_from_db()
    until = (house.day + timedelta(hours=3)).isoformat()
    given = {"version": house.two.version, "machine": house.grinder.pk, "road_min": 20}
    handed = api(desk, "api-hand-over", house.two.pk, until=until, **given)
    assert handed.status_code == 200, handed.content
    back = api(desk, "api-undo", house.two.pk, version=handed.json()["version"])
    assert back.status_code == 200, back.content
    assert Claim.objects.filter(resource=house.grinder.resource).count() == 4 * 6
    stale = api(desk, "api-undo", house.two.pk, version=1)
    assert stale.status_code == 409
    assert stale.json()["version"] == back.json()["version"]


def test_the_api_refuses_a_moment_without_a_zone(desk, house):
    given = {"version": house.one.version, "machine": house.grinder.pk}

    answer = api(desk, "api-hand-over", house.one.pk, until="2027-06-07T10:00:00", **given)

    assert answer.status_code == 400
    assert "zone" in answer.json()["detail"]


def test_the_api_puts_people_into_crews_and_takes_them_out_for_a_while(desk, house):
    lent = house.north.memberships.first().installer
    day = (house.day + timedelta(days=30)).date().isoformat()
    stay = api(desk, "api-crew-people", house.south.pk, person=lent.pk, from_day=day)
    assert stay.status_code == 201, stay.content
    assert (stay.json()["crew"], stay.json()["until_day"]) == (house.south.pk, None)

    there = desk.get(reverse("api-staff")).json()
    resource = next(each["resource"] for each in there["people"] if each["id"] == lent.pk)
    start, end = house.day + timedelta(days=20), house.day + timedelta(days=21)
    times = {"start": start.isoformat(), "end": end.isoformat()}
    body = json.dumps({"resource": resource, **times})
    address = reverse("api-absences")
    made = desk.post(address, body, content_type="application/json")
    assert made.status_code == 201, made.content
    twice = desk.post(address, body, content_type="application/json")
    assert twice.status_code == 409
    assert "is away" in twice.json()["detail"]
    assert api(desk, "api-absence-end", made.json()["id"]).status_code == 204
    assert desk.get(reverse("api-staff")).json()["absences"] == []


@pytest.mark.parametrize("name", ["exchange", "swap", "hand-over"])
def test_only_the_office_exchanges(client, house, name):
    client.force_login(builders.user(of=house.branch, role=Role.LEAD))
    ask_ = client.get if name == "exchange" else client.post

    assert ask_(reverse(name, args=[house.one.pk])).status_code == 403
    stranger = builders.user(of=builders.branch())
    client.force_login(stranger)
    assert ask_(reverse(name, args=[house.one.pk])).status_code == 404
