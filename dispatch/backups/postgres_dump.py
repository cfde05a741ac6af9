"""Backups of PostgreSQL by its own programs: pg_dump, pg_restore and psql."""

import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import numpy as np
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

ENDING = ".dump"
MAGIC = b"PGDMP"
COPY = re.compile(rb"COPY (?:\w+\.)?(\w+) \((.*)\) FROM stdin;\n")
END_OF_COPY = b"\\.\n"
# Everything of ours goes in the transaction that brings the backup in, whatever release it
# was of. Nobody may hold these tables; five seconds tell whether somebody does.
EMPTY = """\
SET lock_timeout = '5s';
DO $$ DECLARE each record; BEGIN
  FOR each IN SELECT schemaname, tablename FROM pg_tables WHERE schemaname = current_schema() LOOP
    EXECUTE format('DROP TABLE IF EXISTS %I.%I CASCADE', each.schemaname, each.tablename);
  END LOOP;
END $$;
"""
OTHERS = (
    "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
    " AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
)


def scratch() -> Path:
    """Where a plain copy may lie for a moment."""
    return Path(tempfile.gettempdir())


def dump(to: Path) -> None:
    """Write a copy of this moment to `to`; nobody is held up."""
    words = ["--format=custom", "--no-owner", "--no-privileges", f"--file={to}"]
    done = _run([program("pg_dump"), *words])
    if done.returncode:
        raise BackupRefused(f"No backup was made. pg_dump says: {_said(done.stderr)}")


def examine(file: Path) -> Contents:
    """Read all of a dump, without a server."""
    contents = Contents()
    listed = _run([program("pg_restore"), "--list", str(file)])
    if listed.returncode:
        contents.faults.append(
            f"The backup is damaged or was cut short. pg_restore says: {_said(listed.stderr)}"
        )
        return contents
    table_of_contents = listed.stdout.decode(errors="replace")
    contents.faults += [
        f"The guard {name} is missing." for name in GUARDS if name not in table_of_contents
    ]
    words = [program("pg_restore"), "--data-only", "--file=-", str(file)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as reading:  # noqa: S603
        assert reading.stdout is not None and reading.stderr is not None  # noqa: S101, PT018
        _count(reading.stdout, contents)
        said = reading.stderr.read()
    if reading.returncode:
        contents.faults.append(
            f"The backup is damaged or was cut short. pg_restore says: {_said(said)}"
        )
    return contents


def _count(lines: Iterator[bytes], contents: Contents) -> None:
    """Go through the rows; keep of each claim and each open booking what must not be twice."""
    claims: list[int] = []
    jobs: list[int] = []
    for line in lines:
        begins = COPY.fullmatch(line)
        if begins is None:
            continue
        table = begins[1].decode()
        columns = [name.strip(' "') for name in begins[2].decode().split(",")]
        take = _taker(table, columns, contents, claims=claims, jobs=jobs)
        contents.counts[table] = sum(1 for row in _rows(lines) if take(row) is None)
    if len(np.unique(np.asarray(claims, dtype=np.int64))) < len(claims):
        contents.faults.append("Somebody or something is claimed twice for one quarter of an hour.")
    if len(set(jobs)) < len(jobs):
        contents.faults.append("A job has two open bookings.")


def _rows(lines: Iterator[bytes]) -> Iterator[list[bytes]]:
    for line in lines:
        if line == END_OF_COPY:
            return
        yield line.rstrip(b"\n").split(b"\t")


def _taker(
    table: str, columns: list[str], contents: Contents, *, claims: list[int], jobs: list[int]
) -> Callable[[list[bytes]], None]:
    """What to do with each row of a table."""
    at = {name: position for position, name in enumerate(columns)}

    def claim(row: list[bytes]) -> None:
        claims.append((int(row[at["resource_id"]]) << 32) + int(row[at["granule"]]))

    def booking(row: list[bytes]) -> None:
        if row[at["state"]] in {b"held", b"booked"}:
            jobs.append(int(row[at["job_id"]]))

    def migration(row: list[bytes]) -> None:
        contents.migrations.add((row[at["app"]].decode(), row[at["name"]].decode()))

    takers = {CLAIMS: claim, BOOKINGS: booking, MIGRATIONS: migration}
    return takers.get(table, lambda _: None)


def put_in_place(copy: Path, *, now: datetime) -> Path | None:
    """Make `copy` the database, in one transaction: all of it or nothing."""
    with connection.cursor() as cursor:
        cursor.execute(OTHERS)
        others = cursor.fetchone()[0]
    connection.close()
    if others:
        raise BackupRefused(
            f"The database is in use by {others} other connections. Stop the web server and the "
            "work loop (or the Celery workers), then restore again."
        )
    words = ["--no-psqlrc", "--quiet", "--single-transaction", "--set=ON_ERROR_STOP=1"]
    with (
        tempfile.TemporaryFile() as said,
        subprocess.Popen(  # noqa: S603
            [program("psql"), *words, "--file=-"],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=said,
            env=_environment(),
        ) as writing,
    ):
        fed = _feed(writing, copy, now=now)
        if writing.wait() or not fed:
            said.seek(0)
            raise BackupRefused(f"Nothing was restored. psql says: {_said(said.read())}")
    return None


def _feed(writing: "subprocess.Popen[bytes]", copy: Path, *, now: datetime) -> bool:
    """Give psql the whole script; end it, which rolls back, where the script is cut short."""
    assert writing.stdin is not None  # noqa: S101
    words = [program("pg_restore"), "--no-owner", "--no-privileges", "--file=-", str(copy)]
    try:
        writing.stdin.write(EMPTY.encode())
        with subprocess.Popen(words, stdout=subprocess.PIPE) as reading:  # noqa: S603
            assert reading.stdout is not None  # noqa: S101
            shutil.copyfileobj(reading.stdout, writing.stdin)
        if reading.returncode:
            writing.kill()
            return False
        writing.stdin.write(b"RESET search_path;\n")
        writing.stdin.write(after_restore(now=now, zone="+00").encode())
        writing.stdin.close()
    except BrokenPipeError:  # psql has stopped at an error and says which
        return False
    return True


def program(name: str) -> str:
    """The path of one of PostgreSQL's programs; the newest, which reads what older ones wrote."""
    found = sorted(
        Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), key=lambda path: float(path.parts[4])
    )
    path = str(found[-1]) if found else shutil.which(name)
    if path is None:
        raise BackupRefused(f"{name} is missing. On Debian: apt-get install postgresql-client")
    return path


def _run(words: list[str]) -> "subprocess.CompletedProcess[bytes]":
    return subprocess.run(words, capture_output=True, env=_environment(), check=False)  # noqa: S603


def _environment() -> dict[str, str]:
    """Whom to connect to, as PostgreSQL's programs want it: the password is no argument."""
    told = connection.settings_dict
    names = {"HOST": "PGHOST", "PORT": "PGPORT", "USER": "PGUSER", "PASSWORD": "PGPASSWORD"}
    given = {variable: str(told[name]) for name, variable in names.items() if told.get(name)}
    return {**os.environ, **given, "PGDATABASE": str(told["NAME"])}


def _said(output: bytes) -> str:
    return output.decode(errors="replace").strip().replace("\n", " ")[:400]
