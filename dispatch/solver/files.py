"""Models and answers as files, so that they cross from one process to another."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dispatch.rules.planning.answer import Answer, Limits, Proof
from dispatch.rules.planning.model import Floats, Ints, Model

MODEL = "model.npz"
NO_ROW = -1


@dataclass(frozen=True, eq=False)
class Question:
    """A model, when to stop, a plan to start from, and limits of one row to go through.

    With `limit_row` the model is solved once for each of `uppers`, in their order.
    """

    model: Model
    limits: Limits
    start: Ints
    limit_row: int = NO_ROW
    uppers: Floats | None = None


def answer_name(number: int) -> str:
    """How the file of the answer to the so-manieth upper bound is called."""
    return f"answer-{number}.npz"


def write_question(question: Question, folder: Path) -> None:
    """Put a question into a folder."""
    model, limits = question.model, question.limits
    np.savez(
        folder / MODEL,
        cost=model.cost,
        entries=model.entries,
        amounts=model.amounts,
        lower=model.lower,
        upper=model.upper,
        limits=np.array([limits.seconds, limits.gap, float(limits.nodes)]),
        start=question.start,
        limit_row=np.array(question.limit_row),
        uppers=np.zeros(0) if question.uppers is None else question.uppers,
    )


def read_question(folder: Path) -> Question:
    """The question in a folder."""
    with np.load(folder / MODEL, allow_pickle=False) as kept:
        model = Model(kept["cost"], kept["entries"], kept["amounts"], kept["lower"], kept["upper"])
        seconds, gap, nodes = kept["limits"]
        return Question(
            model=model,
            limits=Limits(float(seconds), float(gap), int(nodes)),
            start=kept["start"],
            limit_row=int(kept["limit_row"]),
            uppers=kept["uppers"],
        )


def write_answer(answer: Answer, folder: Path, number: int) -> None:
    """Put an answer into the folder; whoever looks sees all of it or nothing."""
    half = folder / f"half-{number}.npz"
    np.savez(
        half,
        chosen=answer.chosen,
        duals=answer.duals,
        values=np.array([answer.objective, answer.bound, answer.solve_s]),
        proof=np.array(answer.proof.value),
    )
    half.replace(folder / answer_name(number))


def read_answer(folder: Path, number: int) -> Answer | None:
    """The answer with this number, if the solver came so far."""
    path = folder / answer_name(number)
    if not path.exists():
        return None
    with np.load(path, allow_pickle=False) as kept:
        objective, bound, solve_s = kept["values"]
        return Answer(
            chosen=kept["chosen"],
            objective=int(objective),
            bound=float(bound),
            proof=Proof(str(kept["proof"])),
            duals=kept["duals"],
            solve_s=float(solve_s),
        )
