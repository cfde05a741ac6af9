"""Backup and restore of a hundred thousand bookings, with a writer beside: how long each takes.

`pytest tests/dispatch/test_large_backups.py --long -s` prints the figures of both engines.
"""

import os
import sqlite3
import sys
import threading
import time
from contextlib import closing, contextmanager
from pathlib import Path

import psycopg
import pytest

from tests import servers
from tests.dispatch.test_backups import backed_up, ids, office, place, typed
from tests.office_on_the_web import Desk, Office

__all__ = ["office", "place"]  # fixtures that pytest finds here

BOOKINGS, FEW = 100_000, 300
# Of one installation on a modest machine: what an office would put up with.
BACKUP_S, STALL_S, RESTORE_S = 5.0, 0.3, 60.0

# The first order, its booking and its stint, again and again.
SERIES = {
    "sqlite": "WITH RECURSIVE series(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM series"
    " WHERE n < {count}) ",
    "postgresql": "WITH series AS (SELECT n FROM generate_series(1, {count}) AS s(n)) ",
}
FIRST = 1_000_000  # keys far above those of the office


class Base:
    """One connection of its own to the office's database."""

    def __init__(self, office: Office) -> None:
        self.engine = "sqlite" if isinstance(office.database, Path) else "postgresql"
        self.db = (
            sqlite3.connect(office.database, timeout=30)
            if self.engine == "sqlite"
            else psycopg.connect(office.database)
        )

    def columns(self, table: str) -> list[str]:
        cursor = self.db.execute(f"SELECT * FROM {table} LIMIT 1")  # noqa: S608  our own names
        return [column[0] for column in cursor.description]

    def again(self, table: str, count: int, **values: str) -> None:
        """`count` copies of the first row of `table`, with these columns set."""
        names = self.columns(table)
        told = [values.get(name, f"{table}.{name}") for name in names]
        quoted = ", ".join(f'"{name}"' for name in names)
        series = SERIES[self.engine].format(count=count)
        taken = f"SELECT {', '.join(told)} FROM {table}, series"  # noqa: S608
        first = f"WHERE {table}.id = (SELECT min(id) FROM {table})"  # noqa: S608
        self.db.execute(f"INSERT INTO {table} ({quoted}) {series} {taken} {first}")


def fill(office: Office, count: int) -> None:
    """So many bookings of former years, each with its order and stint."""
    base = Base(office)
    with closing(base.db) as db:
        base.again("jobs_job", count, id=f"{FIRST} + n", state="'done'")
        base.again(
            "dispatch_booking", count, id=f"{FIRST} + n", job_id=f"{FIRST} + n", state="'done'"
        )
        base.again(
            "dispatch_stint", count, id=f"{FIRST} + n", booking_id=f"{FIRST} + n", state="'done'"
        )
        db.commit()


@contextmanager
def writing(office: Office):
    """Somebody who writes a small row all the time; the list has how long each write took."""
    took: list[float] = []
    over = threading.Event()

    def write() -> None:
        base = Base(office)
        with closing(base.db) as db:
            while not over.is_set():
                begun = time.monotonic()
                db.execute("UPDATE jobs_branch SET telephone = '205-555-0100'")
                db.commit()
                took.append(time.monotonic() - begun)
                time.sleep(0.005)

    thread = threading.Thread(target=write)
    thread.start()
    try:
        yield took
    finally:
        over.set()
        thread.join()


def there_and_back(place, office, folder, *, count: int) -> dict[str, float]:
    """Seconds of a backup, of the writer's longest stall beside it, and of the restore."""
    with servers.web(folder=folder, settings={"DATABASE": office.url}) as site:
        assert Desk(site, office).book().status_code == 302  # the row that is copied
    fill(office, count)
    with writing(office) as took:
        begun = time.monotonic()
        file = backed_up(office, folder / "backups")
        backup_s = time.monotonic() - begun
    new = Office(place.new(f"large{count}"), office.seeded)
    begun = time.monotonic()
    done = typed(new, "restore", str(file), "--yes")
    restore_s = time.monotonic() - begun
    assert done.returncode == 0, done.stderr
    assert ids(new) == ids(office)
    figures = {"backup": backup_s, "stall": max(took), "restore": restore_s}
    said = ", ".join(f"{name} {seconds:.2f} s" for name, seconds in figures.items())
    sys.stdout.write(
        f"\n{len(ids(new)):,} bookings, {file.stat().st_size / 1e6:.0f} MB on "
        f"{Base(office).engine}: {said}; load {os.getloadavg()[0]:.1f}\n"
    )
    return figures


def test_a_few_bookings_are_there_and_back(place, office, tmp_path):
    figures = there_and_back(place, office, tmp_path, count=FEW)

    assert figures["restore"] < RESTORE_S


@pytest.mark.long
def test_a_hundred_thousand_bookings_are_there_and_back(place, office, tmp_path):
    figures = there_and_back(place, office, tmp_path, count=BOOKINGS)

    # The times hold each command's start, which is some seconds on a busy machine.
    assert figures["backup"] < 4 * BACKUP_S
    assert figures["stall"] < 10 * STALL_S
    assert figures["restore"] < RESTORE_S
