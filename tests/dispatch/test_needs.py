"""What needs a person: each kind appears, with its answer, and goes when it is settled."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from dispatch.models import Notice, NoticeKind, StoredVerdict
from dispatch.reads import needs
from dispatch.rules.firmness import Firmness
from dispatch.services import bookings, receipts
from tests.builders import NOW
from tests.dispatch.test_bookings import MORNING, House, ask

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def house(transactional_db) -> House:
    return House()


def kinds(house, now=NOW) -> list[str]:
    return [need.kind for need in needs.everything(house.branch, now=now)]


def judged(booking, level: str) -> None:
    for stint in booking.stints.all():
        StoredVerdict.objects.create(stint=stint, made_at=NOW, level=level, headline="Because.")


def test_a_crew_that_has_not_confirmed_until_somebody_told_it(house):
    house.book(house.first, ask(house.north))
    assert kinds(house) == ["receipt"]

    notice = Notice.objects.get(kind=NoticeKind.CREW_CHANGE)
    receipts.told_by_telephone(notice, by=house.by, now=NOW)

    assert kinds(house) == []
    assert notice.receipt.how == "telephone"


def test_only_the_newest_change_of_a_booking_is_asked_about(house):
    booking = house.book(house.first, ask(house.north))
    bookings.move(
        branch=house.branch,
        booking_id=booking.pk,
        version=booking.version,
        ask=ask(house.north, start=MORNING + timedelta(hours=1)),
        by=house.by,
        now=NOW,
    )

    (need,) = needs.everything(house.branch, now=NOW)
    assert need.reason.startswith("Moved: ")


def test_a_customer_who_cannot_until_the_booking_is_changed(house):
    booking = house.book(house.first, ask(house.north, start=MORNING + timedelta(days=6)))
    receipts.customer_cannot(booking, why="At the dentist", now=NOW)
    assert kinds(house) == ["customer"]

    bookings.move(
        branch=house.branch,
        booking_id=booking.pk,
        version=booking.version,
        ask=ask(house.north, start=MORNING + timedelta(days=7)),
        by=house.by,
        now=NOW + timedelta(minutes=1),
    )

    assert kinds(house) == []


def test_a_planned_day_asks_to_be_confirmed_once_it_is_near_and_fine(house):
    later = MORNING + timedelta(days=20)
    booking = house.book(house.first, ask(house.north, start=later, level=Firmness.PLANNED))
    judged(booking, "go")

    assert kinds(house) == []
    assert kinds(house, now=later - timedelta(days=12)) == ["confirm"]


def test_a_planned_day_with_unknown_weather_does_not_ask_to_be_confirmed(house):
    booking = house.book(
        house.first,
        ask(house.north, start=MORNING + timedelta(days=10), level=Firmness.PLANNED),
    )
    judged(booking, "unknown")

    assert kinds(house) == []


def test_the_worst_comes_first(house):
    held_until = NOW + timedelta(minutes=30)
    house.book(house.first, ask(house.north, held_until=held_until))
    booking = house.book(house.second, ask(house.south, start=MORNING + timedelta(days=6)))
    judged(booking, "no")

    assert kinds(house)[0] == "weather"
    assert "hold" in kinds(house)


def test_many_bookings_cost_no_more_queries_than_one(house):
    def cost() -> int:
        with CaptureQueriesContext(connection) as seen:
            needs.everything(house.branch, now=NOW)
        return len(seen)

    start = MORNING + timedelta(days=10)
    judged(house.book(house.first, ask(house.north, start=start, level=Firmness.PLANNED)), "go")
    one = cost()
    judged(house.book(house.second, ask(house.south, start=start, level=Firmness.PLANNED)), "go")

    assert cost() == one
