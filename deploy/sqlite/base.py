"""SQLite with a queue at the door: writers take turns instead of polling.

SQLite's busy handler sleeps and retries, so under load one process can wait many seconds
while others write again and again. An advisory lock on a file beside the database makes
writers queue. It is taken just before BEGIN IMMEDIATE and released with COMMIT or ROLLBACK;
reading outside a transaction never takes it.

The first connection of a process to a file is looked at, too: where the file or the settings
do not keep what the program relies on, there is no connection.
"""

import os
import sqlite3
from typing import Any

from django.core import checks
from django.core.exceptions import ImproperlyConfigured
from django.db.backends.base.validation import BaseDatabaseValidation
from django.db.backends.sqlite3 import base
from django.db.utils import OperationalError

from deploy.sqlite import gate_lock, soundness

# Files whose first connection in this process was found sound.
_sound: set[str] = set()


class Validation(BaseDatabaseValidation):
    """What `manage.py check --database default` and `migrate` say of the connection."""

    def check(self, **kwargs: Any) -> list[checks.CheckMessage]:
        """An error for each thing the connection does not keep."""
        wrapper: Any = self.connection
        try:
            wrapper.ensure_connection()
        except ImproperlyConfigured as fault:
            return [checks.Error(str(fault), id="slabcast.E001")]
        return []


class DatabaseWrapper(base.DatabaseWrapper):
    """Django's SQLite back end with fair turns for writers of several processes."""

    validation_class = Validation

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # One descriptor for each connection, which is one for each thread: threads that
        # shared a descriptor would all hold the lock at once.
        self._gate: int | None = None

    def get_new_connection(self, conn_params: Any) -> sqlite3.Connection:
        """A connection that keeps what the program relies on; ImproperlyConfigured says what not.

        It stands here, since every process connects: web, worker and command alike.
        """
        connection: sqlite3.Connection = super().get_new_connection(conn_params)
        file = str(self.settings_dict["NAME"])
        if file in _sound or self.is_in_memory_db():
            return connection
        mode: str | None = self.transaction_mode  # type: ignore[attr-defined]
        found = soundness.faults(connection, file=file, transaction_mode=mode)
        if found:
            connection.close()
            raise ImproperlyConfigured(f"The database {file} cannot be used. {' '.join(found)}")
        _sound.add(file)
        return connection

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
        try:
            gate = os.open(f"{self.settings_dict['NAME']}.gate", os.O_RDWR | os.O_CREAT, 0o600)
        except OSError as trouble:  # read only, or full: a fault of the database to whoever asks
            raise OperationalError(
                f"the gate of the database does not open: {trouble}"
            ) from trouble
        gate_lock.take(gate)
        self._gate = gate

    def _leave_gate(self) -> None:
        if self._gate is not None:
            os.close(self._gate)  # closing the descriptor gives the lock back
            self._gate = None
