"""Books, moves, swaps, call-offs and undoes from many processes: no anomaly, nothing broken."""

import os
import platform
import random
import sys
import time
from collections.abc import Iterable
from datetime import timedelta
from statistics import median, quantiles

import django
import pytest
from django.db import connection, transaction

from dispatch.models import Booking, BookingState, Stint
from dispatch.rules.asking import PlannedStint
from dispatch.services import bookings
from dispatch.services.claims import SlotTaken
from jobs import audit
from tests.builders import NOW
from tests.dispatch.battery.histories import History, check
from tests.dispatch.battery.office import Change, Office, ask, some_ask
from tests.dispatch.battery.writers import FORK, PATIENCE_S, Chooser, Writers
from tests.dispatch.test_bookings import MORNING
from tests.invariants import broken

pytestmark = pytest.mark.django_db(transaction=True)

EXPECTED = {"taken", "stale", "already_booked", "cannot_change", "not_found"}


@pytest.fixture
def office(transactional_db) -> Office:
    return Office()


def tell(what: str, history: History, seconds: float) -> None:
    """The figures of a run, with what it ran on."""
    cuts = quantiles(history.took_s, n=100)
    sys.stdout.write(
        f"\n{what} on {connection.vendor}: {history.count} changes in {seconds:.1f} s "
        f"({history.count / seconds:.0f}/s), {len(history.outcomes)} outcomes, "
        f"p50 {1000 * cuts[49]:.0f} ms, p99 {1000 * cuts[98]:.0f} ms, "
        f"longest {1000 * max(history.took_s):.0f} ms "
        f"({max(history.took_s) / median(history.took_s):.0f} times the median), "
        f"refused {dict(history.refused)}, "
        f"unknown {len(history.unknown)}; load {os.getloadavg()[0]:.1f}, "
        f"Django {django.__version__}, Python {platform.python_version()}\n"
    )


def run(office: Office, folder, *, count: int, **until: float) -> History:
    began = time.monotonic()
    Writers(office, folder, count=count, **until).join()
    took = time.monotonic() - began

    history, found = check(folder, Booking.objects.all())
    tell(f"{count} writers", history, took)

    assert found == []
    assert broken(office.branch) == []
    assert set(history.refused) <= EXPECTED | {"busy"}, dict(history.refused)
    assert history.unknown == []
    return history


def test_eight_writers_with_twelve_changes_each_leave_nothing_impossible(office, tmp_path):
    history = run(office, tmp_path, count=8, changes=12)

    assert history.count == 8 * 12
    assert history.outcomes


@pytest.mark.long
@pytest.mark.parametrize("turn", range(3))
def test_fifty_writers_for_a_minute_leave_nothing_impossible(office, tmp_path, turn):
    history = run(office, tmp_path, count=50, seconds=60)

    # Fifty writers without a pause ask for more than two cores can write; those who would wait
    # too long are told so. How long the others waited is printed.
    assert history.refused["busy"] <= history.count / 100


# The faults that are planted: what a program without our guards would do. Everybody meets once
# between looking and writing, so that a collision is certain on a machine of any speed.

FAULTY, CHANGES_EACH, FEW_DAYS = 8, 6, 3


class Meeting:
    """Where all writers wait for each other in their first change, and never again."""

    def __init__(self) -> None:
        self._barrier = FORK.Barrier(FAULTY)

    def wait(self, key: str) -> None:
        if is_first(key):
            self._barrier.wait(PATIENCE_S)
        else:
            time.sleep(0.02)


def is_first(key: str) -> bool:
    return key.endswith("-1")


def look_then_write(meeting: Meeting) -> Chooser:
    """Booking by looking first: free a moment ago is taken for free."""

    def choose(office: Office, chance: random.Random, key: str) -> tuple[str, Change]:
        day = 0 if is_first(key) else chance.randrange(FEW_DAYS)
        wanted: PlannedStint = ask(office.crews[0], start=MORNING + timedelta(days=day)).stints[0]
        job = chance.choice(office.jobs)

        def change() -> list[Booking]:
            there = Stint.objects.filter(crew_id=wanted.crew_id)
            if there.overlapping(wanted.start, wanted.end).exists():
                raise SlotTaken("taken")
            meeting.wait(key)
            made = Booking(branch=office.branch, job=job, state=BookingState.DONE, booked_at=NOW)
            return [_write(made, wanted, by=office)]

        return "book", change

    return choose


def write_over(meeting: Meeting, pks: Iterable[int]) -> Chooser:
    """Moving without a lock: the version is read, raised in Python and written back."""
    known = sorted(pks)

    def choose(office: Office, chance: random.Random, key: str) -> tuple[str, Change]:
        wanted: PlannedStint = some_ask(office, chance).stints[0]
        pk = known[0] if is_first(key) else chance.choice(known)

        def change() -> list[Booking]:
            seen = Booking.objects.get(pk=pk)
            meeting.wait(key)
            return [_write(seen, wanted, by=office)]

        return "move", change

    return choose


@transaction.atomic
def _write(booking: Booking, wanted: PlannedStint, *, by: Office) -> Booking:
    """The change and its record at once: a version that can be read has its record."""
    booking.version += 1
    booking.save()
    span = {"crew_id": wanted.crew_id, "start": wanted.start, "end": wanted.end}
    Stint.objects.update_or_create(booking=booking, number=1, defaults=span)
    after = {**bookings.snapshot(booking), "state": BookingState.BOOKED}
    audit.record(
        branch=by.branch,
        by=by.by,
        subject="booking",
        subject_id=booking.pk,
        action="move",
        now=NOW,
        after=after,
    )
    return booking


def test_the_checker_finds_bookings_made_by_looking_first(office, tmp_path):
    choose = look_then_write(Meeting())
    Writers(office, tmp_path, count=FAULTY, changes=CHANGES_EACH, choose=choose).join()

    history, found = check(tmp_path, Booking.objects.all())

    assert any("at once" in each for each in found), (found[:5], dict(history.refused))


def test_the_checker_finds_an_update_that_was_lost(office, tmp_path):
    pks = [
        Booking.objects.create(
            branch=office.branch, job=job, state=BookingState.BOOKED, booked_at=NOW
        ).pk
        for job in office.jobs[:3]
    ]
    choose = write_over(Meeting(), pks)

    Writers(office, tmp_path, count=FAULTY, changes=CHANGES_EACH, choose=choose).join()

    history, found = check(tmp_path, Booking.objects.all())
    assert any("times" in each for each in found), (found[:5], dict(history.refused))
