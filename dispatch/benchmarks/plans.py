"""What solving a plan costs: the first plan and the re-plan after a wet front, beside greedy.

Companies are drawn from seeds (`plan_instances.py`); times are of the solver with its process
already running, and of building the model. Database and page are not part of it.
"""

from dataclasses import dataclass
from statistics import median
from typing import Any

from dispatch.benchmarks.measuring import timed
from dispatch.benchmarks.plan_instances import Town, again, built, town, wet_front
from dispatch.rules.planning.answer import Answer, Limits, greedy_answer
from dispatch.rules.planning.candidates import Built
from dispatch.solving import Solver, solve, solve_each

MOST_RINGS = (0, 1, 2, 3, 5, 8, 12)
TODAY = 3
LIMITS = Limits(seconds=10.0, gap=0.0)


@dataclass(frozen=True)
class Size:
    """How large a company, over how many days, and how many of them."""

    floors: int = 200
    crews: int = 20
    days: int = 20
    seeds: int = 10


def run(size: Size) -> dict[str, Any]:
    """Figures of every seed, and their medians."""
    with Solver() as solver:
        each = [_of_seed(size, seed, solver) for seed in range(1, size.seeds + 1)]
    names = ("build_ms", "solve_s", "greedy_ms", "replan_s")
    return {
        "median": {name: round(median(one[name] for one in each), 3) for name in names},
        "proven": sum(one["proof"] == "optimal" for one in each),
        "seeds": each,
    }


def _of_seed(size: Size, seed: int, solver: Solver) -> dict[str, Any]:
    place = town(floors=size.floors, crews=size.crews, days=size.days, seed=seed)
    build_ms, plan = timed(lambda: built(place))
    greedy_ms, greedy = timed(lambda: greedy_answer(plan.model))
    answer = solve(plan.model, limits=LIMITS, solver=solver)
    replan_ms, options = timed(lambda: _replanned(place, plan, answer, solver))
    return {
        "seed": seed,
        "columns": len(plan.model.cost),
        "build_ms": round(build_ms, 1),
        "solve_s": round(answer.solve_s, 3),
        "proof": answer.proof.value,
        "gap_pct": round(100 * answer.gap, 4),
        "cents": answer.objective,
        "greedy_ms": round(greedy_ms, 1),
        "greedy_over_pct": round(100 * (greedy.objective / answer.objective - 1), 2),
        "replan_s": round(replan_ms / 1000, 3),
        "replan_gap_pct": [round(100 * option.gap, 4) for option in options],
        "replan_saves_cents": [options[0].objective - option.objective for option in options],
    }


def _replanned(place: Town, plan: Built, answer: Answer, solver: Solver) -> list[Answer]:
    """The whole list of calls on the fourth morning, with three wet days ahead."""
    placed = plan.candidates_of(answer.chosen)
    morning = again(wet_front(place, today=TODAY), plan, placed, today=TODAY)
    return solve_each(
        morning.model, row=morning.calls_row, uppers=MOST_RINGS, limits=LIMITS, solver=solver
    )
