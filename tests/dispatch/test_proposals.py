"""A move proposes a day: the customer accepts it or wants another, else somebody rings."""

from datetime import datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.models import Notice, NoticeKind, Proposal
from dispatch.reads import needs
from dispatch.rules.firmness import Firmness
from dispatch.services import bookings, links
from tests.builders import NOW
from tests.dispatch.test_bookings import MORNING, House, ask

pytestmark = pytest.mark.django_db(transaction=True)

WEEK_ON = MORNING + timedelta(days=7)
# Eight in the evening in Birmingham, Alabama, is 01:00 UTC in June.
EVENING = datetime.fromisoformat("2026-06-02T01:00+00:00")


@pytest.fixture
def house(transactional_db) -> House:
    return House()


def move(house, booking, *, start=WEEK_ON, agreed=False, crew=None, **wanted):
    return bookings.move(
        branch=house.branch,
        booking_id=booking.pk,
        version=booking.version,
        ask=ask(crew or house.north, start=start, **wanted),
        by=house.by,
        now=NOW,
        agreed=agreed,
    )


def to_ring(house, *, now) -> list[str]:
    return [each.title for each in needs.everything(house.branch, now=now) if each.kind == "ring"]


@pytest.fixture
def frozen(monkeypatch):
    """The customer's page is read while the proposal is open."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW + timedelta(hours=1))


def test_a_confirmed_day_that_moves_is_proposed_until_eight_in_the_evening(house):
    booking = move(house, house.book(house.first, ask(house.north)))

    proposal = Proposal.objects.get(booking=booking, latest=True)
    assert (proposal.state, proposal.answer_by) == ("asked", EVENING)
    (line,) = Notice.objects.get(booking=booking, kind=NoticeKind.MOVED).facts["lines"]
    assert "8:00 PM" in line

    assert to_ring(house, now=EVENING - timedelta(minutes=1)) == []
    assert len(to_ring(house, now=EVENING)) == 1


@pytest.mark.parametrize(
    "wanted",
    [
        {"agreed": True},
        {"start": MORNING + timedelta(hours=1)},  # the same day, an hour later
        {"level": Firmness.PLANNED},  # the customer is told a week only
    ],
)
def test_nothing_is_asked_where_there_is_no_new_day_to_answer(house, wanted):
    booking = move(house, house.book(house.first, ask(house.north)), **wanted)

    assert not Proposal.objects.filter(booking=booking).exists()


def test_a_question_that_waits_stays_when_the_hour_changes(house):
    booking = move(house, house.book(house.first, ask(house.north)))
    booking = move(house, booking, start=WEEK_ON + timedelta(hours=1))

    (proposal,) = Proposal.objects.filter(booking=booking, latest=True)
    assert proposal.starts == [(WEEK_ON + timedelta(hours=1)).isoformat()]


def test_a_second_move_needs_a_person_at_once(house):
    booking = move(house, house.book(house.first, ask(house.north)))
    move(house, booking, start=WEEK_ON + timedelta(days=1))

    assert len(to_ring(house, now=NOW)) == 1


def test_taking_the_move_back_takes_the_question_back(house):
    booking = move(house, house.book(house.first, ask(house.north)))
    bookings.undo(
        branch=house.branch, booking_id=booking.pk, version=booking.version, by=house.by, now=NOW
    )

    assert to_ring(house, now=EVENING) == []


@pytest.mark.usefixtures("frozen")
@pytest.mark.parametrize(("answer", "shown"), [("accept", "accepted"), ("other", "another day")])
def test_the_customer_answers_on_the_page(house, answer, shown):
    booking = move(house, house.book(house.first, ask(house.north)))
    token = links.for_booking(booking, now=NOW).token
    client = Client()

    page = client.get(reverse("customer", args=[token])).content.decode()
    assert "Does this new day work?" in page

    asked = Proposal.objects.get(booking=booking)
    client.post(
        reverse("customer-answer", args=[token]),
        {"proposal": asked.pk, "answer": answer, "words": "Rather in July."},
    )
    assert shown in client.get(reverse("customer", args=[token])).content.decode()
    rung = [each.kind for each in needs.everything(house.branch, now=NOW + timedelta(hours=2))]
    assert ("customer" in rung) == (answer == "other")
    assert to_ring(house, now=EVENING) == []


@pytest.mark.usefixtures("frozen")
def test_an_answer_to_a_day_that_has_changed_since_is_refused(house):
    booking = move(house, house.book(house.first, ask(house.north)))
    old = Proposal.objects.get(booking=booking)
    move(house, booking, start=WEEK_ON + timedelta(days=1))
    token = links.for_booking(booking, now=NOW).token

    reply = Client().post(
        reverse("customer-answer", args=[token]), {"proposal": old.pk, "answer": "accept"}
    )

    assert reply.status_code == 409
    assert "has changed since" in reply.content.decode()
