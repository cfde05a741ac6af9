"""Backups: made while the office works, proved, restored to a new place, and put to work there."""

import io
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

import icalendar
import psycopg
import pytest
import requests

from dispatch.backups import postgres_dump, sealing, sqlite_file
from dispatch.backups.contents import SEQUENCE_STEP, BackupRefused, Contents
from tests import servers
from tests.office_on_the_web import Desk, Office, child, office_at

KEY = "only the drill knows this passphrase"
OTHER_KEY = "somebody else knows this passphrase"


@dataclass
class Place:
    """Where databases of one engine can be made."""

    folder: Path
    cluster: servers.Postgres | None = None

    def new(self, name: str) -> str | Path:
        """An empty database, or a file that is not there yet."""
        if self.cluster is None:
            return self.folder / f"{name}.sqlite3"
        with psycopg.connect(self.address("postgres"), autocommit=True) as root:
            root.execute(f"CREATE DATABASE {name}")
        return self.address(name)

    def address(self, name: str) -> str:
        assert self.cluster is not None
        return f"postgresql://postgres@127.0.0.1:{self.cluster.port}/{name}"


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def place(request, tmp_path_factory) -> Iterator[Place]:
    folder = tmp_path_factory.mktemp(request.param)
    if request.param == "sqlite":
        yield Place(folder)
        return
    try:
        with servers.postgres() as cluster:
            yield Place(folder, cluster)
    except servers.Missing as missing:
        pytest.skip(str(missing))


@pytest.fixture(scope="module")
def office(place) -> Office:
    return office_at(place.new("office"))


def typed(office: Office, *words: str, **told: str) -> "subprocess.CompletedProcess[str]":
    """A command as somebody types it, refused or not."""
    return subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=servers.ROOT,
        env=servers.child_environment({"DEMO": "1", "DATABASE": office.url, **told}),
        capture_output=True,
        text=True,
        timeout=180,
    )


def backed_up(office: Office, to: Path, *, key: str = "") -> Path:
    told = {"DATABASE": office.url, "BACKUP_KEY": key}
    made = json.loads(child(told, "manage.py", "backup", "--to", str(to), "--json"))
    return Path(made["file"])


@contextmanager
def somebody_books(office: Office) -> Iterator[list[int]]:
    """Bookings that are answered for, growing while the block runs."""
    answered: list[int] = []
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.office_on_the_web", "work_on"],
        cwd=servers.ROOT,
        env=servers.child_environment({"DEMO": "1", "DATABASE": office.url}),
        stdout=subprocess.PIPE,
        text=True,
    )
    reader = servers.reading(process.stdout, lambda line: answered.append(int(line)))
    try:
        servers.wait_for(lambda: len(answered) >= 5, what="the first bookings", seconds=60)
        yield answered
    finally:
        servers.end(process)
        reader.join()


def ids(office: Office) -> set[int]:
    query = "SELECT id FROM dispatch_booking"
    if isinstance(office.database, Path):
        with closing(sqlite3.connect(office.database)) as db:
            return {row[0] for row in db.execute(query)}
    with psycopg.connect(office.database) as server:
        return {row[0] for row in server.execute(query)}


def test_the_drill(place, office, tmp_path):
    with somebody_books(office) as answered:
        before = list(answered)
        file = backed_up(office, tmp_path, key=KEY)
        during = len(answered)
        servers.wait_for(lambda: len(answered) > during, what="a booking after the backup")
    again = Office(place.new("again"), office.seeded)

    done = typed(again, "restore", str(file), "--yes", BACKUP_KEY=KEY)

    assert done.returncode == 0, done.stderr
    assert (file.stat().st_mode & 0o777, list(tmp_path.iterdir())) == (0o600, [file])
    assert file.read_bytes().startswith(sealing.MAGIC)
    assert b"Ada Fields" not in file.read_bytes()
    assert typed(again, "migrate", "--check").returncode == 0
    assert set(before) <= ids(again)
    found = again.look()
    assert found.broken == []
    assert found.rows["Claim"] > 0
    held = notices(again)
    assert set(held) == {"held"}
    at_work(again, tmp_path)
    assert f"{held['held']} mails are held" in typed(again, "release_notices", "--list").stdout
    typed(again, "release_notices")
    assert set(notices(again)) == {"pending"}


def at_work(office: Office, folder: Path) -> None:
    """Somebody signs in and books; a phone reads the feed."""
    with servers.web(folder=folder, settings={"DATABASE": office.url}) as site:
        feed = requests.get(site.url + office.seeded["feed"], timeout=60)
        assert Desk(site, office).book().status_code == 302
    events = icalendar.Calendar.from_ical(feed.content).walk("VEVENT")
    assert events
    assert all(int(event["SEQUENCE"]) >= SEQUENCE_STEP for event in events)
    assert len({event.decoded("LAST-MODIFIED") for event in events}) == 1
    # Only the booking that was made just now waits to be told.
    counted = notices(office)
    assert counted.pop("pending") >= 1
    assert set(counted) == {"held"}
    settle(office)


def settle(office: Office) -> None:
    """Take the new mails out of the count."""
    query = "UPDATE dispatch_notice SET state = 'sent' WHERE state = 'pending'"
    if isinstance(office.database, Path):
        with closing(sqlite3.connect(office.database)) as db, db:
            db.execute(query)
    else:
        with psycopg.connect(office.database) as server:
            server.execute(query)


def notices(office: Office) -> dict[str, int]:
    """How many mails to customers stand where, those that went out left aside."""
    query = "SELECT state, count(*) FROM dispatch_notice WHERE state <> 'sent' GROUP BY state"
    if isinstance(office.database, Path):
        with closing(sqlite3.connect(office.database)) as db:
            return dict(db.execute(query).fetchall())
    with psycopg.connect(office.database) as server:
        return dict(server.execute(query).fetchall())


@pytest.mark.long
def test_what_cannot_be_restored_is_refused_and_changes_nothing(place, office, tmp_path):
    file = backed_up(office, tmp_path)
    sealed = backed_up(office, tmp_path, key=KEY)
    cut = tmp_path / "cut"
    cut.write_bytes(file.read_bytes()[: file.stat().st_size // 2])
    before = office.look()

    for source, key, sentence in [
        (cut, "", "damaged"),
        (sealed, "", "The backup is encrypted"),
        (sealed, OTHER_KEY, "is not the key this backup was made with"),
        (office_note(tmp_path), "", "This is no backup of Slabcast"),
        (of_the_other_engine(place, tmp_path), "", "This is a backup of"),
        (tmp_path / "none", "", "There is no file"),
    ]:
        done = typed(office, "restore", str(source), "--yes", BACKUP_KEY=key)
        assert done.returncode == 1, source
        assert sentence in done.stderr

    assert "Nothing was restored" in typed(office, "restore", str(file)).stderr
    with in_use(office):
        done = typed(office, "restore", str(file), "--yes")
        assert "The database is in use" in done.stderr
    assert office.look() == before
    # And when nobody uses it any more, it goes into the same place.
    done = typed(office, "restore", str(file), "--yes")
    assert done.returncode == 0, done.stderr
    assert office.look() == before


def office_note(folder: Path) -> Path:
    note = folder / "note"
    note.write_text("not a backup")
    return note


def of_the_other_engine(place: Place, folder: Path) -> Path:
    other = folder / "other"
    other.write_bytes(sqlite_file.MAGIC if place.cluster else postgres_dump.MAGIC)
    return other


@contextmanager
def in_use(office: Office) -> Iterator[None]:
    if isinstance(office.database, Path):
        with office.held_open():
            yield
    else:
        with psycopg.connect(office.database):
            yield


@pytest.mark.long
def test_a_backup_of_a_newer_release_is_refused(place, office, tmp_path):
    newer = Office(place.new("newer"), office.seeded)
    done = typed(newer, "restore", str(backed_up(office, tmp_path)), "--yes")
    assert done.returncode == 0, done.stderr
    query = (
        "INSERT INTO django_migrations (app, name, applied)"
        " VALUES ('jobs', '9999_from_tomorrow', '2030-01-01')"
    )
    if isinstance(newer.database, Path):
        with closing(sqlite3.connect(newer.database)) as db, db:
            db.execute(query)
    else:
        with psycopg.connect(newer.database) as server:
            server.execute(query)

    done = typed(office, "restore", str(backed_up(newer, tmp_path)), "--yes")

    assert "does not know jobs.9999_from_tomorrow" in done.stderr


def test_a_backup_that_cannot_be_written_leaves_nothing_behind(office, tmp_path):
    (tmp_path / "file").write_text("")

    done = typed(office, "backup", "--to", str(tmp_path / "file" / "below"))

    assert done.returncode == 1
    assert "No backup was made" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_a_short_key_is_refused(office, tmp_path):
    done = typed(office, "backup", "--to", str(tmp_path), BACKUP_KEY="short")

    assert "must have 20 characters or more" in done.stderr
    assert list(tmp_path.iterdir()) == []


SIZES = [0, 1, sealing.PIECE - 1, sealing.PIECE, sealing.PIECE + 1, 3 * sealing.PIECE]


@pytest.mark.parametrize("size", SIZES)
def test_what_is_sealed_comes_back(size):
    said = os.urandom(size)

    assert unsealed(sealed(said)) == said


def sealed(said: bytes) -> bytes:
    target = io.BytesIO()
    sealing.seal(io.BytesIO(said), target, key=KEY)
    return target.getvalue()


def unsealed(kept: bytes, *, key: str = KEY) -> bytes:
    target = io.BytesIO()
    sealing.unseal(io.BytesIO(kept), target, key=key)
    return target.getvalue()


HEAD = len(sealing.MAGIC) + sealing.SALT + sealing.CHECK
STEP = sealing.PIECE + sealing.TAG


@pytest.mark.parametrize(
    "harm",
    [
        lambda kept: kept[:-1],
        lambda kept: kept[: HEAD + STEP],  # cut exactly between two pieces
        lambda kept: kept[:HEAD],
        lambda kept: kept[: HEAD // 2],
        lambda kept: kept[:-40] + bytes([kept[-40] ^ 1]) + kept[-39:],
        lambda kept: kept[:HEAD] + kept[HEAD + STEP :],  # the first piece left out
        lambda kept: kept[: HEAD + STEP] + kept[HEAD:],  # a piece twice
        lambda kept: kept + b"x",
    ],
)
def test_any_change_of_a_sealed_file_is_noticed(harm):
    kept = sealed(os.urandom(2 * sealing.PIECE + 100))

    with pytest.raises(BackupRefused):
        unsealed(harm(kept))


def test_a_copy_that_breaks_a_promise_is_no_backup(office, tmp_path):
    if not isinstance(office.database, Path):  # the server keeps the promise; see below
        assert postgres_dump.examine(backed_up(office, tmp_path)).faults == []
        return
    copy = tmp_path / "copy.sqlite3"
    with closing(sqlite3.connect(office.database)) as db, db:
        db.execute("VACUUM INTO ?", (str(copy),))
    assert sqlite_file.examine(copy).faults == []
    lame = Path(shutil.copy(copy, tmp_path / "lame.sqlite3"))
    with closing(sqlite3.connect(lame)) as db:
        db.executescript(
            "CREATE TABLE other AS SELECT * FROM dispatch_claim; DROP TABLE dispatch_claim;"
            "ALTER TABLE other RENAME TO dispatch_claim;"
            "INSERT INTO dispatch_claim (resource_id, granule) VALUES (1, 7), (1, 7);"
        )

    assert sqlite_file.examine(lame).faults == [
        "The guard nobody_is_in_two_places is missing.",
        "Somebody or something is claimed twice for one quarter of an hour.",
    ]
    assert Contents(counts={"jobs_job": 3}).fewer_than({"jobs_job": 4}) == [
        "jobs_job has 3 rows, and there were 4."
    ]


def test_a_dump_is_looked_through_row_by_row():
    contents = Contents()
    dump = [
        b"COPY public.dispatch_claim (id, granule, resource_id) FROM stdin;\n",
        b"1\t7\t1\n",
        b"2\t7\t2\n",
        b"3\t7\t1\n",
        b"\\.\n",
        b"COPY public.dispatch_booking (id, state, job_id) FROM stdin;\n",
        b"1\tbooked\t4\n",
        b"2\tcalled_off\t4\n",
        b"3\theld\t4\n",
        b"\\.\n",
    ]

    postgres_dump._count(iter(dump), contents)

    assert contents.counts == {"dispatch_claim": 3, "dispatch_booking": 3}
    assert contents.faults == [
        "Somebody or something is claimed twice for one quarter of an hour.",
        "A job has two open bookings.",
    ]
