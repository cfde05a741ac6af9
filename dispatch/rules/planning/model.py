"""A 0-1 column model: choose columns of least cost so that every row keeps its bounds.

One column is one possible decision (this floor, that crew, these days); a row is something
that all decisions share: a floor is placed once, a crew has one day once, there are two
grinders. Costs are whole cents, and a single one stays under `DEAREST_CENTS`, because the
tolerances of a linear solver are absolute.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

DEAREST_CENTS = 10**7

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Model:
    """Columns and rows as arrays.

    `entries` (columns, k) names the rows of each column and `amounts` how much it takes of
    them; unused places hold `len(lower)` and 0. `lower` and `upper` bound each row's sum. A
    row whose bounds are both 1 is a group: exactly one of its columns is chosen.
    """

    cost: Ints
    entries: Ints
    amounts: Floats
    lower: Floats
    upper: Floats

    def __post_init__(self) -> None:
        """Refuse arrays that do not fit together."""
        columns, rows = len(self.cost), len(self.lower)
        if self.entries.shape != self.amounts.shape or len(self.entries) != columns:
            raise ValueError("entries and amounts need one line for each column")
        if len(self.upper) != rows or (self.lower > self.upper).any():
            raise ValueError("every row needs a lower bound that is not above its upper one")
        if columns and not 0 <= self.entries.min() <= self.entries.max() <= rows:
            raise ValueError("a column names a row that there is not")
        if columns and np.abs(self.cost).max() > DEAREST_CENTS:
            raise ValueError(f"a cost passes {DEAREST_CENTS} cents")

    @property
    def rows(self) -> int:
        """How many rows there are."""
        return len(self.lower)

    @property
    def groups(self) -> Ints:
        """The rows of which exactly one column is chosen."""
        return np.flatnonzero((self.lower == 1) & (self.upper == 1))

    def used(self, chosen: Ints) -> Floats:
        """What the chosen columns take of each row."""
        taken = np.zeros(self.rows + 1)
        np.add.at(taken, self.entries[chosen].ravel(), self.amounts[chosen].ravel())
        return taken[:-1]

    def broken(self, chosen: Ints) -> Ints:
        """The rows whose bounds the chosen columns do not keep."""
        taken = self.used(chosen)
        return np.flatnonzero((taken < self.lower - 1e-6) | (taken > self.upper + 1e-6))

    def objective(self, chosen: Ints) -> int:
        """What the chosen columns cost (cents)."""
        return int(self.cost[chosen].sum())

    def reduced(self, duals: Floats) -> Floats:
        """Each column's cost less what its rows are worth at these prices (cents)."""
        worth: Floats = np.append(duals, 0.0)
        priced: Floats = self.cost - (worth[self.entries] * self.amounts).sum(axis=1)
        return priced

    def with_upper(self, row: int, upper: float) -> "Model":
        """The same model with another upper bound of one row."""
        changed = self.upper.copy()
        changed[row] = upper
        lower = self.lower.copy()
        lower[row] = min(lower[row], upper)
        return Model(self.cost, self.entries, self.amounts, lower, changed)

    @cached_property
    def grouped(self) -> tuple[Ints, Ints]:
        """Each pair of a group and a column in it, sorted by group: (rows, columns)."""
        is_group = np.append((self.lower == 1) & (self.upper == 1), False)
        lines, places = np.nonzero(is_group[self.entries])
        rows = self.entries[lines, places]
        order = np.argsort(rows, kind="stable")
        return rows[order], lines[order]
