"""Plays a season under each policy and says what it came to."""

from collections.abc import Callable, Iterator, Sequence

from dispatch.backtest.office import Policy
from dispatch.backtest.products import OffersAndVerdicts
from dispatch.backtest.real_hours import Station
from dispatch.backtest.scenario import Scenario
from dispatch.backtest.season import Result, Season
from dispatch.backtest.truth import true_slabs
from dispatch.backtest.usual import FirstFreeDay, ThirtyPercent
from dispatch.backtest.world import World

FORESIGHT = "e"


def foresight() -> OffersAndVerdicts:
    """The program's way with the truth itself as forecast: what no forecast can beat."""
    return OffersAndVerdicts(letter=FORESIGHT, words="as c, with the truth as forecast")


# A policy more is a line here; it keeps to `Policy` in office.py.
POLICIES: dict[str, Callable[[], Policy]] = {
    "a": FirstFreeDay,
    "b": ThirtyPercent,
    "c": OffersAndVerdicts,
    FORESIGHT: foresight,
}


def seasons(
    station: Station, scenario: Scenario, *, seed: int, letters: Sequence[str]
) -> Iterator[Result]:
    """One season under each policy named, on the same orders, weather and hidden truth."""
    world = World.of(station, seed=seed)
    slabs = true_slabs(world, scenario)
    orders = scenario.orders(seed=seed)
    for letter in letters:
        policy = POLICIES[letter]()
        here = world.foreseen() if letter == FORESIGHT else world
        yield Season(here, scenario, slabs, policy).run(orders)
