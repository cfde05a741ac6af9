"""What a solve gives back: a plan, how good it is proven to be, and the prices of the rows."""

from dataclasses import dataclass
from enum import StrEnum
from math import inf

import numpy as np

from dispatch.rules.planning.greedy import best_insertion
from dispatch.rules.planning.model import Floats, Ints, Model


class Proof(StrEnum):
    """How a solve ended."""

    OPTIMAL = "optimal"  # no plan of this model costs less
    GAP = "gap"  # good enough by the gap that was asked for
    TIME = "time"  # the time or the nodes were used up
    GREEDY = "greedy"  # the solver gave nothing; this is best insertion
    NONE = "none"  # no plan keeps the rows


@dataclass(frozen=True, eq=False)
class Limits:
    """When a solve may stop: seconds, relative gap (0 asks for a proof), nodes (0: any)."""

    seconds: float = 10.0
    gap: float = 0.0
    nodes: int = 0


@dataclass(frozen=True, eq=False)
class Answer:
    """A plan: chosen columns, cost and a bound no plan can be under (cents), row prices.

    `duals` is empty where no linear programme was solved, and `bound` is then minus infinity.
    """

    chosen: Ints
    objective: int
    bound: float
    proof: Proof
    duals: Floats
    solve_s: float = 0.0

    @property
    def gap(self) -> float:
        """How far the plan may be from the best one, as a share of its cost; inf unknown."""
        if self.proof is Proof.OPTIMAL:
            return 0.0
        if not np.isfinite(self.bound):
            return inf
        return max(0.0, (self.objective - self.bound) / max(1.0, abs(self.objective)))


def greedy_answer(model: Model) -> Answer:
    """Best insertion as an answer; `Proof.NONE` where it leaves a row broken."""
    chosen = best_insertion(model)
    proof = Proof.NONE if len(model.broken(chosen)) else Proof.GREEDY
    return Answer(chosen, model.objective(chosen), -inf, proof, np.zeros(0))
