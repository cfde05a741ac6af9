"""The planner's engine against full enumeration, published optima, and its own proofs."""

import csv
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dispatch.rules.planning.answer import Limits, Proof, greedy_answer
from dispatch.rules.planning.model import Model
from dispatch.solver.columns import Columns
from tests.dispatch.planning.small import assignment_model, cheapest, random_model


def solved(model: Model, limits: Limits | None = None):
    start = greedy_answer(model)
    first = start.chosen if start.proof is not Proof.NONE else None
    return Columns(model, start=first).solve(limits or Limits(seconds=60), lambda line: None)


@settings(max_examples=60)
@given(seed=st.integers(0, 10_000))
def test_a_small_plan_costs_what_trying_everything_finds(seed):
    model = random_model(seed)

    answer = solved(model)

    assert answer.proof is Proof.OPTIMAL
    assert answer.objective == cheapest(model)
    assert not len(model.broken(answer.chosen))
    assert answer.gap == 0


@settings(max_examples=40)
@given(seed=st.integers(0, 10_000))
def test_best_insertion_keeps_the_rows_and_is_never_cheaper_than_the_best(seed):
    model = random_model(seed, groups=6)

    first = greedy_answer(model)

    assert first.proof is Proof.GREEDY
    assert not len(model.broken(first.chosen))
    assert first.objective >= solved(model).objective


def test_a_column_of_two_groups_is_used_where_it_is_cheaper():
    # Two floors, one crew-day each costs 100; together on one day they cost 120.
    model = Model(
        cost=np.array([100, 100, 120, 5000, 5000]),
        entries=np.array([[0, 2, 4], [1, 3, 4], [0, 1, 2], [0, 4, 4], [1, 4, 4]]),
        amounts=np.array([[1, 1, 0], [1, 1, 0], [1, 1, 1], [1, 0, 0], [1, 0, 0]], dtype=float),
        lower=np.array([1.0, 1.0, 0.0, 0.0]),
        upper=np.ones(4),
    )

    assert greedy_answer(model).objective == 120
    assert list(solved(model).chosen) == [2]


def test_what_cannot_be_placed_is_no_plan_rather_than_a_wrong_one():
    model = Model(
        cost=np.array([1, 1]),
        entries=np.array([[0, 2], [1, 2]]),
        amounts=np.ones((2, 2)),
        lower=np.array([1.0, 1.0, 0.0]),
        upper=np.array([1.0, 1.0, 1.0]),
    )

    assert greedy_answer(model).proof is Proof.NONE
    assert solved(model).proof is Proof.NONE


@settings(max_examples=30)
@given(seed=st.integers(0, 10_000), row=st.integers(5, 8))
def test_more_of_a_row_never_costs_more(seed, row):
    model = random_model(seed)
    more = model.with_upper(row, float(model.upper[row]) + 1)

    assert solved(more).objective <= solved(model).objective


@settings(max_examples=30)
@given(seed=st.integers(0, 10_000))
def test_the_bound_and_the_prices_are_never_above_the_best(seed):
    model = random_model(seed)
    best = cheapest(model)

    answer = solved(model)

    assert answer.bound <= best
    # By weak duality prices of the right sign bound every plan from below; the columns that
    # are below their price are bounded by one each.
    reduced = np.minimum(model.reduced(answer.duals), 0.0).sum()
    limits = np.where(answer.duals > 0, model.lower, model.upper)
    assert float((answer.duals * limits).sum() + reduced) <= best + 1e-6


def test_a_node_limit_still_gives_a_plan_with_its_bound():
    model = random_model(3, groups=40, columns=12, rows=30)

    answer = solved(model, Limits(seconds=30, nodes=1))

    assert not len(model.broken(answer.chosen))
    assert answer.bound <= answer.objective


@pytest.mark.parametrize("cost", [10**8, -(10**8)])
def test_a_cost_that_the_solvers_tolerance_cannot_bear_is_refused(cost):
    with pytest.raises(ValueError, match="passes"):
        Model(np.array([cost]), np.array([[0]]), np.ones((1, 1)), np.zeros(1), np.ones(1))


# Beasley's OR-Library, generalised assignment (gap1 to gap12 as minimisation, a to c): optima
# as published in the folder's own table. The d and e files are slower and not asked for here.
QUICK = (
    *(f"gap1-{number}" for number in range(5)),
    *("gap5-0", "gap8-0", "gap12-0", "gap12-4"),
    *("a05100", "a20100", "b05100", "b20100", "c05100"),
)


@pytest.fixture
def instances() -> Path:
    """The folder of published instances that SLABCAST_INSTANCES names."""
    folder = os.environ.get("SLABCAST_INSTANCES")
    if not folder:
        pytest.skip("SLABCAST_INSTANCES is unset: name a folder of published instances in it")
    return Path(folder)


@pytest.mark.parametrize("name", QUICK)
def test_a_published_assignment_is_solved_to_its_published_optimum(instances, name):
    with (instances / "optimum.csv").open() as table:
        optima = {Path(row["file"]).stem: int(row["optimum"]) for row in csv.DictReader(table)}
    model = assignment_model((instances / "gap" / f"{name}.txt").read_text())

    answer = solved(model)

    assert (answer.objective, answer.proof) == (optima[name], Proof.OPTIMAL)
