"""Small column models for tests, and their optimum by trying everything."""

from itertools import product

import numpy as np

from dispatch.rules.planning.model import Model


def random_model(seed: int, *, groups: int = 5, columns: int = 4, rows: int = 4) -> Model:
    """Each group chooses one of some columns, which take one or two of some scarce rows.

    Every group may also be left out, so there is always a plan.
    """
    dice = np.random.default_rng(seed)
    total = groups * (columns + 1)
    group = np.repeat(np.arange(groups), columns + 1)
    out = np.arange(total) % (columns + 1) == columns
    first = groups + dice.integers(0, rows, total)
    second = np.where(dice.random(total) < 0.5, groups + dice.integers(0, rows, total), first)
    nothing = groups + rows
    second = np.where(second == first, nothing, second)
    entries = np.stack(
        (group, np.where(out, nothing, first), np.where(out, nothing, second)), axis=1
    )
    amounts = dice.integers(1, 3, entries.shape).astype(float)
    amounts[:, 0] = 1.0
    return Model(
        cost=np.where(out, 5000, dice.integers(100, 2000, total)),
        entries=entries,
        amounts=np.where(entries == nothing, 0.0, amounts),
        lower=np.concatenate((np.ones(groups), np.zeros(rows))),
        upper=np.concatenate((np.ones(groups), dice.integers(1, 5, rows).astype(float))),
    )


def cheapest(model: Model) -> int | None:
    """The least cost of any choice that keeps every row, by full enumeration."""
    choices = [np.flatnonzero((model.entries == row).any(axis=1)) for row in model.groups]
    costs = [
        model.objective(chosen)
        for picked in product(*choices)
        if not len(model.broken(chosen := np.unique(picked)))
    ]
    return min(costs, default=None)


def assignment_model(text: str) -> Model:
    """A generalised assignment: agents with capacities, jobs with costs and uses.

    The file: agents and jobs, then costs by agent, uses by agent, capacities.
    """
    numbers = np.array(text.split(), dtype=float)
    agents, jobs = int(numbers[0]), int(numbers[1])
    size = agents * jobs
    cost, use, capacity = (
        numbers[2 : 2 + size],
        numbers[2 + size : 2 + 2 * size],
        numbers[2 + 2 * size :],
    )
    agent, job = np.divmod(np.arange(size), jobs)
    return Model(
        cost=cost.astype(np.int64),
        entries=np.stack((job, jobs + agent), axis=1),
        amounts=np.stack((np.ones(size), use), axis=1),
        lower=np.concatenate((np.ones(jobs), np.zeros(agents))),
        upper=np.concatenate((np.ones(jobs), capacity[:agents])),
    )
