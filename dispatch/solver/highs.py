"""HiGHS with arrays: a linear programme that grows by columns, and a 0-1 programme."""

from dataclasses import dataclass

import highspy
import numpy as np

from dispatch.rules.planning.model import Flags, Floats, Ints, Model

OPTIMAL = highspy.HighsModelStatus.kOptimal


def quiet() -> highspy.Highs:
    """A solver that prints nothing and keeps to one thread, so that answers repeat."""
    solver: highspy.Highs = highspy.Highs()  # type: ignore[no-untyped-call]
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("threads", 1)
    return solver


def add_columns(solver: highspy.Highs, model: Model, columns: Ints) -> None:
    """Add these columns of the model with bounds 0 and 1."""
    entries, amounts = model.entries[columns], model.amounts[columns]
    used = entries < model.rows
    starts = np.concatenate(([0], np.cumsum(used.sum(axis=1))[:-1])).astype(np.int32)
    solver.addCols(
        len(columns),
        model.cost[columns].astype(float),
        np.zeros(len(columns)),
        np.ones(len(columns)),
        int(used.sum()),
        starts,
        entries[used].astype(np.int32),
        amounts[used].astype(float),
    )


def add_rows(solver: highspy.Highs, model: Model) -> None:
    """Add the model's rows, still empty."""
    none = np.zeros(0)
    solver.addRows(
        model.rows,
        model.lower.astype(float),
        model.upper.astype(float),
        0,
        np.zeros(model.rows, dtype=np.int32),
        none.astype(np.int32),
        none,
    )


class Relaxed:
    """The linear relaxation over the columns added so far; every row can always be met.

    Rows that demand something have a stand-in column that is dearer than any plan, so the
    first columns need not make a plan.
    """

    def __init__(self, model: Model) -> None:
        self.model = model
        self.have: Flags = np.zeros(len(model.cost), dtype=bool)
        self.solver = quiet()
        add_rows(self.solver, model)
        self._add_stand_ins()

    def _add_stand_ins(self) -> None:
        rows = np.flatnonzero(self.model.lower > 0)
        dear = min(1e7, 10.0 * (1 + float(np.abs(self.model.cost).max(initial=0))))
        self.stand_ins = len(rows)
        self.solver.addCols(
            len(rows),
            np.full(len(rows), dear),
            np.zeros(len(rows)),
            np.full(len(rows), np.inf),
            len(rows),
            np.arange(len(rows), dtype=np.int32),
            rows.astype(np.int32),
            np.ones(len(rows)),
        )

    def add(self, columns: Flags) -> None:
        """Let these columns be used too."""
        new = np.flatnonzero(columns & ~self.have)
        if len(new):
            add_columns(self.solver, self.model, new)
            self.have[new] = True

    def limit(self, row: int, upper: float) -> None:
        """Change the upper bound of one row; what was learnt of the others stays."""
        self.solver.changeRowBounds(row, min(float(self.model.lower[row]), upper), upper)

    def solve(self, seconds: float) -> tuple[float, Floats] | None:
        """Cost and row prices at the optimum; None where the time was over first."""
        # The solver counts the time of all its runs together.
        self.solver.setOptionValue("time_limit", self.solver.getRunTime() + max(0.01, seconds))
        self.solver.run()
        if self.solver.getModelStatus() != OPTIMAL:
            return None
        duals = np.array(self.solver.getSolution().row_dual, dtype=float)
        return float(self.solver.getObjectiveValue()), duals

    def met(self) -> bool:
        """Whether the rows are met without stand-ins, that is, by real columns."""
        values = self.solver.getSolution().col_value[: self.stand_ins]
        return float(np.sum(values)) < 1e-6


@dataclass(frozen=True, eq=False)
class Whole:
    """What the 0-1 programme found: columns (None: none in time), and its own bound."""

    chosen: Ints | None
    bound: float
    ended: bool


def whole(
    model: Model,
    columns: Ints,
    *,
    seconds: float,
    apart_cents: float,
    gap: float,
    nodes: int,
) -> Whole:
    """Solve the model over `columns` in whole numbers.

    It ends once plan and bound are `apart_cents` or the relative `gap` apart. No start is
    handed over: HiGHS 1.16 carries one through its presolve wrongly at times and then calls a
    plan optimal that keeps no row; a start hardly makes it quicker.
    """
    solver = quiet()
    add_rows(solver, model)
    add_columns(solver, model, columns)
    numbers = np.arange(len(columns), dtype=np.int32)
    integer = np.full(len(columns), int(highspy.HighsVarType.kInteger), dtype=np.uint8)
    solver.changeColsIntegrality(len(columns), numbers, integer)
    solver.setOptionValue("time_limit", max(0.01, seconds))
    solver.setOptionValue("mip_rel_gap", gap)
    solver.setOptionValue("mip_abs_gap", apart_cents)
    if nodes:
        solver.setOptionValue("mip_max_nodes", nodes)
    solver.run()
    status, info = solver.getModelStatus(), solver.getInfo()
    if status == highspy.HighsModelStatus.kInfeasible:
        return Whole(None, np.inf, ended=True)
    feasible = info.primal_solution_status == int(highspy.SolutionStatus.kSolutionStatusFeasible)
    if not feasible:
        return Whole(None, float(info.mip_dual_bound), ended=False)
    value = np.array(solver.getSolution().col_value)
    chosen = columns[value > 0.5]
    if len(model.broken(chosen)) or abs(model.objective(chosen) - solver.getObjectiveValue()) > 1:
        return Whole(None, -np.inf, ended=False)  # it contradicts itself: none of it is used
    return Whole(chosen, float(info.mip_dual_bound), ended=status == OPTIMAL)
