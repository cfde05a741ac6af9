"""The database full, read only, crowded or away: a reason, nothing half written, and recovery.

The disk that fills is a small one of memory, mounted for the test; mounting needs root.
"""

import subprocess
from contextlib import contextmanager, suppress
from pathlib import Path

import psycopg
import pytest
import requests
from django.db import DatabaseError, InterfaceError, OperationalError
from django.test import RequestFactory

from dispatch.views import away
from jobs.database_trouble import Trouble, trouble_of
from tests import servers
from tests.office_on_the_web import Desk, Look, Office, office_at

SQLITE_NAMES = {
    13: Trouble.FULL,
    4874: Trouble.FULL,
    8: Trouble.READ_ONLY,
    5: Trouble.BUSY,
    261: Trouble.BUSY,
}
STATES = {
    "53100": Trouble.FULL,
    "53300": Trouble.CROWDED,
    "25006": Trouble.READ_ONLY,
    "57P03": Trouble.AWAY,
    "08006": Trouble.AWAY,
    "55P03": Trouble.BUSY,
}


def caused(kind, cause, **told):
    error = kind(str(cause))
    for name, value in told.items():
        setattr(cause, name, value)
    error.__cause__ = cause
    return error


@pytest.mark.parametrize(("code", "trouble"), SQLITE_NAMES.items())
def test_sqlite_says_by_its_code_what_is_wrong(code, trouble):
    assert trouble_of(caused(OperationalError, Exception(), sqlite_errorcode=code)) is trouble


@pytest.mark.parametrize(("state", "trouble"), STATES.items())
def test_postgresql_says_by_its_state_what_is_wrong(state, trouble):
    assert trouble_of(caused(DatabaseError, Exception(), sqlstate=state)) is trouble


@pytest.mark.parametrize(
    ("error", "trouble"),
    [
        (OperationalError("connection refused"), Trouble.AWAY),
        (OperationalError("FATAL:  sorry, too many clients already"), Trouble.CROWDED),
        (InterfaceError("connection already closed"), Trouble.AWAY),
        (caused(OperationalError, OSError(28, "No space left on device")), Trouble.FULL),
        (caused(OperationalError, OSError(30, "Read-only file system")), Trouble.READ_ONLY),
        (caused(OperationalError, Exception("no such table"), sqlite_errorcode=1), None),
        (caused(DatabaseError, Exception("no such table"), sqlstate="42P01"), None),
        (ValueError("ours"), None),
    ],
)
def test_a_fault_of_ours_is_no_trouble_of_the_database(error, trouble):
    assert trouble_of(error) is trouble


def test_a_page_and_a_program_get_the_reason():
    error = OperationalError("connection refused")
    middleware = away.DatabaseAway(lambda _: None)

    page = middleware.process_exception(RequestFactory().get("/floors/"), error)
    problem = middleware.process_exception(RequestFactory().get("/api/v1/floors/"), error)

    assert (page.status_code, page["Retry-After"]) == (503, "5")
    assert "The database does not answer" in page.content.decode()
    assert problem["Content-Type"] == "application/problem+json"
    assert b'"code": "database_away"' in problem.content


def test_a_fault_of_ours_stays_one():
    request = RequestFactory().get("/")

    assert away.DatabaseAway(lambda _: None).process_exception(request, ValueError()) is None
    try:
        raise ValueError("ours")
    except ValueError:
        assert away.broken(request).status_code == 500


@contextmanager
def mounted(point: Path, *words: str):
    """Something mounted at `point`; a skip where that is not allowed."""
    point.mkdir(exist_ok=True)
    done = subprocess.run(["mount", *words, str(point)], capture_output=True, text=True)
    if done.returncode:
        pytest.skip(f"mounting needs root: {done.stderr.strip()}")
    try:
        yield
    finally:
        # What is still open there goes with its last user.
        subprocess.run(["umount", "-l", str(point)], check=True)


def fill(folder: Path) -> Path:
    """A file that takes what is left of the disk."""
    filler = folder / "filler"
    with suppress(OSError), filler.open("wb", buffering=0) as file:
        while True:
            file.write(b"x" * 512)
    return filler


def refused(answer: requests.Response, *, reason: str) -> None:
    assert answer.status_code == 503, answer.text[:400]
    assert reason in answer.text
    assert answer.headers["Retry-After"]


def booked_once(before: Look, office: Office) -> None:
    now = office.look()
    assert now.broken == before.broken == []
    assert now.rows["Booking"] == before.rows["Booking"] + 1
    assert now.rows["AuditEvent"] > before.rows["AuditEvent"]


def test_a_full_disk_is_said_and_nothing_is_half_written(tmp_path):
    disk = tmp_path / "disk"
    with mounted(disk, "-t", "tmpfs", "-o", "size=8m", "tmpfs"):
        office = office_at(disk / "office.sqlite3")
        with servers.web(folder=tmp_path, settings={"DATABASE": office.url}) as site:
            desk = Desk(site, office)
            before = office.look()
            with office.held_open():  # the log is there, so it is the writing that fails
                filler = fill(disk)
                refused(desk.book(), reason="The disk that holds the bookings is full")
            refused(desk.book(), reason="The disk that holds the bookings is full")

            filler.unlink()
            assert office.look() == before
            assert desk.book().status_code == 302
            booked_once(before, office)


def test_a_read_only_file_is_said_and_mends_itself(tmp_path):
    (tmp_path / "rw").mkdir()
    office = office_at(tmp_path / "rw" / "office.sqlite3")
    shown = tmp_path / "shown"
    read_only = Office(shown / "office.sqlite3")
    told = {"DATABASE": read_only.url}
    with (
        office.held_open(),
        mounted(shown, "--bind", str(tmp_path / "rw")),
        servers.web(folder=tmp_path, settings=told) as site,
    ):
        desk = Desk(site, office)
        before = office.look()
        subprocess.run(["mount", "-o", "remount,bind,ro", str(shown)], check=True)

        refused(desk.book(), reason="can be read but not changed")

        assert office.look() == before
        subprocess.run(["mount", "-o", "remount,bind,rw", str(shown)], check=True)
        assert desk.book().status_code == 302
        booked_once(before, office)


@pytest.fixture(scope="module")
def cluster():
    try:
        with servers.postgres(durable=True) as running:
            yield running
    except servers.Missing as missing:
        pytest.skip(str(missing))


def test_postgresql_out_of_connections_and_stopped_is_said_and_mends_itself(tmp_path, cluster):
    address = f"postgresql://postgres@127.0.0.1:{cluster.port}"
    with psycopg.connect(f"{address}/postgres", autocommit=True) as root:
        root.execute("CREATE ROLE office LOGIN CONNECTION LIMIT 6")
        root.execute("CREATE DATABASE office OWNER office")
    url = f"postgresql://office@127.0.0.1:{cluster.port}/office"
    office = office_at(url)
    settings = {"DATABASE": url}
    with servers.web(folder=tmp_path, settings=settings, words=("--threads", "2")) as site:
        desk = Desk(site, office)
        before = office.look()
        cut_off(f"{address}/postgres")
        with crowd(url, count=6):
            refused(desk.book(), reason="Too many are asking the database at once")
        cluster.stop()
        try:
            refused(desk.book(), reason="The database does not answer")
            assert requests.get(f"{site.url}/healthz", timeout=10).status_code == 503
        finally:
            cluster.start()
        assert office.look() == before

        assert desk.book().status_code == 302
        booked_once(before, office)


def cut_off(address: str) -> None:
    """End every connection of the office, as a failing network would."""
    with psycopg.connect(address, autocommit=True) as root:
        root.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE usename = 'office'"
        )


@contextmanager
def crowd(address: str, *, count: int):
    """So many others who hold a connection."""
    opened = [psycopg.connect(address) for _ in range(count)]
    try:
        yield
    finally:
        for each in opened:
            each.close()
