"""SQLite is set up as the program needs it, and a wrong set-up is refused by every process."""

import os
import subprocess
import sys
import threading
import time

import pytest
from django.core import checks
from django.core.exceptions import ImproperlyConfigured
from django.db import OperationalError

from deploy import settings as house
from deploy.sqlite import base, gate_lock, soundness
from deploy.sqlite.base import DatabaseWrapper
from jobs.database_trouble import Trouble, trouble_of
from jobs.writing import is_transient
from tests import servers

MOUNTS = """\
22 1 254:0 / / rw,relatime - ext4 /dev/vda rw
40 22 0:40 / /srv rw,relatime shared:1 - nfs4 box:/srv rw
41 40 0:41 / /srv/local\\040disk rw,relatime - xfs /dev/vdb rw
"""


@pytest.fixture(autouse=True)
def files_of_their_own(django_db_blocker):
    """These tests open files of their own, not the database of the test run."""
    with django_db_blocker.unblock():
        yield


def opened(tmp_path, *, journal="WAL", foreign_keys="ON", sync="NORMAL", **options):
    """A connection made as the settings say, with some of them changed."""
    told = house.database(f"sqlite:///{tmp_path}/office.sqlite3")
    told["OPTIONS"] |= {
        "init_command": f"PRAGMA journal_mode={journal}; PRAGMA synchronous={sync};"
        f"PRAGMA foreign_keys={foreign_keys};",
        **options,
    }
    filled = {"TIME_ZONE": None, "CONN_HEALTH_CHECKS": False, "CONN_MAX_AGE": 0, "AUTOCOMMIT": True}
    return DatabaseWrapper({**filled, **told}, alias="other")


def test_the_settings_of_the_house_are_sound(tmp_path):
    wrapper = opened(tmp_path)

    with wrapper.cursor() as cursor:
        kept = {
            name: cursor.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("journal_mode", "foreign_keys", "synchronous", "busy_timeout")
        }

    assert kept == {
        "journal_mode": "wal",
        "foreign_keys": 1,
        "synchronous": 1,
        "busy_timeout": 20000,
    }
    wrapper.close()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"journal": "DELETE"}, "write-ahead log is off"),
        ({"foreign_keys": "OFF"}, "Foreign keys are not enforced"),
        ({"sync": "OFF"}, "Nothing is synced"),
        ({"timeout": 1}, "must be waited for 5000 ms"),
        ({"transaction_mode": "DEFERRED"}, "must begin IMMEDIATE"),
    ],
)
def test_a_wrong_set_up_is_no_connection(tmp_path, changed, sentence):
    wrapper = opened(tmp_path, **changed)

    with pytest.raises(ImproperlyConfigured, match=sentence):
        wrapper.ensure_connection()


def test_a_file_on_another_machine_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(soundness, "MOUNTS", tmp_path / "mounts")
    (tmp_path / "mounts").write_text(f"40 22 0:40 / {tmp_path} rw - nfs4 box:/srv rw\n")

    with pytest.raises(ImproperlyConfigured, match=r"network file system \(nfs4\)"):
        opened(tmp_path).ensure_connection()


@pytest.mark.parametrize(
    ("file", "kind"),
    [("/srv/a.sqlite3", "nfs4"), ("/srv/local disk/a.sqlite3", "xfs"), ("/srvx/a", "ext4")],
)
def test_the_nearest_mount_says_what_a_file_lies_on(file, kind):
    assert soundness.filesystem(file, mounts=MOUNTS) == kind


def test_where_no_mounts_are_told_nothing_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(soundness, "MOUNTS", tmp_path / "none")

    opened(tmp_path).ensure_connection()


def test_the_check_command_says_it_too(tmp_path):
    wrapper = opened(tmp_path, journal="DELETE")

    found = wrapper.validation.check()

    assert [each.id for each in found] == ["slabcast.E001"]
    assert found[0].level == checks.ERROR


@pytest.mark.parametrize(
    "words",
    [
        ("-m", "gunicorn", "deploy.wsgi", "--no-control-socket", "--bind", "127.0.0.1:0"),
        ("manage.py", "work", "--once"),
        ("manage.py", "migrate"),
    ],
    ids=["web", "work", "command"],
)
def test_web_worker_and_command_refuse_to_start(tmp_path, words):
    # A folder that is named like a network share, as far as these processes can tell.
    (tmp_path / "mounts").write_text(f"40 22 0:40 / {tmp_path} rw - cifs //box/srv rw\n")
    (tmp_path / "sitecustomize.py").write_text(
        "from pathlib import Path\n"
        "from deploy.sqlite import soundness\n"
        f"soundness.MOUNTS = Path({str(tmp_path / 'mounts')!r})\n"
    )
    told = servers.child_environment({"DEMO": "1", "STATE_DIR": str(tmp_path)})
    told["PYTHONPATH"] = f"{tmp_path}:{told['PYTHONPATH']}"

    answer = subprocess.run(
        [sys.executable, *words],
        cwd=servers.ROOT,
        env=told,
        capture_output=True,
        text=True,
        timeout=60,
    )

    assert answer.returncode != 0
    assert "network file system (cifs)" in answer.stdout + answer.stderr


def test_a_gate_that_does_not_open_is_a_fault_of_the_database(tmp_path, monkeypatch):
    own = opened(tmp_path)
    own.ensure_connection()

    def refuse(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(base.os, "open", refuse)

    with pytest.raises(OperationalError, match="No space left"):
        own.set_autocommit(False, force_begin_transaction_with_broken_autocommit=True)


def test_whoever_waits_too_long_at_the_gate_is_told_and_leaves_the_queue(tmp_path, monkeypatch):
    monkeypatch.setattr(gate_lock.take, "__kwdefaults__", {"most_s": 0.2})
    inside, waiting, after = (opened(tmp_path) for _ in range(3))
    begin(inside)

    with pytest.raises(OperationalError, match="held the database for too long") as told:
        begin(waiting)

    assert is_transient(told.value)
    assert trouble_of(told.value) is Trouble.BUSY
    inside.rollback()
    begin(after)  # the one who gave up holds nothing
    after.rollback()


def test_writers_at_the_gate_come_in_by_turns(tmp_path):
    """Twenty threads without a pause: each gets in at least a tenth as often as most of them."""
    turns = [0] * 20
    path = str(tmp_path / "gate")

    def write(number: int) -> None:
        while sum(turns) < 600:
            gate = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
            gate_lock.take(gate)
            time.sleep(0.002)
            turns[number] += 1
            os.close(gate)

    threads = [threading.Thread(target=write, args=(number,)) for number in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert 10 * min(turns) >= sum(turns) / len(turns), turns


def begin(wrapper: DatabaseWrapper) -> None:
    wrapper.set_autocommit(False, force_begin_transaction_with_broken_autocommit=True)
