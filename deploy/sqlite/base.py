"""SQLite with a queue at the door: writers take turns instead of polling.

SQLite's busy handler sleeps and retries, so under load one process can wait many seconds
while others write again and again. An advisory lock on a file beside the database makes
writers queue. It is taken just before BEGIN IMMEDIATE and released with COMMIT or ROLLBACK;
reading outside a transaction never takes it.
"""

import fcntl
import os
from typing import Any

from django.db.backends.sqlite3 import base


class DatabaseWrapper(base.DatabaseWrapper):
    """Django's SQLite back end with fair turns for writers of several processes."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # One descriptor for each connection, which is one for each thread: threads that
        # shared a descriptor would all hold the lock at once.
        self._gate: int | None = None

    def _start_transaction_under_autocommit(self) -> None:
        self._enter_gate()
        try:
            super()._start_transaction_under_autocommit()  # type: ignore[misc]
        except BaseException:
            self._leave_gate()
            raise

    def _commit(self) -> None:
        try:
            super()._commit()  # type: ignore[misc]
        finally:
            self._leave_gate()

    def _rollback(self) -> None:
        try:
            super()._rollback()  # type: ignore[misc]
        finally:
            self._leave_gate()

    def _close(self) -> None:
        try:
            super()._close()  # type: ignore[misc]
        finally:
            self._leave_gate()

    def _enter_gate(self) -> None:
        if self._gate is not None or self.is_in_memory_db():
            return
        gate = os.open(f"{self.settings_dict['NAME']}.gate", os.O_RDWR | os.O_CREAT, 0o600)
        fcntl.flock(gate, fcntl.LOCK_EX)
        self._gate = gate

    def _leave_gate(self) -> None:
        if self._gate is not None:
            os.close(self._gate)  # closing the descriptor gives the lock back
            self._gate = None
