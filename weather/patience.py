"""How long asking may take in all: a limit over every request of one thread's block of work."""

import math
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

_mine = threading.local()


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """All requests of the block together may take so long; blocks are not nested."""
    _mine.stops = time.monotonic() + seconds
    try:
        yield
    finally:
        _mine.stops = math.inf


def left_s() -> float:
    """Seconds left in the block; without a block, no end."""
    stops: float = getattr(_mine, "stops", math.inf)
    return stops - time.monotonic()


def give_back(seconds: float) -> None:
    """Time that counts for nobody, such as our own queue at a host."""
    _mine.stops = getattr(_mine, "stops", math.inf) + seconds
