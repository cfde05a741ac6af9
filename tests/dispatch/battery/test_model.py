"""Any sequence of changes gives what the plain model says, and the record replays to the rows."""

from datetime import timedelta
from types import SimpleNamespace

import hypothesis.strategies as st
import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    invariant,
    multiple,
    rule,
    run_state_machine_as_test,
)

from dispatch.models import OPEN_STATES, Booking, BookingState
from dispatch.rules.asking import Ask, PlannedStint, Promised
from dispatch.rules.firmness import Firmness
from dispatch.rules.history import replayed
from dispatch.services import bookings
from dispatch.services.privacy import erase_customer
from dispatch.services.swapping import Side
from jobs.models import AuditEvent, Job, JobState
from jobs.refusals import Refusal
from jobs.services.backlog import take_in_backlog
from tests import builders
from tests.builders import NOW
from tests.dispatch.battery.model import Model, Place
from tests.dispatch.test_bookings import MORNING
from tests.invariants import broken
from tests.jobs.test_backlog import csv_of, numbered

pytestmark = pytest.mark.django_db(transaction=True)

HALF_DAY = timedelta(hours=4)
CREWS, DAYS, FLOORS, MOST_FLOORS = 2, 3, 4, 11
STATES = {"held": "held", "booked": "booked", "called_off": "called off"}


def place(crew: int, day: int, shape: tuple[int, int]) -> Place:
    return Place(crew, day, *shape)


PLACES = st.lists(
    st.builds(
        place,
        st.integers(0, CREWS - 1),
        st.integers(0, DAYS - 1),
        st.sampled_from([(0, 1), (1, 1), (0, 2)]),
    ),
    min_size=1,
    max_size=2,
).map(tuple)


class Calendar(RuleBasedStateMachine):
    """A branch of its own for every example, so that nothing has to be emptied in between."""

    numbers = Bundle("numbers")

    def __init__(self) -> None:
        super().__init__()
        self.branch = builders.branch()
        self.by = builders.actor(of=self.branch)
        self.crews = [builders.crew(of=self.branch, installers=1) for _ in range(CREWS)]
        self.jobs = [builders.job(of=self.branch) for _ in range(FLOORS)]
        self.brought: set[int] = set()
        self.model = Model()

    @property
    def now(self):
        return NOW + timedelta(minutes=self.model.minute)

    def ask(self, places: tuple[Place, ...], *, hold: int | None = None) -> Ask:
        stints = []
        for each in places:
            start = MORNING + timedelta(days=each.day) + each.half * HALF_DAY
            end = start + each.length * HALF_DAY
            stints.append(PlannedStint(crew_id=self.crews[each.crew].pk, start=start, end=end))
        later = max(stint.end for stint in stints) + timedelta(hours=12)
        level = Firmness.PLANNED if hold is not None else Firmness.CONFIRMED
        held_until = None if hold is None else NOW + timedelta(minutes=hold)
        promised = Promised(level=level, walk_on_at=later, drive_on_at=later)
        return Ask(stints=tuple(stints), promised=promised, held_until=held_until)

    def attempt(self, expected: str, write, **given):
        """The write's answer is what the model expects."""
        common = {"branch": self.branch, "by": self.by, "now": self.now}
        try:
            made, said = write(**common, **given), "ok"
        except Refusal as refusal:
            made, said = None, refusal.code
        assert said == expected
        return made

    def known(self, number: int) -> dict:
        return {"booking_id": number, "version": Booking.objects.get(pk=number).version}

    @rule(target=numbers, floor=st.integers(0, MOST_FLOORS), places=PLACES, hold=st.booleans())
    def book(self, floor, places, hold):
        floor %= len(self.jobs)
        until = self.model.minute + 30 if hold else None
        job = Job.objects.get(pk=self.jobs[floor].pk)
        made = self.attempt(
            self.model.may_book(floor, places),
            bookings.book,
            job_id=job.pk,
            version=job.version,
            ask=self.ask(places, hold=until),
        )
        if made is None:
            return multiple()
        self.model.book(made.pk, floor, places, until)
        return made.pk

    @rule(number=numbers, places=PLACES)
    def move(self, number, places):
        expected = self.model.may_move(number, places)
        if self.attempt(expected, bookings.move, ask=self.ask(places), **self.known(number)):
            self.model.move(number, places)

    @rule(one=numbers, two=numbers)
    def swap(self, one, two):
        sides = [Side(number, self.known(number)["version"]) for number in (one, two)]
        expected = self.model.may_swap(one, two)
        if self.attempt(expected, bookings.swap, first=sides[0], second=sides[1]):
            self.model.swap(one, two)

    @rule(number=numbers)
    def call_off(self, number):
        expected = "ok" if self.model.entries[number].open else "cannot_change"
        if self.attempt(expected, bookings.call_off, why="rain", **self.known(number)):
            self.model.call_off(number)

    @rule(number=numbers)
    def confirm(self, number):
        expected = "ok" if self.model.entries[number].open else "cannot_change"
        if self.attempt(expected, bookings.confirm, **self.known(number)):
            self.model.confirm(number)

    @rule(number=numbers)
    def undo(self, number):
        expected = self.model.may_undo(number)
        if self.attempt(expected, bookings.undo, **self.known(number)):
            self.model.undo(number)

    @rule(number=numbers)
    def act_on_an_old_page(self, number):
        old = {"booking_id": number, "version": self.known(number)["version"] - 1}
        self.attempt("stale", bookings.undo, **old)

    @rule(floor=st.integers(0, MOST_FLOORS))
    def erase_the_customer(self, floor):
        floor %= len(self.jobs)
        customer = self.jobs[floor].customer_id
        if self.attempt(self.model.may_erase(floor), erase_customer, customer_id=customer):
            self.model.erase(floor)

    @rule(number=st.integers(1, 4))
    def bring_a_backlog(self, number):
        """A file of one floor; bringing it again brings nothing."""
        again = number in self.brought
        self.brought.add(number)
        given = {"branch": self.branch, "by": self.by, "now": self.now}
        said = take_in_backlog(data=csv_of(numbered(number)), **given)
        assert said.again == again
        if not again:
            self.jobs.append(Job.objects.of_branch(self.branch).latest("pk"))
            builders.know_all(self.jobs[-1])
        assert Job.objects.of_branch(self.branch).count() == len(self.jobs)

    @rule(minutes=st.integers(1, 45))
    def wait(self, minutes):
        self.model.minute += minutes
        bookings.lapse_holds(now=self.now)
        self.model.lapse()

    @invariant()
    def the_rows_are_what_the_model_says(self):
        rows = {row.pk: row for row in Booking.objects.of_branch(self.branch)}
        assert set(rows) == set(self.model.entries)
        for number, entry in self.model.entries.items():
            row = rows[number]
            assert STATES[row.state] == entry.state
            if entry.open:
                assert self.stands(row) == [
                    (self.crews[each.crew].pk, each.day, each.half, each.length)
                    for each in entry.places
                ]
                assert (row.promise == "confirmed") == entry.confirmed
        for floor, job in enumerate(self.jobs):
            state = Job.objects.get(pk=job.pk).state
            assert (state == JobState.BOOKED) == self.model.booked(floor)

    def stands(self, row: Booking) -> list[tuple[int, int, int, int]]:
        found = []
        for stint in row.stints.filter(state="planned").order_by("number"):
            halves = round((stint.start - MORNING) / HALF_DAY)
            day, half = divmod(halves, 6)
            length = round((stint.end - stint.start) / HALF_DAY)
            found.append((stint.crew_id, day, half, length))
        return found

    @invariant()
    def nothing_is_broken(self):
        assert broken(self.branch) == []

    @invariant()
    def the_record_replays_to_the_rows(self):
        for row in Booking.objects.of_branch(self.branch):
            events = AuditEvent.objects.filter(subject="booking", subject_id=row.pk)
            assert replayed(events) == bookings.snapshot(row)


def test_any_sequence_of_changes_is_what_the_model_says(transactional_db, request):
    long = request.config.getoption("--long")
    run_state_machine_as_test(
        Calendar,
        settings=settings(
            max_examples=500 if long else 8,
            stateful_step_count=80 if long else 20,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


def test_a_record_with_a_gap_is_not_replayed():
    events = [
        SimpleNamespace(pk=1, action="book", before={}, after={"state": "booked"}),
        SimpleNamespace(pk=2, action="move", before={"state": "held"}, after={}),
    ]

    with pytest.raises(ValueError, match="move does not follow"):
        replayed(events)


def test_states_of_the_model_are_those_of_the_rows():
    assert set(STATES) == {*OPEN_STATES, BookingState.CALLED_OFF}
