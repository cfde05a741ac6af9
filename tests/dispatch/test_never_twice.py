"""The guards themselves: each test here fails when its guard is taken away, on both engines."""

import sqlite3
import sys
from collections import Counter
from datetime import timedelta

import psycopg
import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction

from dispatch.models import (
    Booking,
    BookingState,
    CalendarEntry,
    Claim,
    Notice,
    Resource,
    Stint,
)
from dispatch.rules.granules import granules
from dispatch.services import bookings, claims
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_bookings import MORNING, House, ask
from tests.invariants import broken
from tests.racing import race

pytestmark = pytest.mark.django_db(transaction=True)

WRITERS = 20


@pytest.fixture
def house(transactional_db: None) -> House:
    return House()


def test_twenty_processes_that_book_one_crew_day_make_one_booking(house):
    jobs = [builders.job(of=house.branch) for _ in range(WRITERS)]

    answers = race(WRITERS, lambda n: house.book(jobs[n], ask(house.north)).pk)

    told = Counter(code for code, _ in answers)
    share = told["busy"] / WRITERS
    sys.stdout.write(f"\n{WRITERS} on {connection.vendor}: {dict(told)}, busy {share:.0%}\n")
    won = [text for code, text in answers if code == "ok"]
    lost = [text for code, text in answers if code == "taken"]
    assert len(won) == 1, answers
    # On a machine with other work somebody may wait too long for the lock, and is told so.
    assert set(told) <= {"ok", "taken", "busy"}, answers
    winner = Booking.objects.get(pk=won[0])
    assert all(str(winner.job.customer) in sentence for sentence in lost)
    assert all("North is already booked" in sentence for sentence in lost)
    assert Stint.objects.count() == 1
    again = next(job for job in jobs if job != winner.job)
    with pytest.raises(claims.SlotTaken, match="North is already booked"):
        house.book(again, ask(house.north))
    assert broken() == []


def test_twenty_days_for_one_floor_make_one_booking(house):
    """The lock on the job: everybody saw it waiting, and each has another day for it."""
    answers = race(
        WRITERS,
        lambda n: house.book(house.first, ask(house.north, start=MORNING + timedelta(days=n))).pk,
    )

    assert sorted(code for code, _ in answers) == ["ok"] + ["stale"] * (WRITERS - 1), answers
    assert broken() == []


def test_the_database_itself_refuses_a_second_open_booking_of_a_job(house):
    """The other unique constraint, with nothing in Python in front of it."""
    house.book(house.first, ask(house.north))

    with pytest.raises(IntegrityError), transaction.atomic():
        Booking.objects.create(
            branch=house.branch, job=house.first, state=BookingState.BOOKED, booked_at=NOW
        )


def test_the_database_itself_refuses_a_second_claim(house):
    """The unique constraint: nothing in Python stands in front of it here."""
    booking = house.book(house.first, ask(house.north))
    held = Claim.objects.first()

    with pytest.raises(IntegrityError) as conflict, transaction.atomic():
        Claim.objects.create(
            resource_id=held.resource_id, granule=held.granule, stint=booking.stints.get()
        )

    assert claims.is_claim_conflict(conflict.value)


def test_locks_and_claims_are_taken_in_key_order(house):
    """The sort: two writers who took them in other orders would wait for each other."""
    # Keys that come in order neither as they are given (crew, people, machine) nor from a set.
    crew, machine = house.north, house.grinder
    crew.resource = Resource.objects.create(pk=1 << 20, branch=house.branch, kind="crew")
    machine.resource = Resource.objects.create(
        pk=(1 << 20) - 1, branch=house.branch, kind="machine"
    )
    crew.save()
    machine.save()
    claimed: list[tuple[int, int]] = []
    locks: list[str] = []

    def watch(execute, sql, params, many, context):
        if "INSERT INTO dispatch_claim" in sql:
            # PostgreSQL is handed one array for each column, SQLite one row after another.
            rows = params if many else zip(*params, strict=True)
            claimed.extend((resource, granule) for resource, granule, *_ in rows)
        if 'FROM "dispatch_resource" WHERE "dispatch_resource"."id" IN' in sql:
            locks.append(sql)
        return execute(sql, params, many, context)

    with connection.execute_wrapper(watch):
        house.book(house.first, ask(house.north, machines=(house.grinder,)))

    assert len(claimed) == 4 * 8 * 4
    assert claimed == sorted(claimed)
    assert locks
    assert all('ORDER BY "dispatch_resource"."id"' in sql for sql in locks), locks
    if connection.features.has_select_for_update:
        assert all("FOR NO KEY UPDATE" in sql for sql in locks), locks


def test_opposite_moves_at_once_never_deadlock_and_never_double(house):
    """Each booking moves to the other crew's next day while others do the reverse."""
    one = house.book(house.first, ask(house.north))
    two = house.book(house.second, ask(house.south))

    def work(number: int) -> int:
        booking, crew = (one, house.south) if number % 2 else (two, house.north)
        fresh = Booking.objects.get(pk=booking.pk)
        return bookings.move(
            branch=house.branch,
            booking_id=booking.pk,
            version=fresh.version,
            ask=ask(crew, start=MORNING + timedelta(days=1 + number)),
            by=house.by,
            now=NOW,
        ).pk

    answers = race(8, work)

    assert {code for code, _ in answers} <= {"ok", "stale", "taken"}, answers
    assert any(code == "ok" for code, _ in answers)
    for stint in Stint.objects.all():
        own = Claim.objects.filter(stint=stint, resource=stint.crew.resource)
        assert own.count() == len(granules(stint.start, stint.end))
    assert broken() == []


def test_twenty_confirmations_of_one_page_change_it_once(house):
    """The version check: everybody saw the same page, one may act on it."""
    booking = house.book(house.first, ask(house.north))

    answers = race(
        WRITERS,
        lambda _: (
            bookings.confirm(
                branch=house.branch,
                booking_id=booking.pk,
                version=booking.version,
                by=house.by,
                now=NOW,
            ).pk
        ),
    )

    assert sorted(code for code, _ in answers) == ["ok"] + ["stale"] * (WRITERS - 1)
    assert broken() == []


def test_twenty_repeats_of_one_request_get_one_booking(house):
    wanted = ask(house.north, key="one-press")

    answers = race(WRITERS, lambda _: house.book(house.first, wanted).pk)

    assert {code for code, _ in answers} == {"ok"}, answers
    assert len({text for _, text in answers}) == 1
    assert broken() == []


# What the drivers themselves raise when somebody else is writing.
BUSY = {"sqlite": sqlite3.OperationalError, "postgresql": psycopg.errors.DeadlockDetected}


def test_a_deadlock_at_any_statement_is_as_if_it_had_not_been(house):
    """The retry: the whole transaction runs again, and nothing of it stands twice."""
    for statement in range(200):
        job = builders.job(of=house.branch)
        wanted = ask(house.north, start=MORNING + timedelta(days=statement), key=str(statement))
        count = iter(range(10_000))

        def fail_once(execute, sql, params, many, context, count=count, at=statement):
            if next(count) == at:
                trouble = BUSY[connection.vendor]("somebody else is writing")
                if connection.vendor == "sqlite":
                    trouble.sqlite_errorcode = sqlite3.SQLITE_BUSY
                with connection.wrap_database_errors:
                    raise trouble
            return execute(sql, params, many, context)

        with connection.execute_wrapper(fail_once):
            booking = house.book(job, wanted)

        assert (job.bookings.count(), booking.version) == (1, 1), f"statement {statement}"
        if next(count) <= statement:  # the booking had fewer statements: none was left to fail
            break

    assert 10 < statement < 199
    told = Notice.objects.filter(audience="customer")
    assert told.count() == Booking.objects.count() == statement + 1
    assert broken() == []


class Fault(Exception):
    """The statement that was chosen to fail."""


@pytest.mark.parametrize("path", ["book", "move", "call off"])
def test_a_fault_at_any_statement_leaves_everything_as_it_was(house, path):
    booking = None if path == "book" else house.book(house.first, ask(house.north))

    def write() -> None:
        if booking is None:
            house.book(house.first, ask(house.north, machines=(house.grinder,)))
            return
        common = {
            "branch": house.branch,
            "booking_id": booking.pk,
            "version": booking.version,
            "by": house.by,
            "now": NOW,
        }
        if path == "move":
            bookings.move(ask=ask(house.south, house.south), **common)
        else:
            bookings.call_off(why="rain", **common)

    before = _everything()
    for statement in range(200):
        count = iter(range(10_000))

        def fail(execute, sql, params, many, context, count=count, at=statement):
            if next(count) == at:
                raise Fault
            return execute(sql, params, many, context)

        try:
            with connection.execute_wrapper(fail):
                write()
        except Fault:
            assert _everything() == before, f"statement {statement} left something behind"
        else:
            break

    assert statement > 10
    assert _everything() != before
    assert broken() == []


KEPT = ("jobs.Job", "jobs.AuditEvent", "dispatch.Booking", "dispatch.Stint", "dispatch.Claim")


def _everything() -> dict[str, list[tuple]]:
    """Every row of the tables that a booking touches."""
    found = {name: sorted(apps.get_model(name).objects.values_list("pk")) for name in KEPT}
    found["state"] = sorted(Booking.objects.values_list("pk", "state", "version", "moves"))
    found["claims"] = sorted(Claim.objects.values_list("resource_id", "granule"))
    found["notices"] = sorted(Notice.objects.values_list("key"))
    entries = CalendarEntry.objects.values_list("stint_id", "audience", "sequence", "status")
    found["entries"] = sorted(entries)
    return found
