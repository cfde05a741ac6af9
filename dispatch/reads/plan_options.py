"""A branch's plan worked out: the best with at most so many customers to ring, and what binds."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from time import monotonic

import numpy as np

from dispatch.reads.offer import RefusedDay
from dispatch.reads.plan_floors import Away, plan_floors
from dispatch.reads.plan_rows import More, PlanRows, Spot, modelled, plan_rows
from dispatch.reads.plan_settled import Settled, Settling
from dispatch.rules.planning.answer import Answer, Limits, Proof, greedy_answer
from dispatch.rules.planning.candidates import NOWHERE
from dispatch.rules.planning.model import Floats
from dispatch.solving import Solver, solve, solve_each
from jobs.models import Branch

MOST_RINGS = (0, 1, 2, 3, 5, 8, 12)
ROUNDS = 6  # of solving and looking closely; after the last one what was refused stays out
SATURDAY = 5

Progress = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class Option:
    """The best plan with at most `most` customers to ring."""

    most: int
    answer: Answer
    settled: Settled


@dataclass(frozen=True)
class Gain:
    """What one more of something would save (cents)."""

    what: str
    cents: int


@dataclass(frozen=True, eq=False)
class PlanAnswer:
    """Everything that is stored of a plan."""

    rows: PlanRows
    options: tuple[Option, ...]
    standing_cents: int
    greedy: Answer
    gains: tuple[Gain, ...]
    solve_s: float
    refused: dict[Spot, RefusedDay]

    @property
    def prices(self) -> Floats:
        """Cents of each crew-day to other floors, with nobody rung; crews by days."""
        built, answer = self.rows.built, self.options[0].answer
        return built.slot_price(answer.duals)

    @property
    def rings(self) -> list[int]:
        """How many customers each option rings."""
        return [rings_of(self.rows, option) for option in self.options]


def rings_of(rows: PlanRows, option: Option) -> int:
    """How many customers an option rings."""
    columns = [each.column for each in option.settled.placed if each.column != NOWHERE]
    return int(rows.columns.rings[columns].sum())


def work_out(
    branch: Branch,
    *,
    now: datetime,
    limits: Limits,
    days: int,
    away: Sequence[Away] = (),
    progress: Progress = lambda _: None,
    most_rings: Sequence[int] = MOST_RINGS,
) -> PlanAnswer:
    """Read, solve, look closely, and solve again without what proved impossible."""
    progress("Reading floors, crews and forecasts")
    floors = plan_floors(branch, now=now, days=days, away=away)
    progress(f"Looking at every crew and day of {len(floors.floors)} floors")
    rows = plan_rows(floors)
    solve_s = 0.0
    refused: dict[Spot, RefusedDay] = {}
    answers: list[Answer] = []
    settled: list[Settled] = []
    with Solver() as solver:
        for round_number in range(1, ROUNDS + 1):
            progress(f"Solving, round {round_number}")
            answers, spent = _answers(rows, limits, most_rings, solver, progress)
            solve_s += spent
            progress(f"Looking closely at each new place, round {round_number}")
            settling = Settling(rows)
            settled = [settling.settled(each.chosen) for each in answers]
            again = {spot: why for each in settled for spot, why in each.refused.items()}
            apart = rows.apart.union(*(each.apart for each in settled))
            done = not again and apart == rows.apart
            if done or round_number == ROUNDS:
                break
            refused |= settling.closely(again)
            rows = rows.without(refused, apart)
        progress("Asking what one more would bring")
        gains = _gains(rows, answers[-1], limits, solver)
    options = tuple(
        Option(most, answer, each)
        for most, answer, each in zip(most_rings, answers, settled, strict=True)
    )
    standing = rows.built.model.objective(rows.as_it_is())
    greedy = greedy_answer(rows.built.model)
    return PlanAnswer(rows, options, standing, greedy, gains, solve_s, refused)


def _answers(
    rows: PlanRows,
    limits: Limits,
    most_rings: Sequence[int],
    solver: Solver,
    progress: Progress,
) -> tuple[list[Answer], float]:
    """One answer for each limit. A plan with fewer calls than it may have is also that of less."""
    began = monotonic()
    built = rows.built
    ask = partial(
        solve_each,
        built.model,
        row=built.calls_row,
        limits=limits,
        start=rows.as_it_is(),
        solver=solver,
        progress=progress,
    )
    widest = ask(uppers=most_rings[-1:])[0]
    rung = built.model.used(widest.chosen)[built.calls_row]
    fewer = [most for most in most_rings if most < rung]
    found = ask(uppers=fewer) if fewer else []
    found += [widest] * (len(most_rings) - len(fewer))
    return found, monotonic() - began


def _gains(rows: PlanRows, best: Answer, limits: Limits, solver: Solver) -> tuple[Gain, ...]:
    """What one more crew, grinder or Saturday would save beside the best option."""
    if best.proof in {Proof.NONE, Proof.GREEDY} or not len(best.duals):
        return ()
    floors = rows.floors
    most = MOST_RINGS[-1]
    found = []
    prices = rows.built.slot_price(best.duals).sum(axis=1)
    tried: list[tuple[str, PlanRows]] = []
    if len(prices):
        dearest = int(np.argmax(prices))
        crew = floors.calendar.staff.crews[dearest]
        tried.append(
            (
                f"one more crew like {crew}",
                modelled(floors, rows.columns, More(dearest, apart=rows.apart)),
            )
        )
    more = modelled(floors, rows.columns, More(grinders=1, apart=rows.apart))
    tried.append(("one more grinder", more))
    for what, other in tried:
        model = other.built.model.with_upper(other.built.calls_row, most)
        answer = solve(model, limits=limits, solver=solver)
        found.append(Gain(what, max(0, best.objective - answer.objective)))
    return tuple(found)


def why_no_day(rows: PlanRows, floor: int, refused: dict[Spot, RefusedDay]) -> str:
    """Why a floor finds no day at all: what most of its days have in common, in a sentence or two.

    Where every day is closed, what the customer said of days counts before the branch's own.
    """
    screen = rows.floors.floors[floor].search.screen
    days = rows.floors.calendar.days[: rows.floors.days]
    close = [each.why for spot, each in refused.items() if spot[0] == floor]
    said = [each for each in (screen.why_not(day) for day in days) if each is not None]
    weighty = [each.why for each in said if each.rank >= 2] + close
    if weighty:
        return Counter(weighty).most_common(1)[0][0]
    closed = Counter(each.why for each in said if each.rank == 1).most_common()
    name = str(rows.floors.floors[floor].job.customer)
    whys = sorted((why for why, _ in closed), key=lambda why: name not in why)
    return " ".join(whys[:2]) or "No crew and day passed the rough look."
