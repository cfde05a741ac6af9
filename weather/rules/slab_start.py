"""Where the layers of a slab stand before the first known hour."""

from collections.abc import Callable

import numpy as np

from weather.rules.conduction import Column
from weather.rules.hours import Series

START_H = 7 * 24  # of first hours whose mean sets the start
START_DOUBT_H = 48  # with this many hours, record and climate weigh the same


def start_c(
    *,
    ground_c: Series,
    air_c: Series,
    first: int,
    drive_of: Callable[[Series], Series],
    film_w_m2k: float,
    column: Column,
) -> Series:
    """Layers (°C) at the first known hour: undisturbed ground, bent at the top to the record.

    `drive_of` says what the slab feels under that air. At rest the bend is a line from the
    surface down, whose top the film holds a little off the drive.
    """
    usual = _drawn_to(float(ground_c[0]), air_c=air_c, first=first)
    earlier_c = _first_days_c(drive_of(usual), first=first)
    biot = film_w_m2k * column.depth_m / column.medium.conductivity_w_mk
    lift_c = np.nan_to_num(earlier_c - ground_c[0]) * biot / (1 + biot)
    bent: Series = ground_c + lift_c * (1 - column.nodes_m / column.depth_m)
    return bent


def _drawn_to(climate_c: float, *, air_c: Series, first: int) -> Series:
    """The air as the weeks before the record may have had it: the less record, the more usual.

    Moving the air, and not what the slab feels, keeps the house's and the sun's share right.
    """
    count = int((~np.isnan(air_c[first:][:START_H])).sum())
    usual = START_DOUBT_H / (count + START_DOUBT_H)
    drawn: Series = air_c + usual * (climate_c - _first_days_c(air_c, first=first))
    return drawn


def _first_days_c(series: Series, *, first: int) -> float:
    """Mean of the first known days: whole ones, lest a night speak for all."""
    days = series[first:][:START_H]
    days = days[~np.isnan(days)]
    days = days[: len(days) // 24 * 24 or len(days)]
    return float(days.mean()) if len(days) else float("nan")
