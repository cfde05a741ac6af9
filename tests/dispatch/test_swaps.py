"""Swapping: two bookings exchange crews and days, both or neither, and nobody is in two places."""

from datetime import time, timedelta

import pytest

from dispatch.models import Booking, BookingState, Claim, Notice, NoticeKind
from dispatch.rules.asking import MachineSpan
from dispatch.services import bookings
from dispatch.services.claims import SlotTaken
from dispatch.services.swapping import Side
from jobs.models import AuditEvent, DayWish
from jobs.refusals import NotFound, Refusal, Stale
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_bookings import MORNING, House, ask
from tests.invariants import broken
from tests.racing import race

pytestmark = pytest.mark.django_db(transaction=True)

LATER = MORNING + timedelta(days=2)


class Pair(House):
    """North on Tuesday with the grinder, South on Thursday."""

    def __init__(self) -> None:
        super().__init__()
        self.one = self.book(self.first, ask(self.north, machines=(self.grinder,)))
        self.two = self.book(self.second, ask(self.south, start=LATER, hours=6))

    def swap(self, **given):
        sides = {
            "first": Side(self.one.pk, self.one.version),
            "second": Side(self.two.pk, self.two.version),
        }
        wanted = {**sides, "why": "the patio needs the dry day", **given}
        return bookings.swap(branch=self.branch, by=self.by, now=NOW, **wanted)

    def where(self):
        """(crew, start, hours) of each booking."""
        found = []
        for booking in (self.one, self.two):
            stint = booking.stints.get()
            hours = (stint.end - stint.start) / timedelta(hours=1)
            found.append((stint.crew.name, stint.start, hours))
        return found


@pytest.fixture
def pair(transactional_db) -> Pair:
    return Pair()


def test_a_swap_gives_each_the_others_crew_and_day_and_keeps_its_own_length(pair):
    pair.swap()

    assert pair.where() == [("South", LATER, 8), ("North", MORNING, 6)]
    assert pair.two.stints.get().machines.get() == pair.grinder  # it goes with its crew
    assert pair.one.stints.get().machines.count() == 0
    assert broken() == []


def test_crews_of_one_day_can_swap_where_two_moves_could_not(transactional_db):
    house = House()
    one, two = house.book(house.first, ask(house.north)), house.book(house.second, ask(house.south))

    bookings.swap(
        branch=house.branch,
        first=Side(one.pk, one.version),
        second=Side(two.pk, two.version),
        by=house.by,
        now=NOW,
    )

    assert [b.stints.get().crew for b in (one, two)] == [house.south, house.north]
    assert broken() == []


def test_both_sides_are_on_record_as_one_change(pair):
    pair.swap()

    events = AuditEvent.objects.filter(action="swap")
    assert {event.subject_id for event in events} == {pair.one.pk, pair.two.pk}
    assert len({event.group for event in events}) == 1
    assert events[0].group
    assert {event.why for event in events} == {"the patio needs the dry day"}


def test_both_customers_are_told_since_both_days_changed(pair):
    pair.swap()

    told = Notice.objects.filter(kind=NoticeKind.MOVED, audience="customer")
    assert {notice.booking_id for notice in told} == {pair.one.pk, pair.two.pk}


def test_a_customer_whose_day_and_promise_stay_is_not_told(transactional_db):
    house = House()
    one, two = house.book(house.first, ask(house.north)), house.book(house.second, ask(house.south))

    bookings.swap(
        branch=house.branch,
        first=Side(one.pk, one.version),
        second=Side(two.pk, two.version),
        by=house.by,
        now=NOW,
    )

    assert not Notice.objects.filter(kind=NoticeKind.MOVED).exists()
    assert Notice.objects.filter(kind=NoticeKind.CREW_CHANGE, booking=one).count() == 3


def test_a_longer_floor_that_no_longer_fits_is_refused_and_nothing_moves(pair):
    third = pair.book(
        builders.job(of=pair.branch), ask(pair.south, start=LATER + timedelta(hours=7), hours=2)
    )

    with pytest.raises(SlotTaken, match="South is already booked Thu Jun 4, 2:00 PM"):
        pair.swap()

    assert pair.where() == [("North", MORNING, 8), ("South", LATER, 6)]
    assert third.stints.get().crew == pair.south
    assert broken() == []


def test_a_floor_that_would_end_after_work_is_refused(pair):
    pair.branch.day_ends = time(14, 0)
    pair.branch.save()

    with pytest.raises(bookings.CannotChange, match=r"would end at 3:00 PM on Thu Jun 4"):
        pair.swap()


def test_a_day_on_which_the_customer_cannot_is_refused(pair):
    pair.first.impossible_days = ["2026-06-04"]
    pair.first.save()

    with pytest.raises(bookings.CannotChange, match="cannot on Thu Jun 4"):
        pair.swap()


def test_a_customer_with_one_possible_day_keeps_it(pair):
    type(pair.first).objects.filter(pk=pair.first.pk).update(
        day_wish=DayWish.FIXED, wished_day=MORNING.date()
    )

    with pytest.raises(bookings.CannotChange, match="can only on Tue Jun 2"):
        pair.swap()


def test_one_visit_and_two_are_not_swapped_as_they_are(transactional_db):
    house = House()
    one = house.book(house.first, ask(house.north))
    two = house.book(house.second, ask(house.south, house.south))

    with pytest.raises(bookings.CannotChange, match="one visit and Ada Fields 2 visits"):
        bookings.swap(
            branch=house.branch,
            first=Side(one.pk, one.version),
            second=Side(two.pk, two.version),
            by=house.by,
            now=NOW,
        )


def test_sides_that_were_reckoned_anew_are_taken_as_they_are(pair):
    new_one = ask(pair.south, start=LATER, hours=7)
    new_two = ask(pair.north, machines=(pair.grinder,), hours=5)

    pair.swap(
        first=Side(pair.one.pk, pair.one.version, new_one),
        second=Side(pair.two.pk, pair.two.version, new_two),
    )

    assert pair.where() == [("South", LATER, 7), ("North", MORNING, 5)]
    assert broken() == []


def test_a_side_that_somebody_changed_makes_the_swap_stale(pair):
    bookings.confirm(
        branch=pair.branch, booking_id=pair.two.pk, version=pair.two.version, by=pair.by, now=NOW
    )

    with pytest.raises(Stale):
        pair.swap()

    assert pair.where() == [("North", MORNING, 8), ("South", LATER, 6)]


def test_a_swap_with_itself_with_a_begun_day_or_with_another_branch_is_refused(pair):
    with pytest.raises(Refusal, match="with itself"):
        pair.swap(second=Side(pair.one.pk, pair.one.version))
    with pytest.raises(bookings.CannotChange, match="has begun"):
        bookings.swap(
            branch=pair.branch,
            first=Side(pair.one.pk, pair.one.version),
            second=Side(pair.two.pk, pair.two.version),
            by=pair.by,
            now=MORNING,
        )
    stranger = Pair()
    with pytest.raises(NotFound):
        pair.swap(second=Side(stranger.two.pk, stranger.two.version))


def test_a_day_with_a_machine_handed_over_is_moved_by_hand(transactional_db):
    house = House()
    span = MachineSpan(house.grinder.pk, MORNING, MORNING + timedelta(hours=3), 30)
    wanted = ask(house.north, machines=(house.grinder,))
    (planned,) = wanted.stints
    planned = type(planned)(**{**vars(planned), "machine_spans": (span,)})
    one = house.book(house.first, type(wanted)(**{**vars(wanted), "stints": (planned,)}))
    two = house.book(house.second, ask(house.south))

    with pytest.raises(bookings.CannotChange, match="handed over"):
        bookings.swap(
            branch=house.branch,
            first=Side(one.pk, one.version),
            second=Side(two.pk, two.version),
            by=house.by,
            now=NOW,
        )


def test_swaps_of_one_pair_in_either_order_at_once_happen_once(pair):
    sides = [Side(pair.one.pk, pair.one.version), Side(pair.two.pk, pair.two.version)]

    def work(number: int) -> object:
        first, second = sides if number % 2 else sides[::-1]
        return bookings.swap(branch=pair.branch, first=first, second=second, by=pair.by, now=NOW)[
            0
        ].pk

    answers = race(8, work)

    assert sorted(code for code, _ in answers) == ["ok"] + ["stale"] * 7, answers
    assert pair.where() == [("South", LATER, 8), ("North", MORNING, 6)]
    assert broken() == []


def test_a_hold_that_is_swapped_stays_a_hold(transactional_db):
    house = House()
    until = NOW + timedelta(minutes=30)
    one = house.book(house.first, ask(house.north, held_until=until))
    two = house.book(house.second, ask(house.south, start=LATER))

    bookings.swap(
        branch=house.branch,
        first=Side(one.pk, one.version),
        second=Side(two.pk, two.version),
        by=house.by,
        now=NOW,
    )

    one = Booking.objects.get(pk=one.pk)
    assert (one.state, one.held_until) == (BookingState.HELD, until)
    assert not Notice.objects.filter(booking=one, audience="customer").exists()
    assert Claim.objects.filter(stint__booking=one).count() == 3 * 32
