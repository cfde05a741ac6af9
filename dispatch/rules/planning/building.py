"""From candidates to columns and rows."""

from typing import TypeVar

import numpy as np
import numpy.typing as npt

from dispatch.rules.planning.candidates import Built, Candidates, Horizon, Pairs
from dispatch.rules.planning.model import Floats, Ints, Model

T = TypeVar("T", np.int64, np.float64)


def build(candidates: Candidates, pairs: Pairs, horizon: Horizon) -> Built:
    """The column model of these candidates."""
    floors, slots = len(horizon.unplanned), horizon.crews * horizon.days
    weeks = horizon.halves.size
    bases = np.cumsum([0, floors, slots, len(horizon.machines), weeks])
    calls_row = int(bases[-1])
    nothing = calls_row + 1
    plain, plainly = _lines(candidates, horizon, bases, calls_row, nothing)
    two, twice = _pair_lines(candidates, pairs, plain, plainly, nothing)
    lines, amounts = _packed(plain, plainly, nothing)
    out = np.stack((np.arange(floors), np.full(floors, calls_row)), axis=1)
    out_amounts = np.stack((np.ones(floors), horizon.unplanned_rings.astype(float)), axis=1)
    width = max(lines.shape[1], two.shape[1], out.shape[1])
    model = Model(
        cost=np.concatenate((candidates.cost, pairs.cost, horizon.unplanned)),
        entries=np.concatenate([_wide(each, width, nothing) for each in (lines, two, out)]),
        amounts=np.concatenate([_wide(each, width, 0.0) for each in (amounts, twice, out_amounts)]),
        lower=np.concatenate((np.ones(floors), np.zeros(calls_row + 1 - floors))),
        upper=np.concatenate(
            (
                np.ones(floors),
                horizon.capacity,
                horizon.machines,
                horizon.halves.ravel(),
                [horizon.most_rings],
            )
        ),
    )
    return Built(model, candidates, pairs, horizon, calls_row)


def _lines(
    candidates: Candidates, horizon: Horizon, bases: Ints, calls_row: int, nothing: int
) -> tuple[Ints, Floats]:
    """Rows and amounts of single candidates."""
    weeks = horizon.halves.shape[1]
    crew, day = np.divmod(candidates.slots, horizon.days)
    week = bases[3] + crew * weeks + horizon.week[np.where(candidates.slots >= 0, day, 0)]
    whole = (candidates.slots >= 0).sum(axis=1, keepdims=True)
    parts = [
        candidates.floor[:, None],
        np.where(candidates.slots >= 0, bases[1] + candidates.slots, nothing),
        np.where(candidates.machine_days >= 0, bases[2] + candidates.machine_days, nothing),
        np.where(candidates.slots >= 0, week, nothing),
        np.where(candidates.rings, calls_row, nothing)[:, None],
    ]
    ones = [np.ones(part.shape) for part in parts]
    ones[3] = np.broadcast_to(candidates.halves[:, None] / np.maximum(1, whole), parts[3].shape)
    lines = np.concatenate(parts, axis=1).astype(np.int64)
    amounts = np.where(lines == nothing, 0.0, np.concatenate(ones, axis=1))
    return lines, amounts


def _pair_lines(
    candidates: Candidates, pairs: Pairs, lines: Ints, amounts: Floats, nothing: int
) -> tuple[Ints, Floats]:
    """Rows of pairs: those of the first, and of the second its floor, call and machines.

    The crew has its machine with it all day, so a machine that the first needs too is not
    counted again.
    """
    width, machines = candidates.slots.shape[1], candidates.machine_days.shape[1]
    first, second = lines[pairs.first], lines[pairs.second].copy()
    one, other = amounts[pairs.first].copy(), amounts[pairs.second].copy()
    slot, machine = slice(1, 1 + width), slice(1 + width, 1 + width + machines)
    week = slice(1 + width + machines, 1 + 2 * width + machines)
    second[:, slot] = nothing
    again = (second[:, machine, None] == first[:, None, machine]).any(axis=2)
    second[:, machine] = np.where(again, nothing, second[:, machine])
    one[:, week] = np.where(one[:, week] > 0, 2.0, 0.0)
    second[:, week] = nothing
    both = np.concatenate((first, second), axis=1)
    taken = np.where(both == nothing, 0.0, np.concatenate((one, other), axis=1))
    return _packed(both, taken, nothing)


def _packed(lines: Ints, amounts: Floats, nothing: int) -> tuple[Ints, Floats]:
    """The same without the places that nobody uses; one row twice is one with their sum."""
    if not len(lines):
        return np.full((0, 1), nothing, dtype=np.int64), np.zeros((0, 1))
    order = np.argsort(lines, axis=1, kind="stable")
    lines, amounts = np.take_along_axis(lines, order, 1), np.take_along_axis(amounts, order, 1)
    for place in range(lines.shape[1] - 1, 0, -1):
        same = (lines[:, place] == lines[:, place - 1]) & (lines[:, place] != nothing)
        amounts[:, place - 1] += np.where(same, amounts[:, place], 0.0)
        amounts[:, place] = np.where(same, 0.0, amounts[:, place])
        lines[:, place] = np.where(same, nothing, lines[:, place])
    order = np.argsort(lines, axis=1, kind="stable")
    lines, amounts = np.take_along_axis(lines, order, 1), np.take_along_axis(amounts, order, 1)
    width = max(1, int((lines != nothing).sum(axis=1).max()))
    return lines[:, :width], amounts[:, :width]


def _wide(block: npt.NDArray[T], width: int, filler: float) -> npt.NDArray[T]:
    short = width - block.shape[1]
    return np.pad(block, ((0, 0), (0, short)), constant_values=filler)
