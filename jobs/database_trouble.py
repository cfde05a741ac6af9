"""Troubles of the database that are nobody's mistake: which one it is, in a sentence."""

import errno
from enum import Enum

from django.db import DatabaseError, InterfaceError, OperationalError


class Trouble(Enum):
    """Why nothing can be saved at the moment; the value is a sentence for a person."""

    FULL = "The disk that holds the bookings is full. Nothing was saved."
    READ_ONLY = "The bookings can be read but not changed at the moment. Nothing was saved."
    CROWDED = "Too many are asking the database at once. Nothing was saved."
    BUSY = "The database is busy. Nothing was saved."
    AWAY = (
        "The database does not answer. If you were saving something, look whether it is there "
        "before you do it again."
    )

    @property
    def code(self) -> str:
        """The word for programs."""
        return f"database_{self.name.lower()}"


# Primary result codes of SQLite (sqlite.org/rescode.html): BUSY, LOCKED; READONLY; IOERR,
# CANTOPEN, PROTOCOL, NOTADB; FULL.
SQLITE = {
    5: Trouble.BUSY,
    6: Trouble.BUSY,
    8: Trouble.READ_ONLY,
    10: Trouble.AWAY,
    13: Trouble.FULL,
    14: Trouble.AWAY,
    15: Trouble.BUSY,
    26: Trouble.AWAY,
}
# The file of shared memory beside the log could not grow: the disk is full there, too.
IOERR_SHMSIZE = 4874
# SQLSTATE of PostgreSQL (appendix A of its manual), the longest match first: disk full, too
# many connections, read-only transaction; lock not available, cancelled by a timeout,
# serialization, deadlock; then whole classes: connection, resources, operator, system.
POSTGRESQL = {
    "53100": Trouble.FULL,
    "53300": Trouble.CROWDED,
    "25006": Trouble.READ_ONLY,
    "55P03": Trouble.BUSY,
    "57014": Trouble.BUSY,
    "40001": Trouble.BUSY,
    "40P01": Trouble.BUSY,
    "08": Trouble.AWAY,
    "53": Trouble.AWAY,
    "57P": Trouble.AWAY,
    "58": Trouble.AWAY,
}
# What libpq is told while it connects comes without a SQLSTATE, as text alone.
CROWD = ("too many clients", "remaining connection slots", "too many connections")


def trouble_of(error: BaseException) -> Trouble | None:
    """The trouble behind an error of the database; None where the program itself is at fault."""
    if isinstance(error, InterfaceError):  # the connection broke under our hands
        return Trouble.AWAY
    if not isinstance(error, DatabaseError):
        return None
    cause = error.__cause__
    code = getattr(cause, "sqlite_errorcode", None)
    if code is not None:
        return Trouble.FULL if code == IOERR_SHMSIZE else SQLITE.get(code & 0xFF)
    state = getattr(cause, "sqlstate", None)
    if state is not None:
        found = [name for name in POSTGRESQL if state.startswith(name)]
        return POSTGRESQL[max(found, key=len)] if found else None
    return _untold(error)


def _untold(error: DatabaseError) -> Trouble | None:
    if not isinstance(error, OperationalError):
        return None
    if any(words in str(error) for words in CROWD):
        return Trouble.CROWDED
    return _of_the_system(error.__cause__) or Trouble.AWAY


def _of_the_system(cause: BaseException | None) -> Trouble | None:
    """The trouble behind an error of the operating system: no space, a quota, read only."""
    number = cause.errno if isinstance(cause, OSError) else None
    if number in {errno.ENOSPC, errno.EDQUOT}:
        return Trouble.FULL
    return Trouble.READ_ONLY if number in {errno.EROFS, errno.EACCES, errno.EPERM} else None
