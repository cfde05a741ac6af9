"""Undo: the last move, call-off or confirmation is taken back, under the same guards."""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.models import (
    Booking,
    BookingState,
    CalendarEntry,
    EntryStatus,
    Notice,
    NoticeKind,
    NoticeState,
    PromiseLevel,
)
from dispatch.services import bookings
from dispatch.services.claims import SlotTaken
from jobs.models import AuditEvent, JobState
from jobs.refusals import NotFound, Stale
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_bookings import MORNING, House, ask
from tests.invariants import broken
from tests.racing import race

pytestmark = pytest.mark.django_db(transaction=True)

LATER = MORNING + timedelta(days=2)


@pytest.fixture
def house(transactional_db) -> House:
    return House()


def move(house, booking, wanted):
    return bookings.move(
        branch=house.branch,
        booking_id=booking.pk,
        version=booking.version,
        ask=wanted,
        by=house.by,
        now=NOW,
    )


def call_off(house, booking, why="rain"):
    return bookings.call_off(
        branch=house.branch,
        booking_id=booking.pk,
        version=booking.version,
        by=house.by,
        now=NOW,
        why=why,
    )


def undo(house, booking, now=NOW):
    return bookings.undo(
        branch=house.branch, booking_id=booking.pk, version=booking.version, by=house.by, now=now
    )


def stood(booking) -> list:
    kept = bookings.snapshot(Booking.objects.get(pk=booking.pk))
    kept.pop("confirmed_at")
    return kept


def test_a_move_is_taken_back_with_crew_machines_stages_and_promise(house):
    booking = house.book(house.first, ask(house.north, machines=(house.grinder,)))
    before = stood(booking)
    moved = move(house, booking, ask(house.south, house.south, start=LATER))

    undo(house, moved)

    standing = stood(booking)
    assert standing["stints"][0] == before["stints"][0]
    assert {**standing, "stints": []} == {**before, "stints": []}
    assert [stint["state"] for stint in standing["stints"]] == ["planned", "called_off"]
    assert broken() == []


def test_the_customer_is_told_of_the_move_back_and_the_calendar_keeps_its_name(house):
    booking = house.book(house.first, ask(house.north))
    uid = CalendarEntry.objects.get(audience="customer").uid
    moved = move(house, booking, ask(house.north, start=LATER))

    back = undo(house, moved)

    entry = CalendarEntry.objects.get(audience="customer")
    assert (entry.uid, entry.start, entry.sequence) == (uid, MORNING, 2)
    told = Notice.objects.get(booking_version=back.version, audience="customer")
    assert told.kind == NoticeKind.MOVED


def test_a_call_off_is_taken_back_and_the_floor_is_booked_again(house):
    booking = house.book(house.first, ask(house.north))
    before = stood(booking)

    undo(house, call_off(house, booking))

    house.first.refresh_from_db()
    booking.refresh_from_db()
    assert house.first.state == JobState.BOOKED
    assert (booking.called_off_at, booking.called_off_why) == (None, "")
    assert stood(booking) == before
    assert CalendarEntry.objects.get(audience="customer").status == EntryStatus.CONFIRMED
    assert broken() == []


def test_a_confirmation_is_taken_back_to_a_planned_day(house):
    from dispatch.rules.firmness import Firmness

    booking = house.book(house.first, ask(house.north, level=Firmness.PLANNED))
    confirmed = bookings.confirm(
        branch=house.branch, booking_id=booking.pk, version=booking.version, by=house.by, now=NOW
    )

    undo(house, confirmed)

    booking.refresh_from_db()
    assert (booking.promise, booking.confirmed_at) == (PromiseLevel.PLANNED, None)
    assert broken() == []


def test_a_place_that_was_taken_meanwhile_is_not_taken_back(house):
    moved = move(house, house.book(house.first, ask(house.north)), ask(house.north, start=LATER))
    house.book(house.second, ask(house.north))

    with pytest.raises(SlotTaken, match="North is already booked Tue Jun 2"):
        undo(house, moved)

    assert Booking.objects.get(pk=moved.pk).stints.get().start == LATER
    assert broken() == []


def test_a_floor_that_was_booked_meanwhile_is_not_booked_twice(house):
    gone = call_off(house, house.book(house.first, ask(house.north)))
    house.first.refresh_from_db()
    house.book(house.first, ask(house.south))

    with pytest.raises(bookings.AlreadyBooked, match="has another booking by now"):
        undo(house, gone)

    assert broken() == []


def test_a_change_by_somebody_else_since_makes_the_undo_stale(house):
    moved = move(house, house.book(house.first, ask(house.north)), ask(house.north, start=LATER))
    old = moved.version
    bookings.confirm(branch=house.branch, booking_id=moved.pk, version=old, by=house.by, now=NOW)

    with pytest.raises(Stale, match="changed by somebody else"):
        bookings.undo(branch=house.branch, booking_id=moved.pk, version=old, by=house.by, now=NOW)


def test_a_booking_and_an_undo_are_not_undone(house):
    booking = house.book(house.first, ask(house.north))
    with pytest.raises(bookings.CannotChange, match="cannot be undone"):
        undo(house, booking)

    back = undo(house, move(house, booking, ask(house.north, start=LATER)))

    with pytest.raises(bookings.CannotChange, match="cannot be undone"):
        undo(house, back)


def test_a_day_that_has_begun_is_not_put_back(house):
    moved = move(house, house.book(house.first, ask(house.north)), ask(house.north, start=LATER))

    with pytest.raises(bookings.CannotChange, match="has begun"):
        undo(house, moved, now=MORNING)


def test_a_hold_that_ran_out_is_booked_again_rather_than_taken_back(house):
    until = NOW + timedelta(minutes=30)
    held = house.book(house.first, ask(house.north, held_until=until))
    bookings.lapse_holds(now=until)
    held.refresh_from_db()

    with pytest.raises(bookings.CannotChange, match="has run out"):
        undo(house, held, now=until + timedelta(minutes=1))


def test_the_confirmation_of_a_hold_is_taken_back_while_nobody_was_told(house):
    until = NOW + timedelta(minutes=30)
    held = house.book(house.first, ask(house.north, held_until=until))
    common = {"branch": house.branch, "booking_id": held.pk, "by": house.by, "now": NOW}
    bookings.confirm(version=held.version, **common)

    bookings.undo(version=held.version + 1, **common)

    held.refresh_from_db()
    assert (held.state, held.held_until) == (BookingState.HELD, until)
    assert set(Notice.objects.values_list("state", flat=True)) == {NoticeState.OBSOLETE} | set(
        Notice.objects.filter(audience="crew").values_list("state", flat=True)
    )
    bookings.confirm(version=held.version, **common)
    Notice.objects.filter(audience="customer").update(state=NoticeState.SENT)
    with pytest.raises(bookings.CannotChange, match="has been told"):
        bookings.undo(version=held.version + 1, **common)


def test_another_branch_undoes_nothing(house):
    moved = move(house, house.book(house.first, ask(house.north)), ask(house.north, start=LATER))
    other = House()

    with pytest.raises(NotFound):
        undo(other, moved)


def test_twenty_undoes_of_one_page_happen_once(house):
    moved = move(house, house.book(house.first, ask(house.north)), ask(house.north, start=LATER))

    answers = race(20, lambda _: undo(house, moved).pk)

    assert sorted(code for code, _ in answers) == ["ok"] + ["stale"] * 19, answers
    assert broken() == []


def test_undo_and_a_new_booking_of_one_floor_at_once_leave_one_booking(house):
    gone = call_off(house, house.book(house.first, ask(house.north)))
    house.first.refresh_from_db()

    def work(number: int) -> object:
        if number % 2:
            return undo(house, gone).pk
        return house.book(house.first, ask(house.south)).pk

    answers = race(12, work)

    assert [code for code, _ in answers].count("ok") == 1, answers
    assert {code for code, _ in answers} <= {"ok", "stale", "already_booked"}, answers
    assert broken() == []


def test_the_page_says_what_happened_and_takes_the_last_change_back(house):
    booking = house.book(house.first, ask(house.north, start=MORNING.replace(year=2030)))
    there = MORNING.replace(year=2030) + timedelta(days=2)
    moved = move(house, booking, ask(house.south, start=there))
    AuditEvent.objects.filter(action="move").update(actor_name="Ana", why="rain")
    client = Client()
    client.force_login(house.by.user)

    page = client.get(reverse("booking", args=[booking.pk])).content.decode()
    answer = client.post(reverse("undo", args=[booking.pk]), {"version": moved.version})
    after = client.get(answer["Location"]).content.decode()

    assert "Ana moved it from Sun Jun 2, North to Tue Jun 4, South: rain" in page
    assert "Take the last change back" in page
    assert "took the last change back: it is on Sun Jun 2, North again" in after
    assert "Take the last change back" not in after


def test_a_crew_lead_is_not_offered_and_may_not_undo(house):
    from jobs.models import Role

    moved = move(house, house.book(house.first, ask(house.north)), ask(house.north, start=LATER))
    client = Client()
    client.force_login(builders.user(of=house.branch, role=Role.LEAD))

    page = client.get(reverse("booking", args=[moved.pk])).content.decode()
    answer = client.post(reverse("undo", args=[moved.pk]), {"version": moved.version})

    assert "Take the last change back" not in page
    assert answer.status_code == 403
