"""The door to the solver's process: answers, limits, and what happens when it dies."""

import sys
import time

import numpy as np
import pytest

from dispatch.rules.planning.answer import Limits, Proof, greedy_answer
from dispatch.solving import Solver, solve, solve_each
from tests.dispatch.planning.small import cheapest, random_model

QUICK = Limits(seconds=20)


def test_the_process_answers_like_full_enumeration_and_tells_how_far_it_is():
    model, told = random_model(7), []

    answer = solve(model, limits=QUICK, progress=told.append)

    assert (answer.objective, answer.proof) == (cheapest(model), Proof.OPTIMAL)
    assert any(line.startswith("prices") for line in told)


def test_one_process_answers_several_questions():
    with Solver() as solver:
        first = solve(random_model(1), limits=QUICK, solver=solver)
        process = solver.process
        second = solve(random_model(2), limits=QUICK, solver=solver)

        assert solver.process is process
    assert solver.process is None
    assert first.proof is second.proof is Proof.OPTIMAL


def test_each_upper_bound_of_a_row_has_its_own_best_plan():
    model = random_model(11)
    row = 6

    answers = solve_each(model, row=row, uppers=[0, 1, 2, 4], limits=QUICK)

    costs = [cheapest(model.with_upper(row, upper)) for upper in (0, 1, 2, 4)]
    assert [answer.objective for answer in answers] == costs
    assert costs == sorted(costs, reverse=True)


@pytest.mark.parametrize(
    "program",
    ["raise SystemExit(3)", "import time; time.sleep(600)", "print('nonsense', flush=True)"],
    ids=["dies", "hangs", "prints"],
)
def test_a_solver_that_gives_nothing_leaves_best_insertion(program):
    model = random_model(5)
    began = time.monotonic()

    with Solver(command=(sys.executable, "-c", program), grace_s=0.5) as solver:
        answer = solve(model, limits=Limits(seconds=0.5), solver=solver)

    assert answer.proof is Proof.GREEDY
    assert answer.objective == greedy_answer(model).objective
    assert time.monotonic() - began < 20
    assert np.isneginf(answer.bound)


def test_a_missing_solver_leaves_best_insertion():
    model = random_model(5)

    with Solver(command=("/nowhere/at/all",)) as solver:
        answers = solve_each(model, row=5, uppers=[0, 2], limits=QUICK, solver=solver)

    assert [answer.proof for answer in answers] == [Proof.GREEDY, Proof.GREEDY]
    for upper, answer in zip((0, 2), answers, strict=True):
        assert not len(model.with_upper(5, upper).broken(answer.chosen))


def test_a_solver_that_was_killed_is_started_again():
    with Solver() as solver:
        solve(random_model(1), limits=QUICK, solver=solver)
        solver.process.kill()
        solver.process.wait()

        assert solve(random_model(2), limits=QUICK, solver=solver).proof is Proof.OPTIMAL
