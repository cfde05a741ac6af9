"""Promises: walk-on and drive-on after the top coat, never earlier than the data sheet.

What the slab will do after the crew has left is the least known, so callers give the cold
side of the estimate, or the colder of slab and air where nobody took a reading.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import isnan

import numpy as np

from jobs.rules.cards import Card, Table
from jobs.rules.cure import mean_c, reached, row_h, sheet_h
from jobs.rules.refusals import TooCold
from jobs.rules.units import f_from_c
from weather.rules.hours import HOUR, Hours, Series, SlabHours

MEAN_OVER = timedelta(hours=24)


@dataclass(frozen=True)
class DriveOn:
    """When a car may come back, or None; the mean slab it rests on.

    `basis` is what it rests on, or why there is no date, in words to go into a sentence.
    """

    at: datetime | None
    basis: str
    slab_c: float | None = None


def promised_on(
    *,
    card: Card,
    slab: SlabHours,
    hours: Hours,
    indoors: bool = False,
    heated: Sequence[tuple[datetime, datetime]] = (),
) -> SlabHours:
    """The slab that walk-on and drive-on are promised on: the cold side of `slab`.

    A card read by steps asks for one temperature only, so a cold night must not hide behind a
    slab that lags it: where the air of an hour is colder, the air counts. It does not in a
    house (`indoors`) or in the `heated` spans, when somebody keeps the room warm.
    """
    cold = slab.side("cold")
    if card.table is not Table.STEP or indoors:
        return cold
    air = np.full(len(cold), np.nan)
    offset = round((hours.start - cold.start) / HOUR)
    low, high = max(0, offset), min(len(cold), offset + len(hours))
    if high > low:
        air[low:high] = hours.air_c[low - offset : high - offset]
    begins = np.arange(len(cold), dtype=np.float64)
    for start, end in heated:
        first, last = (start - cold.start) / HOUR, (end - cold.start) / HOUR
        air[(begins + 1 > first) & (begins < last)] = np.nan
    return replace(cold, mid_c=np.where(np.isnan(cold.mid_c), np.nan, np.fmin(cold.mid_c, air)))


def degrees(slab_c: float) -> str:
    """A temperature in words, in both units."""
    return f"{slab_c:.0f} °C ({f_from_c(slab_c):.0f} °F)"


def drive_on(*, card: Card, top_end: datetime, cold: SlabHours, grains: Series | None) -> DriveOn:
    """The drive-on for a top coat finished at `top_end`, exact: callers round it up."""
    if card.table is Table.STEP:
        return _by_row(card, top_end, cold)
    return _by_integral(card, top_end, cold, grains)


def _by_row(card: Card, top_end: datetime, cold: SlabHours) -> DriveOn:
    """The row of the mean slab over the first 24 hours."""
    slab_c = mean_c(cold, top_end, top_end + MEAN_OVER)
    if isnan(slab_c):
        return DriveOn(None, "the first 24 hours after the top coat are not known yet")
    too_cold = _too_cold(card, slab_c)
    if too_cold:
        return too_cold
    try:
        wait_h = row_h(card.drive_on, slab_c)
    except TooCold:
        return DriveOn(
            None,
            f"its first 24 hours are too cold for the card, {degrees(slab_c)} on average",
            slab_c,
        )
    return DriveOn(
        top_end + timedelta(hours=wait_h),
        f"{wait_h:.0f} hours for a slab of {degrees(slab_c)} on average over the first 24 hours",
        slab_c,
    )


def _by_integral(card: Card, top_end: datetime, cold: SlabHours, grains: Series | None) -> DriveOn:
    """The later of the sheet's own time and the cure added up over the slab's hours."""
    cured = reached(
        time=card.drive_on,
        table=Table.CURVE,
        since=top_end,
        slab=cold,
        stop_c=card.stop_c,
        slab_at_pour_c=float("nan"),
        grains=grains,
        grains_min=card.humidity_min_grains,
    )
    first_day_c = mean_c(cold, top_end, min(cured or top_end + MEAN_OVER, top_end + MEAN_OVER))
    too_cold = None if isnan(first_day_c) else _too_cold(card, first_day_c)
    if too_cold:
        return too_cold
    if cured is None:
        return DriveOn(None, "the hours that are known end before the coat is hard")
    sheet = top_end + timedelta(hours=sheet_h(card.drive_on))
    slab_c = mean_c(cold, top_end, cured)
    return DriveOn(
        max(cured, sheet),
        f"a slab of {degrees(slab_c)} on average, and never before the "
        f"{sheet_h(card.drive_on):.0f} hours of the data sheet",
        slab_c,
    )


def _too_cold(card: Card, slab_c: float) -> DriveOn | None:
    """No date, where the card promises none on a slab as cold as this."""
    if card.drive_on_min_c is None or slab_c >= card.drive_on_min_c:
        return None
    words = (
        f"the slab is at {degrees(slab_c)} on average and the card gives no date under "
        f"{degrees(card.drive_on_min_c)}"
    )
    return DriveOn(None, words, slab_c)
