"""Which columns a solver needs: the cheapest of each group, and those near the prices."""

import numpy as np

from dispatch.rules.planning.model import Flags, Floats, Model


def first_columns(model: Model, *, a_group: int) -> Flags:
    """The `a_group` cheapest columns of each group, and every column of no group."""
    return best_of_groups(model, model.cost.astype(float), a_group=a_group) | _ungrouped(model)


def entering(model: Model, reduced: Floats, have: Flags, *, a_group: int) -> Flags:
    """The best few columns of each group that would lower the cost at the present prices."""
    wanted = (reduced < -1e-6) & ~have
    return best_of_groups(model, np.where(wanted, reduced, np.inf), a_group=a_group) & wanted


def best_of_groups(model: Model, value: Floats, *, a_group: int) -> Flags:
    """The `a_group` columns of least value in each group."""
    rows, columns = model.grouped
    order = np.lexsort((value[columns], rows))
    rows, columns = rows[order], columns[order]
    firsts = np.concatenate(([True], np.diff(rows) > 0)) if len(rows) else np.zeros(0, bool)
    begins = np.maximum.accumulate(np.where(firsts, np.arange(len(rows)), 0))
    best = columns[(np.arange(len(rows)) - begins) < a_group]
    picked = np.zeros(len(model.cost), dtype=bool)
    picked[best] = True
    return picked


def _ungrouped(model: Model) -> Flags:
    grouped = np.zeros(len(model.cost), dtype=bool)
    grouped[model.grouped[1]] = True
    return ~grouped
