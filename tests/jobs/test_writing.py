"""The one way to write: repeated as a whole while the database is busy, never on a refusal.

Busy is provoked, not played: on SQLite another connection holds the write lock (SQLITE_BUSY),
on PostgreSQL a row is locked (SQLSTATE 55P03) or two writers wait in a ring (40P01).
"""

import sqlite3
import threading
from collections.abc import Callable, Iterator
from types import SimpleNamespace

import pytest
from django.db import OperationalError, connection

from jobs import writing
from jobs.models import Branch
from jobs.refusals import Busy, Refusal
from jobs.writing import TRIES, run_write
from tests import builders

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def branch(transactional_db: None) -> Branch:
    return builders.branch(name="Wanted")


@pytest.fixture
def naps(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """Naps between tries take no time: `taken` has each, and each runs the next of `planned`."""
    planned: list[Callable[[], None]] = []
    taken: list[float] = []

    def nap(seconds: float) -> None:
        taken.append(seconds)
        if planned:
            planned.pop(0)()

    clock = SimpleNamespace(sleep=nap, monotonic=lambda: sum(taken))
    monkeypatch.setattr(writing, "time", clock)
    return SimpleNamespace(planned=planned, taken=taken)


@pytest.fixture
def let_go(branch: Branch) -> Iterator[Callable[[], None]]:
    """Another connection holds what `write` needs, until this is called."""
    if connection.vendor == "sqlite":
        other = sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout = 0")  # else each try would wait 20 s first
        yield lambda: other.execute("ROLLBACK")
        connection.close()  # and with it the short patience
    else:
        other = connection.copy()
        other.set_autocommit(False)
        with other.cursor() as cursor:
            cursor.execute("SELECT id FROM jobs_branch WHERE id = %s FOR UPDATE", [branch.pk])
        yield other.rollback
    other.close()


def write(branch: Branch) -> str:
    """Make one row, then lock another: whoever repeats only half of it leaves two rows."""
    builders.branch(name="Made")
    wanted = Branch.objects.select_for_update(nowait=True).get(pk=branch.pk)
    wanted.company = "Written"
    wanted.save()
    return "written"


def made() -> int:
    return Branch.objects.filter(name="Made").count()


def test_a_busy_database_is_asked_again(branch, naps, let_go):
    naps.planned.append(let_go)

    assert run_write(write)(branch) == "written"

    assert len(naps.taken) == 1
    assert made() == 1
    branch.refresh_from_db()
    assert branch.company == "Written"


def test_whoever_lets_go_before_the_last_try_is_in_time(branch, naps, let_go):
    naps.planned += [lambda: None] * (TRIES - 2) + [let_go]

    assert run_write(write)(branch) == "written"

    assert len(naps.taken) == 3  # three naps lie between four tries
    assert made() == 1


def test_after_four_tries_the_asker_hears_that_the_database_is_busy(branch, naps, let_go):
    with pytest.raises(Busy, match="Please try again") as busy:
        run_write(write)(branch)

    assert len(naps.taken) == 3
    assert isinstance(busy.value.__cause__, OperationalError)
    assert made() == 0
    let_go()
    assert run_write(write)(branch) == "written"  # nothing was left locked


def test_whoever_has_waited_for_seconds_is_told_so_and_not_made_to_wait_again(
    branch, naps, let_go, monkeypatch
):
    minutes = iter(range(0, 600, 60))
    monkeypatch.setattr(writing.time, "monotonic", lambda: next(minutes))

    with pytest.raises(Busy, match="Please try again"):
        run_write(write)(branch)

    assert naps.taken == []


def test_two_writers_in_a_ring_both_finish(branch):
    """On PostgreSQL the ring is real: each holds what the other wants, one must begin again."""
    rows = (branch, builders.branch())
    can_ring = connection.features.has_select_for_update
    both_hold = threading.Barrier(2)
    tries: list[int] = []
    done: list[str] = []

    def work(number: int) -> str:
        tries.append(number)
        mine, theirs = rows[number], rows[1 - number]
        Branch.objects.filter(pk=mine.pk).update(telephone=f"held by {number}")
        if can_ring and tries.count(number) == 1:
            both_hold.wait(10)
        Branch.objects.filter(pk=theirs.pk).update(email=f"{number}@ring.example")
        return f"{number} finished"

    def in_a_thread(number: int) -> None:
        try:
            done.append(run_write(work)(number))
        finally:
            connection.close()

    threads = [threading.Thread(target=in_a_thread, args=(number,)) for number in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)

    assert sorted(done) == ["0 finished", "1 finished"]
    assert len(tries) == (3 if can_ring else 2)
    for number, row in enumerate(rows):
        row.refresh_from_db()
        assert (row.telephone, row.email) == (f"held by {number}", f"{1 - number}@ring.example")


def test_a_refusal_is_never_repeated_and_leaves_nothing(branch, naps):
    tries: list[str] = []

    @run_write
    def refuse() -> None:
        tries.append("once")
        builders.branch(name="Made")
        raise Refusal("Not on a Sunday.")

    with pytest.raises(Refusal, match="Not on a Sunday"):
        refuse()

    assert (tries, naps.taken, made()) == (["once"], [], 0)


def test_trouble_that_will_not_pass_is_never_repeated(branch, naps):
    """A missing table on SQLite, a statement that ran too long on PostgreSQL."""
    tries: list[str] = []

    @run_write
    def fail() -> None:
        tries.append("once")
        builders.branch(name="Made")
        with connection.cursor() as cursor:
            if connection.vendor == "sqlite":
                cursor.execute("SELECT 1 FROM no_such_table")
            cursor.execute("SET LOCAL statement_timeout = 1")
            cursor.execute("SELECT pg_sleep(5)")

    with pytest.raises(OperationalError):
        fail()

    assert (tries, naps.taken, made()) == (["once"], [], 0)


def test_a_write_inside_another_is_a_mistake_in_the_program(branch):
    @run_write
    def outer() -> None:
        builders.branch(name="Made")
        run_write(write)(branch)

    with pytest.raises(RuntimeError, match="write must be the outermost transaction"):
        outer()

    assert made() == 0
