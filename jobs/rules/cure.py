"""Cure: when a coat is ready, from the temperature of the slab under it.

The method is that of ASTM C1074 (maturity of concrete): the share done per hour at the
temperature of that hour is added up until it is whole. C1074 is written for cement; using
it for resin is this project's modelling choice. Temperatures in °C, times in hours.
"""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from math import ceil, exp, floor, isnan

import numpy as np

from jobs.rules.cards import CureTime, Table
from jobs.rules.refusals import TooCold
from jobs.rules.units import f_from_c
from weather.rules.hours import HOUR, Series, SlabHours, floor_hour

GAS_J_MOL_K = 8.314
ZERO_C_K = 273.15
# 70 °F, the temperature for which data sheets quote their times.
REFERENCE_C = (70 - 32) / 1.8
# A sum of some hundred hours is rounded; what that can lose of the whole is far below this,
# and an event that ends exactly with the series still counts as known.
WHOLE = 1.0 - 1e-9


def arrhenius(*, kelvin: float, reference_k: float, energy_kj_mol: float) -> float:
    """How many times faster a reaction runs at `kelvin` than at `reference_k`."""
    return exp(1000 * energy_kj_mol / GAS_J_MOL_K * (1 / reference_k - 1 / kelvin))


def rate_at(*, slab_c: float, reference_c: float, energy_kj_mol: float) -> float:
    """How many times faster a coat cures at `slab_c` than at `reference_c`."""
    return arrhenius(
        kelvin=slab_c + ZERO_C_K,
        reference_k=reference_c + ZERO_C_K,
        energy_kj_mol=energy_kj_mol,
    )


def maturity_nurse_saul(spans: Iterable[tuple[float, float]], *, datum_c: float) -> float:
    """Degree-hours above `datum_c` over spans of (hours, °C): ASTM C1074, equation 1."""
    return sum(hours * max(0.0, slab_c - datum_c) for hours, slab_c in spans)


def equivalent_age_h(
    spans: Iterable[tuple[float, float]], *, energy_kj_mol: float, reference_c: float
) -> float:
    """Hours at `reference_c` worth as much as the spans of (hours, °C): C1074, equation 2."""
    return sum(
        hours * rate_at(slab_c=slab_c, reference_c=reference_c, energy_kj_mol=energy_kj_mol)
        for hours, slab_c in spans
    )


def spans_of(slab: SlabHours, since: datetime, until: datetime) -> list[tuple[float, float]]:
    """The slab from `since` to `until` as spans of (hours, °C); NaN where it is not known."""
    spans = []
    since, until = since.astimezone(UTC), until.astimezone(UTC)
    while since < until:
        next_edge = min(floor_hour(since) + HOUR, until)
        spans.append(((next_edge - since) / HOUR, slab.at_c(since)))
        since = next_edge
    return spans


def mean_c(slab: SlabHours, since: datetime, until: datetime) -> float:
    """Mean temperature of the slab between two instants; NaN if any hour is not known."""
    begin, end = (since - slab.start) / HOUR, (until - slab.start) / HOUR
    first, last = floor(begin), ceil(end)
    if first < 0 or last > len(slab) or end <= begin:
        return float("nan")
    held = slab.mid_c[first:last]
    # The first and the last hour count for the part of them that lies inside.
    total = held.sum() - held[0] * (begin - first) - held[-1] * (last - end)
    return float(total / (end - begin))


def hours_at(time: CureTime, slab_c: Series) -> Series:
    """Hours to the event on a slab held at each of these temperatures.

    Between rows the logarithm of time is straight over 1/T. Beyond them the energy of the
    card rules; without one, warmer counts as the last row and colder never gets there (inf).
    """
    rows_c, rows_h = np.array(time.points, dtype=np.float64).T
    rows = -1 / (rows_c + ZERO_C_K)
    wanted = -1 / (np.asarray(slab_c, dtype=np.float64) + ZERO_C_K)
    hours: Series = np.exp(np.interp(wanted, rows, np.log(rows_h)))
    if time.energy_kj_mol is None:
        return np.where(wanted < rows[0], np.inf, hours)
    beyond = np.clip(wanted, rows[0], rows[-1]) - wanted
    return hours * np.exp(1000 * time.energy_kj_mol / GAS_J_MOL_K * beyond)


def sheet_h(time: CureTime) -> float:
    """The data sheet's own hours: its single row, or its rows at 70 °F."""
    if len(time.points) == 1:
        return time.points[0][1]
    return float(hours_at(time, np.array([max(REFERENCE_C, time.points[0][0])]))[0])


def row_h(time: CureTime, slab_c: float) -> float:
    """Hours in the row at or below `slab_c`; refuses a slab colder than the first row."""
    fitting = [hours for row_c, hours in time.points if row_c <= slab_c]
    if not fitting:
        first_c = time.points[0][0]
        raise TooCold(
            f"The slab is at {slab_c:.0f} °C ({f_from_c(slab_c):.0f} °F) and the card gives "
            f"no time below {first_c:.0f} °C ({f_from_c(first_c):.0f} °F)."
        )
    return fitting[-1]


def reached(
    *,
    time: CureTime,
    table: Table,
    since: datetime,
    slab: SlabHours,
    stop_c: float,
    slab_at_pour_c: float,
    grains: Series | None = None,
    grains_min: float | None = None,
) -> datetime | None:
    """The instant (UTC) at which the event comes, or None where that is not known.

    None means that an unknown hour stands in between or that the series ends first: nothing
    is carried on beyond it. On a step table only the slab at the pour counts. `grains` is
    the water in the air (grains per lb) by the hour of the slab; hours under `grains_min`
    count for nothing, as for a coat that cures on moisture.
    """
    since = since.astimezone(UTC)
    if table is Table.STEP:
        if isnan(slab_at_pour_c):
            return None
        return since + timedelta(hours=row_h(time, slab_at_pour_c))
    if grains is None or grains_min is None:
        share, done, gaps = _shares(time, slab, stop_c)
    else:
        share, done, gaps = _added_up(_dried(_rates(time, slab, stop_c), grains, grains_min))
    return _crossing(since=since, start=slab.start, share=share, done=done, gaps=gaps)


def _rates(time: CureTime, slab: SlabHours, stop_c: float) -> Series:
    """Share of the event gained in each hour; none below the stop, NaN where unknown."""
    rates = 1 / hours_at(time, slab.mid_c)
    return np.where(slab.mid_c < stop_c, 0.0, rates)


def _dried(rates: Series, grains: Series, grains_min: float) -> Series:
    """`rates` with nothing gained in air too dry, and unknown where the air is unknown."""
    known = np.full(len(rates), np.nan)
    held = min(len(rates), len(grains))
    known[:held] = grains[:held]
    return np.where(np.isnan(known), np.nan, np.where(known < grains_min, 0.0, rates))


def _added_up(rates: Series) -> tuple[Series, Series, Series]:
    """The rates with unknown as zero, their sum and the unknown hours up to each edge."""
    gap = np.isnan(rates)
    share = np.where(gap, 0.0, rates)
    done = np.concatenate(([0.0], np.cumsum(share)))
    gaps = np.concatenate(([0.0], np.cumsum(gap)))
    return share, done, gaps


@lru_cache(maxsize=512)  # a search asks for hundreds of starts on one slab
def _shares(time: CureTime, slab: SlabHours, stop_c: float) -> tuple[Series, Series, Series]:
    return _added_up(_rates(time, slab, stop_c))


def _crossing(
    *, since: datetime, start: datetime, share: Series, done: Series, gaps: Series
) -> datetime | None:
    """Where the sum since `since` becomes whole; None across a gap or past the end."""
    offset_h = (since - start) / HOUR
    first = int(offset_h // 1)
    if not 0 <= first < len(share):
        return None
    before = done[first] + share[first] * (offset_h - first)
    last = int(np.searchsorted(done, before + WHOLE)) - 1
    if last >= len(share) or gaps[last + 1] > gaps[first]:
        return None
    inside_h = (before + 1.0 - done[last]) / share[last]
    return start + timedelta(hours=last + float(inside_h))
