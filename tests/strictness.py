"""Skips that fail: with SLABCAST_NO_SKIPS set, a missing service is an error, not an excuse."""

import os
from collections.abc import Generator

import pytest

# A test may be skipped when it needs files that only some machines have: the reason then
# names the variable that would bring them.
OPT_IN = ("SLABCAST_SAMPLES", "SLABCAST_INSTANCES", "SLABCAST_READERS")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Turn the skip of a test into a failure where skips are not allowed."""
    report = yield
    if not hasattr(report, "wasxfail"):
        refuse_skip(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """The same for a whole module that skips itself."""
    report = yield
    refuse_skip(report)
    return report


def refuse_skip(report: pytest.TestReport | pytest.CollectReport) -> None:
    """Make a failure of `report` if it is a skip that must not be."""
    if not report.skipped or os.environ.get("SLABCAST_NO_SKIPS", "") in {"", "0"}:
        return
    reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    if not any(name in reason for name in OPT_IN):
        report.outcome = "failed"
        report.longrepr = f"Not run, and SLABCAST_NO_SKIPS is set. {reason}"
