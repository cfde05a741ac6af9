"""The same floor begun at many hours at once: an estimate in arrays of what `lay_out` says exactly.

A search over thousands of starts asks this first and lays out only the few that are worth it.
Breaks, late hands and the humidity of the air are left to `lay_out`.
"""

from dataclasses import dataclass, replace

import numpy as np

from jobs.rules.bays import divisions
from jobs.rules.cards import Card, CureTime, Table
from jobs.rules.cure import hours_at
from jobs.rules.plan import StageKind, Work
from jobs.rules.rates import Rates, stage_hours
from jobs.rules.stages import PREPARE
from weather.rules.hours import Series, SlabHours


@dataclass(frozen=True, eq=False)
class ManyPlans:
    """One entry for each start; hours since the slab's own start, NaN where it cannot be."""

    start_h: Series
    pour_h: Series
    first_end_h: Series  # when the crew leaves after the base, if it comes again
    top_start_h: Series
    top_end_h: Series
    end_h: Series  # when the crew leaves after the top, in one visit
    rain_safe_h: Series
    slab_c: Series  # at the pour


def lay_many(
    *,
    work: Work,
    card: Card,
    rates: Rates,
    crew_size: int,
    start_h: Series,
    slab: SlabHours,
    bays: int = 1,
) -> ManyPlans:
    """What `lay_out` would say of one visit from each start, without breaks.

    Where joints divide it into `bays` it ends as early as the soonest way of laying it. Raises
    CannotPlan as `stage_hours` does.
    """
    hours = stage_hours(work=work, rates=rates, crew_size=crew_size)
    if card.flake_kg_per_m2 == 0:
        hours.pop(StageKind.SCRAPE, None)
    prepare_h = sum(hours.get(kind, 0.0) for kind in PREPARE)
    pack_h = hours.get(StageKind.PACK, 0.0)
    pour_h = start_h + prepare_h
    base_end_h = pour_h + hours.get(StageKind.BASE, 0.0)
    slab_c = at_hours(slab, pour_h)
    clock = _Clock(card, slab)
    ready_h = clock.reached(card.set, base_end_h, slab_c)
    ready_h = base_end_h + (ready_h - base_end_h) * max(1.0, rates.set_factor)
    top_start_h = ready_h + hours.get(StageKind.SCRAPE, 0.0)
    top_end_h = top_start_h + hours.get(StageKind.TOP, 0.0)
    for count in divisions(bays):
        part = replace(work, area_m2=work.area_m2 / count)
        bay = stage_hours(work=part, rates=rates, crew_size=crew_size)
        top_end_h = np.minimum(top_end_h, clock.bays_end(card.set, count, bay, pour_h, slab_c))
    return ManyPlans(
        start_h=start_h,
        pour_h=pour_h,
        first_end_h=base_end_h + pack_h,
        top_start_h=top_start_h,
        top_end_h=top_end_h,
        end_h=top_end_h + pack_h,
        rain_safe_h=clock.reached(card.rain_safe, top_end_h, slab_c),
        slab_c=slab_c,
    )


def at_hours(slab: SlabHours, when_h: Series) -> Series:
    """The slab's temperature at these hours of its series; NaN outside it."""
    known = ~np.isnan(when_h)
    index = np.where(known, np.nan_to_num(when_h), -1).astype(np.int64)
    inside = known & (index >= 0) & (index < len(slab))
    found: Series = np.where(inside, slab.mid_c[np.clip(index, 0, len(slab) - 1)], np.nan)
    return found


class _Clock:
    """A card on a slab, its sums kept for every event that is asked about."""

    def __init__(self, card: Card, slab: SlabHours) -> None:
        self.card = card
        self.slab = slab
        self.edges = np.arange(len(slab) + 1, dtype=np.float64)

    def bays_end(
        self,
        time: CureTime,
        bays: int,
        bay: dict[StageKind, float],
        pour_h: Series,
        slab_c: Series,
    ) -> Series:
        """When the last bay's top is laid: no rest, or a wait for the first or the last base."""
        scrape_h = bay.get(StageKind.SCRAPE, 0.0) if self.card.flake_kg_per_m2 else 0.0
        base_h, after_h = bay.get(StageKind.BASE, 0.0), scrape_h + bay.get(StageKind.TOP, 0.0)
        no_rest = pour_h + bays * (base_h + after_h)
        first = self.reached(time, pour_h + base_h, slab_c) + bays * after_h
        last = self.reached(time, pour_h + bays * base_h, slab_c) + after_h
        return np.maximum(no_rest, np.maximum(first, last))

    def reached(self, time: CureTime, since_h: Series, slab_c: Series) -> Series:
        """When the event comes, for each of the instants it counts from."""
        if self.card.table is Table.STEP:
            return since_h + _rows_h(time, slab_c)
        mid = self.slab.mid_c
        rates = np.where(mid < self.card.stop_c, 0.0, 1 / hours_at(time, mid))
        done = np.concatenate(([0.0], np.cumsum(np.nan_to_num(rates))))
        target = np.interp(since_h, self.edges, done) + 1.0
        when: Series = np.interp(target, done, self.edges)
        return np.where((target >= done[-1]) | np.isnan(slab_c), np.nan, when)


def _rows_h(time: CureTime, slab_c: Series) -> Series:
    """Hours in the row at or below each temperature; NaN where it is colder than the first."""
    rows_c, rows_h = np.array(time.points, dtype=np.float64).T
    index = np.searchsorted(rows_c, slab_c, side="right") - 1
    known = (index >= 0) & ~np.isnan(slab_c)
    found: Series = np.where(known, rows_h[np.clip(index, 0, len(rows_h) - 1)], np.nan)
    return found
