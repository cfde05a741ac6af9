"""The one way to write: a whole transaction, repeated only when the database was busy."""

import random
import time
from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from django.db import OperationalError, connection, transaction

from jobs.refusals import Busy

P = ParamSpec("P")
T = TypeVar("T")

TRIES = 4
# Whoever has waited this long is told so, instead of waiting as long again.
PATIENCE_S = 2.5
# SQLSTATE of PostgreSQL: serialization failure, deadlock, lock not available.
TRANSIENT_SQLSTATES = {"40001", "40P01", "55P03"}
# Primary result codes of SQLite: BUSY and LOCKED; extended codes keep them in the low byte.
TRANSIENT_SQLITE = {5, 6}


def is_transient(error: BaseException) -> bool:
    """Whether trying the whole transaction again can succeed."""
    cause = error.__cause__
    if getattr(cause, "sqlstate", None) in TRANSIENT_SQLSTATES:
        return True
    return (getattr(cause, "sqlite_errorcode", 0) & 0xFF) in TRANSIENT_SQLITE


def run_write(work: Callable[P, T]) -> Callable[P, T]:
    """Run `work` in one transaction, again as a whole on busy or deadlock, never on a refusal.

    It must be outermost: inside another transaction a repeat could not undo what came
    before, so that is refused as a mistake in the program.
    """

    @wraps(work)
    def written(*args: P.args, **kwargs: P.kwargs) -> T:
        if connection.in_atomic_block:
            raise RuntimeError(f"{work.__name__} must be the outermost transaction")
        begun = time.monotonic()
        for attempt in range(TRIES):
            try:
                with transaction.atomic():
                    return work(*args, **kwargs)
            except OperationalError as trouble:
                if not is_transient(trouble):
                    raise
                waited_s = time.monotonic() - begun
                if attempt == TRIES - 1 or waited_s > PATIENCE_S:
                    raise Busy("The database is busy. Please try again in a moment.") from trouble
                time.sleep(random.random() * 0.03 * 2**attempt)  # noqa: S311  jitter, no secret
        raise AssertionError("unreachable")

    return written
