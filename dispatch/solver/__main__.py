"""`python -m dispatch.solver`: reads folders from standard input and answers what is in them.

Each line names a folder with a question. Lines of progress go to standard output, then
"done". It ends when its input does, so it never outlives who started it.
"""

import os
import sys
from pathlib import Path
from typing import TextIO

from dispatch.rules.planning.answer import Answer
from dispatch.solver.columns import Columns, Tell
from dispatch.solver.files import NO_ROW, Question, read_question, write_answer

DONE = "done"


def answer_all(question: Question, folder: Path, tell: Tell) -> None:
    """Solve the question for each of its upper bounds; every answer is a file at once."""
    start = question.start if len(question.start) else None
    columns = Columns(question.model, start=start)
    uppers = [] if question.uppers is None else [float(upper) for upper in question.uppers]
    if question.limit_row == NO_ROW or not uppers:
        write_answer(columns.solve(question.limits, tell), folder, 0)
        return
    for number, upper in enumerate(uppers):
        columns.limit(question.limit_row, upper)
        answer: Answer = columns.solve(question.limits, tell)
        write_answer(answer, folder, number)


def own_output() -> TextIO:
    """Standard output for our lines alone: the solver's library prints there as well."""
    ours = os.fdopen(os.dup(1), "w", buffering=1)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    return ours


def main() -> int:
    """Answer until the input ends."""
    out = own_output()

    def tell(line: str) -> None:
        out.write(line + "\n")

    for line in sys.stdin:
        folder = Path(line.strip())
        answer_all(read_question(folder), folder, tell)
        tell(DONE)
    return 0


if __name__ == "__main__":
    sys.exit(main())
