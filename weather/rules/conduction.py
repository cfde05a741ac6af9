"""Heat in a column of slab and ground: exact in time for air that holds through a step.

The column is cut into layers that grow with depth. For one film coefficient the layers
form a symmetric linear system, whose solution over a step is one matrix, worked out once
by its modes and kept. So there is no limit on the step and no error from its length:
two half steps are the same as a whole one.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from weather.rules.hours import Series
from weather.rules.slab_formulas import CONCRETE, Medium


@dataclass(frozen=True)
class Column:
    """Layers from the surface down; the first `first_m` thick, each next `growth` times it."""

    medium: Medium = CONCRETE
    depth_m: float = 2.0
    first_m: float = 0.004
    growth: float = 1.2

    @property
    def nodes_m(self) -> Series:
        """Depths (m) at which temperatures are kept; the first is the surface itself."""
        count = int(
            np.ceil(np.log1p(self.depth_m * (self.growth - 1) / self.first_m) / np.log(self.growth))
        )
        edges = np.concatenate([[0.0], np.cumsum(self.growth ** np.arange(count))])
        nodes: Series = edges * (self.depth_m / edges[-1])
        return nodes[:-1]


@dataclass(frozen=True, eq=False)
class Propagator:
    """What one step does: to the layers (`state`, `drive`, `bottom`) and to the step's mean.

    After the step the layers are `state @ layers + drive * air + bottom * ground`; the
    surface was in the mean of the step `mean_state @ layers + mean_drive * air + ...`.
    """

    state: Series
    drive: Series
    bottom: Series
    mean_state: Series
    mean_drive: float
    mean_bottom: float


@lru_cache(maxsize=512)
def propagator(*, column: Column, film_w_m2k: float, step_s: float) -> Propagator:
    """The step of `step_s` seconds under a film of that coefficient (W/m²K)."""
    nodes = column.nodes_m
    gaps = np.diff(np.append(nodes, column.depth_m))
    links = column.medium.conductivity_w_mk / gaps  # the last one leads to the bottom
    heat = column.medium.density_kg_m3 * column.medium.heat_j_kgk
    capacity = heat * (np.append(0.0, gaps[:-1]) + gaps) / 2
    balance = np.diag(links) - np.diag(links[:-1], 1) - np.diag(links[:-1], -1)
    balance[1:, 1:] += np.diag(links[:-1])
    balance[0, 0] += film_w_m2k
    root = np.sqrt(capacity)
    rates, modes = np.linalg.eigh(balance / np.outer(root, root))
    left, right = modes / root[:, None], modes.T * root[None, :]
    state = (left * np.exp(-rates * step_s)) @ right
    mean = (left * (-np.expm1(-rates * step_s) / (rates * step_s))) @ right
    # At rest the layers lie on a line between air and bottom: the share each one has.
    ground = np.linalg.solve(balance, np.append(np.zeros(len(nodes) - 1), links[-1]))
    air = 1 - ground
    return Propagator(
        state=state,
        drive=air - state @ air,
        bottom=ground - state @ ground,
        mean_state=mean[0],
        mean_drive=float(air[0] - mean[0] @ air),
        mean_bottom=float(ground[0] - mean[0] @ ground),
    )


@dataclass(frozen=True, eq=False)
class March:
    """Surface in the mean of each step (sites x steps), and the layers after the last one."""

    surface_c: Series
    layers_c: Series


def march(
    *,
    layers_c: Series,
    drive_c: Series,
    film_w_m2k: Series,
    bottom_c: Series,
    column: Column,
    step_s: float = 3600.0,
) -> March:
    """Carry the layers of several sites (sites x layers) through all steps at once.

    `drive_c`, `film_w_m2k` and `bottom_c` are sites x steps: the temperature behind the
    film with sun and sky reckoned in, the film, the ground at the column's foot. An unknown
    drive makes everything after it unknown.
    """
    levels, flat = np.unique(film_w_m2k, return_inverse=True)
    level: NDArray[np.intp] = flat.reshape(film_w_m2k.shape)
    steps = [propagator(column=column, film_w_m2k=float(f), step_s=step_s) for f in levels]
    state = np.stack([p.state for p in steps])
    drive, bottom = np.stack([p.drive for p in steps]), np.stack([p.bottom for p in steps])
    mean_state = np.stack([p.mean_state for p in steps])
    mean_of_air = np.array([p.mean_drive for p in steps])[level] * drive_c
    mean_of_air += np.array([p.mean_bottom for p in steps])[level] * bottom_c
    layers = layers_c[:, :, None]
    surface = np.empty_like(drive_c)
    for step in range(drive_c.shape[1]):
        at = level[:, step]
        surface[:, step] = (mean_state[at, None, :] @ layers)[:, 0, 0] + mean_of_air[:, step]
        pushed = drive[at] * drive_c[:, step, None] + bottom[at] * bottom_c[:, step, None]
        layers = state[at] @ layers + pushed[:, :, None]
    return March(surface_c=surface, layers_c=layers[:, :, 0])
