"""Least cost of a 0-1 column model: linear prices first, then whole numbers near them.

The linear programme grows by the columns that would lower its cost, so its answer is the
exact relaxation of all of them. A plan that uses a column whose reduced cost is `r` costs at
least `r` more than that. So the whole-number programme needs only the columns within a
window, and the window is exact once it reaches the plan's distance from the bound.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, inf

import numpy as np

from dispatch.rules.planning.answer import Answer, Limits, Proof
from dispatch.rules.planning.model import Floats, Ints, Model
from dispatch.rules.planning.window import entering, first_columns
from dispatch.solver.highs import Relaxed, whole

FIRST_A_GROUP, MORE_A_GROUP = 8, 6
WINDOWS_CENTS = (600.0, 5000.0, inf)
SOON_ENOUGH = 4  # a window that is exact within four times the present one is taken at once
CENT = 0.99  # costs are whole cents, so a bound less than that under the plan is a proof

Tell = Callable[[str], None]


@dataclass
class _Search:
    """The best plan so far, the bound, the prices, and the clock."""

    model: Model
    limits: Limits
    began: float
    best: Ints | None
    bound: float
    duals: Floats

    @property
    def left_s(self) -> float:
        return self.limits.seconds - (time.monotonic() - self.began)

    @property
    def cost(self) -> float:
        return inf if self.best is None else float(self.model.objective(self.best))

    @property
    def proven(self) -> bool:
        return self.bound > self.cost - CENT

    @property
    def good_enough(self) -> bool:
        return self.proven or self.cost - self.bound <= self.limits.gap * max(1.0, abs(self.cost))


class Columns:
    """One model, solved once or for several limits of one row, each from what is known."""

    def __init__(self, model: Model, *, start: Ints | None) -> None:
        self.model = model
        self.start = start
        self.relaxed = Relaxed(model)
        self.relaxed.add(first_columns(model, a_group=FIRST_A_GROUP))
        if start is not None and len(start):
            picked = np.zeros(len(model.cost), dtype=bool)
            picked[start] = True
            self.relaxed.add(picked)

    def limit(self, row: int, upper: float) -> None:
        """From now on the row's sum is at most `upper`."""
        self.model = self.model.with_upper(row, upper)
        self.relaxed.limit(row, upper)

    def solve(self, limits: Limits, tell: Tell) -> Answer:
        """The cheapest plan that is found within the limits, with its bound and prices."""
        start = self.start
        if start is not None and len(self.model.broken(start)):
            start = None
        search = _Search(
            self.model, limits, time.monotonic(), start, -inf, np.zeros(self.model.rows)
        )
        exact = self._prices(search, tell)
        if exact and self.relaxed.met():
            self._whole(search, tell)
        elif exact:
            return self._answer(search, Proof.NONE)
        if search.best is not None:
            self.start = search.best
        return self._answer(search, _proof(search))

    def _prices(self, search: _Search, tell: Tell) -> bool:
        """Bound and prices of the relaxation; False where the time was over first."""
        for number in range(1, 1000):
            solved = self.relaxed.solve(search.left_s)
            if solved is None:
                return False
            cost, search.duals = solved
            reduced = self.model.reduced(search.duals)
            new = entering(self.model, reduced, self.relaxed.have, a_group=MORE_A_GROUP)
            tell(f"prices, round {number}")
            if not new.any():
                search.bound = _rounded_up(cost)
                return True
            # What all groups together could still gain bounds how low the cost can go.
            rows, columns = self.model.grouped
            least = np.zeros(self.model.rows)
            np.minimum.at(least, rows, reduced[columns])
            search.bound = max(search.bound, _rounded_up(cost + float(least.sum())))
            if search.left_s <= 0:
                return False
            self.relaxed.add(new)
        return False

    def _whole(self, search: _Search, tell: Tell) -> None:
        """Widen the window until the plan is proven, good enough, or the time is over."""
        relaxed_cents = search.bound
        reduced = self.model.reduced(search.duals)
        for window in WINDOWS_CENTS:
            distance = search.cost - relaxed_cents
            exact = distance <= SOON_ENOUGH * window
            reach = distance if exact else window
            near = reduced <= reach + 1e-6
            if search.best is not None:
                near[search.best] = True
            tell(f"whole numbers, {int(near.sum())} columns")
            found = whole(
                self.model,
                np.flatnonzero(near),
                seconds=search.left_s,
                # A window that is not exact proves nothing: a plan about that good will do.
                apart_cents=CENT if exact else reach,
                gap=search.limits.gap / 2,
                nodes=search.limits.nodes,
            )
            self._keep(search, found.chosen)
            # Columns outside the window cost at least its reach more than the bound.
            bound = min(found.bound, relaxed_cents + reach)
            if np.isfinite(bound):
                search.bound = max(search.bound, _rounded_up(bound))
            if exact or search.good_enough or search.left_s <= 0:
                return

    def _keep(self, search: _Search, chosen: Ints | None) -> None:
        """Take over a plan that is cheaper."""
        if chosen is not None and self.model.objective(chosen) < search.cost:
            search.best = chosen

    def _answer(self, search: _Search, proof: Proof) -> Answer:
        chosen = np.zeros(0, dtype=np.int64) if search.best is None else search.best
        return Answer(
            chosen=chosen,
            objective=self.model.objective(chosen),
            bound=search.bound,
            proof=proof,
            duals=search.duals,
            solve_s=time.monotonic() - search.began,
        )


def _proof(search: _Search) -> Proof:
    if search.best is None:
        return Proof.TIME if search.left_s <= 0 else Proof.NONE
    if search.proven:
        return Proof.OPTIMAL
    return Proof.GAP if search.good_enough else Proof.TIME


def _rounded_up(cents: float) -> float:
    """Costs are whole cents, so no plan lies between a bound and the next whole one."""
    return float(ceil(cents - 1e-4))
