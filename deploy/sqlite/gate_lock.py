"""The lock at SQLite's gate: writers are let in by turns, and nobody waits for ever."""

import fcntl
import os
import sqlite3
import threading

from django.db.utils import OperationalError

# Whoever stands here for longer is told that the database is busy. A transaction of the program
# takes some hundredths of a second; one that takes seconds is a process that was stopped.
MOST_S = 10.0


def take(gate: int, *, most_s: float = MOST_S) -> None:
    """Lock the open file `gate`; if it takes too long, close it and raise OperationalError.

    The kernel lets waiters in by turns, but only those that wait without a limit. So a thread
    waits like that, and gives the lock back at once where nobody wants it any more.
    """
    try:
        fcntl.flock(gate, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        _wait(gate, most_s)


def _wait(gate: int, most_s: float) -> None:
    decided, come, gone = threading.Lock(), threading.Event(), threading.Event()

    def stand() -> None:
        fcntl.flock(gate, fcntl.LOCK_EX)
        with decided:
            come.set()
            if gone.is_set():
                os.close(gate)

    threading.Thread(target=stand, name="gate", daemon=True).start()
    if come.wait(most_s):
        return
    with decided:
        if come.is_set():  # in the very last moment
            return
        gone.set()
    # What SQLite itself says to whoever waits too long, so that it is treated alike.
    cause = sqlite3.OperationalError("another writer has held the database for too long")
    cause.sqlite_errorcode, cause.sqlite_errorname = sqlite3.SQLITE_BUSY, "SQLITE_BUSY"
    raise OperationalError(f"{cause}: {most_s:g} s at the gate") from cause
