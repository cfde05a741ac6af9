"""How long slabs take: a hundred floors over two weeks gone by and ten days ahead.

The figures are of one floor among all of them at once, `alone` of one by itself: both from the
hours of weather to the surface with its band. The baseline steps the same layers hour by hour,
a system of equations solved anew for each, as a first version would; it is asked of a few
floors, and has to say the same to a hundredth of a degree.
"""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import cycle, islice
from typing import Any

import numpy as np

from dispatch.benchmarks.measuring import Measured, beside, measured, spread
from weather.rules.conduction import Column, march
from weather.rules.exposures import Exposure
from weather.rules.hours import Hours, Series
from weather.rules.slab import COLUMN, SPIN_UP_H, SlabSite, slab_hours_batch

TARGETS_MS = {"batched_ms_a_floor": 5.0, "alone_ms": 100.0}
BEGINS = datetime(2026, 4, 1, tzinfo=UTC)
TIMES = 9
WALKED = 3  # floors that the baseline is asked for
STEPS_AN_HOUR = 15  # with fewer the baseline misses a hundredth of a degree


@dataclass(frozen=True)
class Size:
    """How many floors, and how many days ahead."""

    floors: int = 100
    days: int = 10
    seed: int = 7


def run(size: Size) -> dict[str, Any]:
    """Times a floor (ms), with the targets and whether each is met."""
    sites = _sites(size)
    now = BEGINS + timedelta(hours=SPIN_UP_H)
    batched = measured(partial(slab_hours_batch, sites=sites, now=now), times=TIMES)
    each = Measured([took / len(sites) for took in batched.took_ms], batched.queries)
    rows = cycle(sites)
    alone = measured(lambda: slab_hours_batch(sites=[next(rows)], now=now), times=len(sites))
    drive, film, layers = _weather(size)
    walks = measured(partial(_walked, drive, film, layers), times=3)
    plain = Measured([took / WALKED for took in walks.took_ms], walks.queries)
    apart_c = float(np.abs(_walked(drive, film, layers) - _marched(drive, film, layers)).max())
    medians = {"batched_ms_a_floor": each.median_ms, "alone_ms": alone.median_ms}
    return {
        "floors": size.floors,
        "days": size.days,
        "hours_a_floor": len(sites[0].hours),
        **beside(ours=each, naive=plain, naive_words="layers solved anew by floor and hour"),
        "alone": {**spread(alone.took_ms), "queries": alone.queries},
        "baseline_differs_c": round(apart_c, 4),
        "targets_ms": TARGETS_MS,
        "met": {name: medians[name] <= most for name, most in TARGETS_MS.items()},
    }


def _sites(size: Size) -> list[SlabSite]:
    """Floors of every exposure in turn, each in weather of its own."""
    rng = np.random.default_rng(size.seed)
    count = SPIN_UP_H + 24 * size.days
    return [
        SlabSite(
            hours=_hours(count, rng),
            exposure=exposure,
            latitude=float(rng.uniform(30, 47)),
            longitude=float(rng.uniform(-120, -75)),
        )
        for exposure in islice(cycle(Exposure), size.floors)
    ]


def _hours(count: int, rng: np.random.Generator) -> Hours:
    hour = np.arange(count)
    swing = rng.uniform(3, 9) * np.cos(2 * np.pi * (hour - 21) / 24)
    return replace(
        Hours.unknown(start=BEGINS, count=count),
        air_c=rng.uniform(0, 25) + swing + rng.normal(0, 0.5, count),
        cloud_pct=rng.uniform(0, 100, count),
        wind_kmh=rng.uniform(0, 30, count),
    )


def _weather(size: Size) -> tuple[Series, Series, Series]:
    """What a few slabs feel, and how their layers lie at the beginning."""
    rng = np.random.default_rng(size.seed)
    steps = SPIN_UP_H + 24 * size.days
    day = np.cos(2 * np.pi * (np.arange(steps) - 21) / 24)
    drive = 12 + 6 * day + rng.normal(0, 0.5, (WALKED, steps))
    film = rng.choice([7.5, 12.0, 20.0], (WALKED, steps))
    return drive, film, np.full((WALKED, len(COLUMN.nodes_m)), 10.0)


def _marched(drive: Series, film: Series, layers: Series) -> Series:
    """The layers at the end of every floor, as the program works them out."""
    found: Series = march(
        layers_c=layers,
        drive_c=drive,
        film_w_m2k=film,
        bottom_c=np.full_like(drive, 10.0),
        column=COLUMN,
    ).layers_c
    return found


def _walked(drive: Series, film: Series, layers: Series) -> Series:
    """The same by small implicit steps, one floor and one hour at a time."""
    found = layers.copy()
    for floor in range(len(drive)):
        for hour in range(drive.shape[1]):
            found[floor] = _hour(found[floor], drive[floor, hour], film[floor, hour], COLUMN)
    return found


def _hour(layers: Series, air_c: float, film: float, column: Column) -> Series:
    """One hour of one column: backward Euler over a tridiagonal system, held as a matrix."""
    gaps = np.diff(np.append(column.nodes_m, column.depth_m))
    links = column.medium.conductivity_w_mk / gaps
    heat = column.medium.density_kg_m3 * column.medium.heat_j_kgk
    held = heat * (np.append(0.0, gaps[:-1]) + gaps) / 2 / (3600 / STEPS_AN_HOUR)
    matrix = np.diag(held + links) - np.diag(links[:-1], 1) - np.diag(links[:-1], -1)
    matrix[0, 0] += film
    matrix[1:, 1:] += np.diag(links[:-1])
    for _ in range(STEPS_AN_HOUR):
        pushed: Series = held * layers
        pushed[0] += film * air_c
        pushed[-1] += links[-1] * 10.0
        layers = np.asarray(np.linalg.solve(matrix, pushed), dtype=np.float64)
    return layers
