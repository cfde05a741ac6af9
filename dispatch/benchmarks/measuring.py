"""Measuring: how long something takes, how many queries it asks, and beside what."""

from collections.abc import Callable
from dataclasses import dataclass
from statistics import median, quantiles
from time import perf_counter
from typing import Any, TypeVar

from django.db import connection
from django.test.utils import CaptureQueriesContext

T = TypeVar("T")
Clock = Callable[[], float]


@dataclass(frozen=True)
class Measured:
    """One way of doing something: how long each time took (ms), and the queries of one time."""

    took_ms: list[float]
    queries: int

    @property
    def median_ms(self) -> float:
        """The time in the middle."""
        return median(self.took_ms)


def measured(
    work: Callable[[], object], *, times: int, warm: int = 1, clock: Clock = perf_counter
) -> Measured:
    """`work` done `times` times after `warm` times that do not count; queries counted apart.

    With `process_time` as the clock, what else the machine does is left out.
    """
    for _ in range(warm):
        work()
    with CaptureQueriesContext(connection) as asked:
        work()
    queries = len(asked)  # the next request empties the log
    return Measured([timed(work, clock)[0] for _ in range(times)], queries)


def beside(*, ours: Measured, naive: Measured, naive_words: str) -> dict[str, Any]:
    """Figures of `ours`, and how many times as long the naive way of the same run takes."""
    return {
        **spread(ours.took_ms),
        "queries": ours.queries,
        "baseline": {"what": naive_words, **spread(naive.took_ms), "queries": naive.queries},
        "ratio": round(naive.median_ms / ours.median_ms, 1),
    }


def timed(work: Callable[[], T], clock: Clock = perf_counter) -> tuple[float, T]:
    """How long `work` took (ms), and what it gave."""
    begun = clock()
    done = work()
    return 1000 * (clock() - begun), done


def spread(took_ms: list[float]) -> dict[str, float]:
    """Median, 95th percentile and the longest of some times (ms)."""
    if len(took_ms) < 2:
        return {"median_ms": round(took_ms[0], 2)}
    return {
        "median_ms": round(median(took_ms), 2),
        "p95_ms": round(quantiles(took_ms, n=20)[-1], 2),
        "most_ms": round(max(took_ms), 2),
    }
