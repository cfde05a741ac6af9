"""One short season at Newark, made once for all tests of the backtest."""

import pytest

from dispatch.backtest.real_hours import STATIONS
from dispatch.backtest.scenario import Scenario
from dispatch.backtest.truth import true_slabs
from dispatch.backtest.world import World


@pytest.fixture(scope="session")
def scenario():
    return Scenario.read(quick=True)


@pytest.fixture(scope="session")
def newark():
    return World.of(STATIONS[0], seed=1)


@pytest.fixture(scope="session")
def slabs(newark, scenario):
    return true_slabs(newark, scenario)
