"""Best insertion: a first plan within milliseconds, and the start for the solver.

Groups with the fewest columns are placed first, for they have the least choice. A column of
two groups (two short floors on one crew-day) may take the place of a column that one of them
has already.
"""

from dataclasses import dataclass, field

import numpy as np

from dispatch.rules.planning.model import Floats, Ints, Model

NONE = -1


@dataclass
class _Build:
    """A plan that grows: what is taken of each row, and each group's column."""

    model: Model
    taken: Floats
    column: Ints  # by row; NONE for rows that are no group or not placed yet
    other: Ints  # for a column of two groups, the sum of both rows; else NONE
    starts: dict[int, Ints] = field(default_factory=dict)


def best_insertion(model: Model) -> Ints:
    """Columns of a plan that keeps every upper bound, as cheap as one pass finds it.

    A group that nothing fits any more has no column in the answer: give it a column of its
    own for "not planned" and it always has one.
    """
    build = _start(model)
    order = sorted(build.starts, key=lambda row: (len(build.starts[row]), row))
    for row in order:
        if build.column[row] == NONE:
            _place(build, row)
    return np.unique(build.column[build.column != NONE])


def _start(model: Model) -> _Build:
    rows, columns = model.grouped
    cuts = np.flatnonzero(np.diff(rows)) + 1
    parts = np.split(columns, cuts) if len(rows) else []
    firsts = rows[np.concatenate(([0], cuts))] if len(rows) else rows
    groups_of = np.bincount(columns, minlength=len(model.cost))
    sums = np.bincount(columns, weights=rows, minlength=len(model.cost)).astype(np.int64)
    return _Build(
        model=model,
        taken=np.zeros(model.rows + 1),
        column=np.full(model.rows, NONE, dtype=np.int64),
        other=np.where(groups_of == 2, sums, NONE),
        starts={int(row): part for row, part in zip(firsts, parts, strict=True)},
    )


def _place(build: _Build, row: int) -> None:
    """Give a group its cheapest column that fits, counting what a shared one saves."""
    model, columns = build.model, build.starts[row]
    shared = build.other[columns] != NONE
    alone, pairs = columns[~shared], columns[shared]
    fits = _fits(build, alone, np.full(len(alone), NONE))
    best = _cheapest(alone[fits], model.cost[alone[fits]].astype(float))
    others = build.other[pairs] - row
    replaced = build.column[others] if len(pairs) else pairs
    placed = replaced != NONE
    # A partner that already shares its day with somebody stays with them.
    placed &= build.other[replaced] == NONE
    pairs, replaced = pairs[placed], replaced[placed]
    fits = _fits(build, pairs, replaced)
    pairs, replaced = pairs[fits], replaced[fits]
    saved = _cheapest(pairs, (model.cost[pairs] - model.cost[replaced]).astype(float))
    if saved is not None and (best is None or saved[1] < best[1]):
        partner = int(build.other[saved[0]] - row)
        _take(build, int(build.column[partner]), -1)
        _take(build, saved[0], 1)
        build.column[row] = build.column[partner] = saved[0]
    elif best is not None:
        _take(build, best[0], 1)
        build.column[row] = best[0]


def _cheapest(columns: Ints, cost: Floats) -> tuple[int, float] | None:
    if not len(columns):
        return None
    at = int(np.argmin(cost))
    return int(columns[at]), float(cost[at])


def _fits(build: _Build, columns: Ints, replaced: Ints) -> Ints:
    """Which of the columns keep every row's upper bound once they stand for `replaced`."""
    model = build.model
    entries, amounts = model.entries[columns], model.amounts[columns]
    room: Floats = np.append(model.upper, np.inf)[entries] - build.taken[entries]
    gives = np.where(replaced != NONE, replaced, 0)
    given = (
        (entries[:, :, None] == model.entries[gives][:, None, :])
        * model.amounts[gives][:, None, :]
        * (replaced != NONE)[:, None, None]
    ).sum(axis=2)
    fits: Ints = (amounts <= room + given + 1e-9).all(axis=1)
    return fits


def _take(build: _Build, column: int, sign: int) -> None:
    model = build.model
    np.add.at(build.taken, model.entries[column], sign * model.amounts[column])
    build.taken[-1] = 0.0
