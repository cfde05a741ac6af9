"""Books, moves, swaps, call-offs and undoes from many processes: no anomaly, nothing broken."""

import os
import platform
import random
import sys
import time
from statistics import median, quantiles

import django
import pytest
from django.db import connection

from dispatch.models import Booking, BookingState, Stint
from dispatch.rules.asking import PlannedStint
from dispatch.services.claims import SlotTaken
from tests.builders import NOW
from tests.dispatch.battery.histories import History, check
from tests.dispatch.battery.office import Change, Office, some_ask
from tests.dispatch.battery.writers import Writers
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
        f"longest {1000 * max(history.took_s):.0f} ms, refused {dict(history.refused)}, "
        f"unknown {len(history.unknown)}; load {os.getloadavg()[0]:.1f}, "
        f"Django {django.__version__}, Python {platform.python_version()}\n"
    )


def run(office: Office, folder, *, count: int, seconds: float) -> History:
    began = time.monotonic()
    Writers(office, folder, count=count, seconds=seconds).join()
    took = time.monotonic() - began

    history, found = check(folder, Booking.objects.all())
    tell(f"{count} writers", history, took)

    assert found == []
    assert broken(office.branch) == []
    assert set(history.refused) <= EXPECTED | {"busy"}, dict(history.refused)
    assert history.unknown == []
    return history


def test_eight_writers_for_a_few_seconds_leave_nothing_impossible(office, tmp_path):
    history = run(office, tmp_path, count=8, seconds=4)

    assert "busy" not in history.refused
    assert len(history.outcomes) > 20
    # They come in by turns: nobody waits many times as long as most of them.
    assert max(history.took_s) < 15 * median(history.took_s)


@pytest.mark.long
@pytest.mark.parametrize("turn", range(3))
def test_fifty_writers_for_a_minute_leave_nothing_impossible(office, tmp_path, turn):
    history = run(office, tmp_path, count=50, seconds=60)

    # Fifty writers without a pause ask for more than two cores can write; those who would wait
    # too long are told so. How long the others waited is printed.
    assert history.refused["busy"] <= history.count / 100


# The faults that are planted: what a program without our guards would do.


def look_then_write(office: Office, chance: random.Random, key: str) -> tuple[str, Change] | None:
    """Booking by looking first: free a moment ago is taken for free."""
    wanted: PlannedStint = some_ask(office, chance).stints[0]
    job = chance.choice(office.jobs)

    def change() -> list[Booking]:
        there = Stint.objects.filter(crew_id=wanted.crew_id)
        if there.overlapping(wanted.start, wanted.end).exists():
            raise SlotTaken("taken")
        time.sleep(0.02)
        made = Booking.objects.create(
            branch=office.branch, job=job, state=BookingState.DONE, booked_at=NOW
        )
        return [_write(made, wanted, by=office)]

    return "book", change


def write_over(office: Office, chance: random.Random, key: str) -> tuple[str, Change] | None:
    """Moving without a lock: the version is read, raised in Python and written back."""
    wanted: PlannedStint = some_ask(office, chance).stints[0]
    pk = chance.choice(list(Booking.objects.values_list("pk", flat=True)))

    def change() -> list[Booking]:
        seen = Booking.objects.get(pk=pk)
        time.sleep(0.02)
        return [_write(seen, wanted, by=office)]

    return "move", change


def _write(booking: Booking, wanted: PlannedStint, *, by: Office) -> Booking:
    from dispatch.services import bookings
    from jobs import audit

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
    Writers(office, tmp_path, count=8, seconds=2.5, choose=look_then_write).join()

    _, found = check(tmp_path, Booking.objects.all())

    assert any("at once" in each for each in found), found[:5]


def test_the_checker_finds_an_update_that_was_lost(office, tmp_path):
    for job in office.jobs[:3]:
        Booking.objects.create(
            branch=office.branch, job=job, state=BookingState.BOOKED, booked_at=NOW
        )

    Writers(office, tmp_path, count=8, seconds=2.5, choose=write_over).join()

    _, found = check(tmp_path, Booking.objects.all())
    assert any("times" in each for each in found), found[:5]
