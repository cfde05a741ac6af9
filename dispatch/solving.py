"""The one door to the solver: a process of its own, killed when its time is over.

HiGHS hangs in children that were forked after it ran, and its threads are the process's own,
so it never runs in a web or worker process. Models go in and answers come out as files.
"""

import contextlib
import queue
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from dispatch.rules.planning.answer import Answer, Limits, Proof, greedy_answer
from dispatch.rules.planning.model import Ints, Model
from dispatch.solver.files import Question, read_answer, write_question

ROOT = Path(__file__).resolve().parent.parent
COMMAND = (sys.executable, "-m", "dispatch.solver")
# Starting Python and loading the solver takes a second on a busy machine.
GRACE_S = 5.0
DONE = "done"

Progress = Callable[[str], None]


class Solver:
    """A solver process that answers question after question; use it as a context.

    It is started with the first question. If it dies or overruns, it is killed and started
    afresh for the next one, and the answer is whatever it had got to.
    """

    def __init__(self, *, command: Sequence[str] = COMMAND, grace_s: float = GRACE_S) -> None:
        self.command = tuple(command)
        self.grace_s = grace_s
        self.process: subprocess.Popen[str] | None = None
        self.lines: queue.Queue[str | None] = queue.Queue()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.stop()

    def stop(self) -> None:
        """End the process, whatever it is doing."""
        process, self.process = self.process, None
        if process is None:
            return
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):  # what could not be written is not missed
                    pipe.close()

    def answers(
        self, question: Question, *, progress: Progress | None = None
    ) -> list[Answer | None]:
        """One answer for each upper bound of the question; None where the solver gave none."""
        count = 1 if question.uppers is None else len(question.uppers)
        with tempfile.TemporaryDirectory(prefix="slabcast-plan-") as name:
            folder = Path(name)
            write_question(question, folder)
            within_s = question.limits.seconds * count + self.grace_s
            if not self._ask(folder, within_s=within_s, progress=progress):
                self.stop()
            return [read_answer(folder, number) for number in range(count)]

    def _ask(self, folder: Path, *, within_s: float, progress: Progress | None) -> bool:
        """Hand the folder over and wait; False if the process is not to be used again."""
        until = time.monotonic() + within_s
        try:
            process = self._started()
            assert process.stdin is not None  # noqa: S101  for the type checker
            process.stdin.write(f"{folder}\n")
            process.stdin.flush()
        except OSError:
            return False
        for line in self._lines_until(until):
            if line == DONE:
                return True
            if progress is not None:
                progress(line)
        return False

    def _lines_until(self, until: float) -> Iterator[str]:
        while (left := until - time.monotonic()) > 0:
            try:
                line = self.lines.get(timeout=left)
            except queue.Empty:
                return
            if line is None:
                return
            yield line

    def _started(self) -> subprocess.Popen[str]:
        if self.process is not None and self.process.poll() is None:
            return self.process
        self.stop()
        self.lines = queue.Queue()
        self.process = subprocess.Popen(  # noqa: S603  our own program
            self.command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            cwd=ROOT,
        )
        threading.Thread(target=_read, args=(self.process, self.lines), daemon=True).start()
        return self.process


def _read(process: subprocess.Popen[str], lines: "queue.Queue[str | None]") -> None:
    """Pass the process's lines on; None when it has ended."""
    assert process.stdout is not None  # noqa: S101  for the type checker
    with contextlib.suppress(OSError, ValueError):  # closed under us: it was stopped
        for line in process.stdout:
            lines.put(line.rstrip("\n"))
    lines.put(None)


def solve(
    model: Model,
    *,
    limits: Limits | None = None,
    start: Ints | None = None,
    solver: Solver | None = None,
    progress: Progress | None = None,
) -> Answer:
    """The best plan within the limits. Without a living solver it is best insertion's."""
    first = _first(model, start)
    question = Question(model, limits or Limits(), first.chosen)
    with _lent(solver) as process:
        found = process.answers(question, progress=progress)[0]
    return found if found is not None and len(found.chosen) else _instead(first, found)


def solve_each(
    model: Model,
    *,
    row: int,
    uppers: Sequence[int],
    limits: Limits | None = None,
    start: Ints | None = None,
    solver: Solver | None = None,
    progress: Progress | None = None,
) -> list[Answer]:
    """The best plan for each upper bound of one row, dearest bound first: `uppers` rise."""
    first = _first(model.with_upper(row, uppers[0]), start)
    question = Question(model, limits or Limits(), first.chosen, row, np.array(uppers, dtype=float))
    with _lent(solver) as process:
        found = process.answers(question, progress=progress)
    answers: list[Answer] = []
    for each in found:
        best = answers[-1] if answers else first
        none = each is None or not len(each.chosen) or each.objective > best.objective
        answers.append(_instead(best, each) if none or each is None else each)
    return answers


def _lent(solver: Solver | None) -> contextlib.AbstractContextManager[Solver]:
    """The caller's solver, left running, or one for this question alone."""
    return contextlib.nullcontext(solver) if solver is not None else Solver()


def _first(model: Model, start: Ints | None) -> Answer:
    """The given plan if it keeps the rows and is cheaper, else best insertion's."""
    first = greedy_answer(model)
    if start is not None and not len(model.broken(start)):
        cost = model.objective(start)
        if first.proof is Proof.NONE or cost < first.objective:
            return Answer(start, cost, first.bound, Proof.GREEDY, first.duals)
    return (
        first
        if first.proof is not Proof.NONE
        else Answer(np.zeros(0, dtype=np.int64), 0, first.bound, Proof.NONE, first.duals)
    )


def _instead(first: Answer, found: Answer | None) -> Answer:
    """The first plan with whatever bound and prices the solver came to."""
    if found is None:
        return first
    proof = first.proof if first.proof is not Proof.NONE else found.proof
    return Answer(first.chosen, first.objective, found.bound, proof, found.duals, found.solve_s)
