"""Backups of SQLite: VACUUM INTO while the office works, and a swap of files to put one back.

Copying the file would lose what is still in the write-ahead log, and pass every check.
"""

import fcntl
import os
import shutil
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import datetime
from pathlib import Path

from django.db import connection

from dispatch.backups.contents import (
    BOOKINGS,
    CLAIMS,
    GUARDS,
    MIGRATIONS,
    BackupRefused,
    Contents,
    after_restore,
)

ENDING = ".sqlite3"
MAGIC = b"SQLite format 3\x00"
PATIENCE_S = 20
IN_USE = (
    "The database is in use. Stop the web server and the work loop (or the Celery workers), "
    "then restore again."
)
TWICE = {
    "Somebody or something is claimed twice for one quarter of an hour.": (
        f"SELECT 1 FROM {CLAIMS} GROUP BY resource_id, granule HAVING count(*) > 1 LIMIT 1"  # noqa: S608
    ),
    "A job has two open bookings.": (
        f"SELECT 1 FROM {BOOKINGS} WHERE state IN ('held', 'booked')"  # noqa: S608
        " GROUP BY job_id HAVING count(*) > 1 LIMIT 1"
    ),
}


def place() -> Path:
    """The file of the database that is in use."""
    return Path(str(connection.settings_dict["NAME"])).resolve()


def scratch() -> Path:
    """Where a plain copy may lie for a moment: beside the database, on the same disk."""
    place().parent.mkdir(parents=True, exist_ok=True)
    return place().parent


def dump(to: Path) -> None:
    """Write a copy of this moment to `to`; writers are held up for a part of a second."""
    if not place().exists():
        raise BackupRefused(f"There is no database at {place()}.")
    try:
        with closing(sqlite3.connect(place(), timeout=PATIENCE_S)) as source:
            source.execute("VACUUM INTO ?", (str(to),))
    except sqlite3.Error as trouble:
        raise BackupRefused(f"No backup was made: {trouble}.") from trouble


def examine(file: Path) -> Contents:
    """Open a copy and look through all of it."""
    contents = Contents()
    try:
        with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro", uri=True)) as copy:
            _look(copy, contents)
    except sqlite3.Error as trouble:
        contents.faults.append(f"The backup is damaged or was cut short: {trouble}.")
    return contents


def _look(copy: sqlite3.Connection, contents: Contents) -> None:
    said = [row[0] for row in copy.execute("PRAGMA integrity_check")]
    if said != ["ok"]:
        contents.faults.append(f"The backup is damaged: {said[0]}.")
        return
    if copy.execute("PRAGMA foreign_key_check").fetchone():
        contents.faults.append("Rows of the backup point at rows that are not there.")
    tables = copy.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
    for (name,) in tables:
        (count,) = copy.execute(f'SELECT count(*) FROM "{name}"').fetchone()  # noqa: S608
        contents.counts[name] = count
    schema = " ".join(row[0] or "" for row in copy.execute("SELECT sql FROM sqlite_master"))
    contents.faults += [f"The guard {name} is missing." for name in GUARDS if name not in schema]
    contents.faults += [said for said, sql in TWICE.items() if copy.execute(sql).fetchone()]
    contents.migrations = set(copy.execute(f"SELECT app, name FROM {MIGRATIONS}"))  # noqa: S608


def put_in_place(copy: Path, *, now: datetime) -> Path | None:
    """Make `copy` the database; return where the former one was put, if there was one."""
    with closing(sqlite3.connect(copy)) as prepared:
        prepared.executescript(f"BEGIN; {after_restore(now=now, zone='')} COMMIT;")
    target = place()
    if target.exists():  # whoever restores may be another user than the web server
        shutil.copymode(target, copy)
        shutil.chown(copy, target.stat().st_uid, target.stat().st_gid)
    _sync(copy)
    with _gate(target):
        former = _set_aside(target, now=now)
        copy.replace(target)
        # A log of the former file would be read into the new one.
        for ending in ("-wal", "-shm"):
            target.with_name(target.name + ending).unlink(missing_ok=True)
        _sync(target.parent)
    return former


def _set_aside(target: Path, *, now: datetime) -> Path | None:
    """A second name for the present file, whole and without a log, so that nothing is lost."""
    if not target.exists():
        return None
    former = target.with_name(f"{target.name}.before-{now:%Y%m%dT%H%M%SZ}")
    try:
        with closing(sqlite3.connect(target, timeout=5)) as present:
            # Leaving the log behind takes the file for oneself; it fails while others have it.
            mode = present.execute("PRAGMA journal_mode = DELETE").fetchone()[0]
    except sqlite3.OperationalError as trouble:
        raise BackupRefused(IN_USE) from trouble
    except sqlite3.DatabaseError:  # it is broken: keep it with its log as it lies there
        with suppress(FileNotFoundError):
            os.link(f"{target}-wal", f"{former}-wal")
    else:
        if mode != "delete":
            raise BackupRefused(IN_USE)
    os.link(target, former)
    return former


@contextmanager
def _gate(target: Path) -> Iterator[None]:
    """Keep writers out (see `deploy/sqlite/base.py`)."""
    gate = os.open(f"{target}.gate", os.O_RDWR | os.O_CREAT, 0o600)
    try:
        for _ in range(50):
            with suppress(BlockingIOError):
                fcntl.flock(gate, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            time.sleep(0.1)
        else:
            raise BackupRefused(IN_USE)
        yield
    finally:
        os.close(gate)


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
