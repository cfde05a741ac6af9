"""Writers that are killed, and a database that is stopped at once: nothing acknowledged is lost."""

import os
import random
import time
from pathlib import Path

import pytest
from django.db import connection, connections

from dispatch.models import Booking, Stint
from jobs.models import AuditEvent, IdempotencyKey
from tests import servers
from tests.dispatch.battery import histories
from tests.dispatch.battery.histories import History
from tests.dispatch.battery.office import Office
from tests.dispatch.battery.test_mixed import EXPECTED, tell
from tests.dispatch.battery.writers import Writers
from tests.invariants import broken

pytestmark = pytest.mark.django_db(transaction=True)

EVERY_S = 0.25


@pytest.fixture
def office(transactional_db) -> Office:
    return Office()


def kill(office: Office, folder: Path, *, count: int, seconds: float) -> tuple[History, int]:
    """Writers for a while, one of them killed every quarter of a second."""
    chance = random.Random(6)
    began = time.monotonic()
    writers = Writers(office, folder, count=count, seconds=seconds)
    kills = 0
    while time.monotonic() < writers.until - 1:
        time.sleep(EVERY_S)
        writers.kill_one(chance)
        kills += 1
    writers.join()
    history, found = histories.check(folder, Booking.objects.all())
    tell(f"{kills} kills among {count} writers", history, time.monotonic() - began)
    assert found == []
    return history, kills


def nothing_is_half_written(office: Office) -> None:
    assert broken(office.branch) == []
    for booking in Booking.objects.all():
        assert booking.stints.exists()
        assert AuditEvent.objects.filter(subject="booking", subject_id=booking.pk).exists()
    assert Stint.objects.filter(booking__isnull=True).count() == 0


def unacknowledged_are_resolved(office: Office, history: History) -> int:
    """Each booking whose writer died before it was answered is there once, or not at all."""
    keys = [line["key"] for line in history.unknown if line["do"] == "book"]
    known = IdempotencyKey.objects.filter(key__in=keys)
    for kept in known:
        assert Booking.objects.filter(pk=kept.subject_id).count() == 1
    return known.count()


def test_killed_writers_lose_nothing_and_leave_nothing_half_done(office, tmp_path):
    history, kills = kill(office, tmp_path, count=4, seconds=3.5)

    assert kills >= 3  # how many find a writer at work depends on the machine
    assert set(history.refused) <= EXPECTED | {"busy"}, dict(history.refused)
    nothing_is_half_written(office)
    unacknowledged_are_resolved(office, history)


@pytest.mark.long
def test_a_minute_of_kills_loses_nothing(office, tmp_path):
    history, kills = kill(office, tmp_path, count=20, seconds=60)

    assert kills > 100
    assert set(history.refused) <= EXPECTED, dict(history.refused)
    nothing_is_half_written(office)
    resolved = unacknowledged_are_resolved(office, history)
    told = f"\n{len(history.unknown)} unknown, {resolved} of them booked all the same\n"
    os.write(1, told.encode())


@pytest.mark.long
def test_a_database_stopped_at_once_five_times_keeps_all_it_acknowledged(office, tmp_path):
    if connection.vendor == "sqlite":
        pytest.skip("SQLite has no server to stop; its writers are killed above")
    # The cluster of a test session runs without fsync, which a stop at once does not need: its
    # pages are in the system's cache. A loss of power is another matter.
    cluster = cluster_in_use()
    writers = Writers(office, tmp_path, count=10, seconds=60, patient=True)
    for _ in range(5):
        time.sleep(10)
        log = str(cluster.data / "log.txt")
        cluster.control("restart", "-w", "-m", "immediate", "-l", log)
    writers.join()

    history, found = histories.check(tmp_path, Booking.objects.all())
    tell("five stops among 10 writers", history, 60)
    assert found == []
    assert set(history.refused) <= EXPECTED | {"busy"}, dict(history.refused)
    nothing_is_half_written(office)


def cluster_in_use() -> servers.Postgres:
    """The cluster that we are connected to; a restart keeps the options it has."""
    with connection.cursor() as cursor:
        cursor.execute("SHOW data_directory")
        folder = cursor.fetchone()[0]
    connections.close_all()
    as_owner = ("runuser", "-u", "postgres", "--") if os.getuid() == 0 else ()
    port = int(connection.settings_dict["PORT"])
    return servers.Postgres(servers.postgres_programs(), Path(folder), port, as_owner, "")
