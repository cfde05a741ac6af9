"""Candidates: every way a floor could be placed, as arrays, and what they share.

A slot is one crew on one day. A candidate takes whole slots, so a crew-day has one floor, or
one pair of short floors with the road between them: hours never add up in the solver, which
keeps its bound tight.
"""

from dataclasses import dataclass, field
from math import inf

import numpy as np

from dispatch.rules.planning.model import Flags, Floats, Ints, Model

NOWHERE = -1


@dataclass(frozen=True, eq=False)
class Candidates:
    """One line each: a floor, its crew and first day, and what it takes. Costs in cents.

    `slots` (n, k) holds crew * days + day for every crew-day it takes, `machine_days` (n, m)
    kind * days + day for every machine it needs; unused places hold NOWHERE. `halves` is how
    many half days it leaves nothing of: 1 for a short floor, 2 for each whole crew-day.
    """

    floor: Ints
    crew: Ints
    day: Ints
    cost: Ints
    slots: Ints
    machine_days: Ints
    halves: Ints
    rings: Flags  # whether the customer must be rung

    def __len__(self) -> int:
        return len(self.floor)


@dataclass(frozen=True, eq=False)
class Pairs:
    """Two candidates of one slot done on one crew-day; `cost` is that of both together."""

    first: Ints
    second: Ints
    cost: Ints

    def __len__(self) -> int:
        return len(self.first)


def no_pairs() -> Pairs:
    """No two floors share a day."""
    none = np.zeros(0, dtype=np.int64)
    return Pairs(none, none, none)


@dataclass(frozen=True, eq=False)
class Horizon:
    """What there is: crews by days, machines by kind and day, and what is kept unsold.

    `capacity` (crews * days) is how often each crew is there, `machines` (kinds * days) how
    many of a kind. `week` numbers each day's week, and `halves` (crews, weeks) bounds the
    half days that may be sold in it. `unplanned` (floors) is the price of leaving a floor out and
    `unplanned_rings` whether that means ringing somebody. `most_rings` bounds all calls.
    """

    crews: int
    days: int
    capacity: Floats
    machines: Floats
    week: Ints
    halves: Floats
    unplanned: Ints
    unplanned_rings: Flags
    most_rings: float = inf


@dataclass(frozen=True, eq=False)
class Built:
    """A model and what its columns and rows mean.

    Columns: candidates, then pairs, then one for each floor that is left out. Rows: floors,
    slots, machine-days, crew-weeks, and last the calls.
    """

    model: Model
    candidates: Candidates
    pairs: Pairs
    horizon: Horizon
    calls_row: int = field(default=0)

    @property
    def floors(self) -> int:
        """How many floors there are."""
        return len(self.horizon.unplanned)

    def candidates_of(self, chosen: Ints) -> Ints:
        """The candidate of each floor in a plan; NOWHERE where it is left out."""
        placed = np.full(self.floors, NOWHERE, dtype=np.int64)
        alone = chosen[chosen < len(self.candidates)]
        shared = chosen - len(self.candidates)
        shared = shared[(shared >= 0) & (shared < len(self.pairs))]
        both = np.concatenate((alone, self.pairs.first[shared], self.pairs.second[shared]))
        placed[self.candidates.floor[both]] = both
        return placed

    def pair_of(self, chosen: Ints) -> dict[int, int]:
        """The floor that shares its crew-day, for each floor that does."""
        shared = chosen - len(self.candidates)
        shared = shared[(shared >= 0) & (shared < len(self.pairs))]
        firsts = self.candidates.floor[self.pairs.first[shared]]
        seconds = self.candidates.floor[self.pairs.second[shared]]
        found = {int(a): int(b) for a, b in zip(firsts, seconds, strict=True)}
        return found | {b: a for a, b in found.items()}

    def column_unplanned(self, floor: int) -> int:
        """The column that leaves a floor out."""
        return len(self.candidates) + len(self.pairs) + floor

    def slot_price(self, duals: Floats) -> Floats:
        """What one more of each crew-day would save (cents), by crew and day."""
        first = self.floors
        cut = duals[first : first + self.horizon.crews * self.horizon.days]
        price: Floats = np.maximum(0.0, -cut).reshape(self.horizon.crews, self.horizon.days)
        return price

    def machine_price(self, duals: Floats) -> Floats:
        """What one more of each machine would save (cents), by kind and day."""
        first = self.floors + self.horizon.crews * self.horizon.days
        cut = duals[first : first + len(self.horizon.machines)]
        price: Floats = np.maximum(0.0, -cut).reshape(-1, self.horizon.days)
        return price
