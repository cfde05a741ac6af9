"""Rates: how long a crew takes for each stage of a floor. Metric, hours for a crew of two.

The defaults are trade figures for two people who work apart where they can: one runs the
grinder, the other does edges and cracks, so those hours overlap. Most are common practice
with thin published support; a branch calibrates them from its own log.
"""

from dataclasses import dataclass

from jobs.rules.plan import Condition, StageKind, Work
from jobs.rules.refusals import CannotPlan, NeedsTwo
from jobs.rules.units import M2_PER_FT2, M_PER_FT

CREW_OF_RATES = 2  # every pace below is that of two people


@dataclass(frozen=True)
class Pace:
    """Hours of a stage by area: a fixed part, a part per m², never under the least."""

    fixed_h: float = 0.0
    m2_per_h: float | None = None
    least_h: float = 0.0

    def __post_init__(self) -> None:
        if self.fixed_h < 0 or self.least_h < 0:
            raise ValueError("hours cannot be below zero")
        if self.m2_per_h is not None and self.m2_per_h <= 0:
            raise ValueError("an area per hour must be above zero")

    def hours(self, area_m2: float, *, speed: float = 1.0) -> float:
        """Hours for `area_m2` where the pace per m² is `speed` times the usual."""
        by_area = area_m2 / (self.m2_per_h * speed) if self.m2_per_h else 0.0
        return max(self.least_h, self.fixed_h + by_area)


@dataclass(frozen=True)
class Rates:
    """What a branch's crews achieve; None where a task is part of another.

    `prove_h` is spent after grinding: fillers set, readings are taken. It does not shrink
    with more people, and neither do set-up, masking and packing.
    """

    set_up_h: float = 0.5  # common practice, 0.4 to 1.0
    mask_h: float = 0.25  # common practice
    # 500 sq ft in 2 to 3 h with a walk-behind grinder: a published installer's figure.
    grind: Pace = Pace(m2_per_h=225 * M2_PER_FT2)
    edge_m_per_h: float | None = 60 * M_PER_FT  # 40 to 100 lf/h by hand grinder
    crack_m_per_h: float | None = 40 * M_PER_FT  # 25 to 60 lf/h: chase, fill, shave
    spall_h: float = 1 / 6  # 5 to 20 minutes each
    prove_h: float = 0.25  # a filler sets in 10 to 30 minutes
    vacuum: Pace = Pace(fixed_h=0.1, m2_per_h=1500 * M2_PER_FT2)
    stem_m_per_h: float = 25 * M_PER_FT  # 15 to 40 lf/h of stem wall, ground and coated
    step_h: float = 0.3  # 0.2 to 0.5 h each
    base: Pace = Pace(fixed_h=0.25, m2_per_h=800 * M2_PER_FT2)  # 500 to 1,200 sq ft/h
    scrape: Pace = Pace(fixed_h=0.25, m2_per_h=800 * M2_PER_FT2)
    top: Pace = Pace(fixed_h=0.25, m2_per_h=800 * M2_PER_FT2)
    pack_h: float = 0.5  # 0.5 to 1.0 h
    return_set_up_h: float = 0.25  # unloading on a second visit; common practice
    # A rest of `break_h` after so many hours of work without one; none where it is None. Half an
    # hour after at most five or six is what many states ask for (common practice).
    break_after_h: float | None = None
    break_h: float = 0.5
    set_factor: float = 1.0  # how much longer a base takes to set than its card says
    sealer_speed: float = 0.5  # thin paint or sealer: 80 to 125 of 225 sq ft/h
    thick_speed: float = 0.3  # thick coating or mastic: under 70 of 225 sq ft/h

    def grind_speed(self, condition: Condition) -> float:
        """How fast this slab grinds, bare concrete being 1."""
        speeds = {Condition.SEALER: self.sealer_speed, Condition.THICK: self.thick_speed}
        return speeds.get(condition, 1.0)


def stage_hours(
    *,
    work: Work,
    rates: Rates,
    crew_size: int,
    abrade_h_per_m2: float = 0.0,
    resin: bool = True,
    grinders: int | None = None,
) -> dict[StageKind, float]:
    """Hours of every hands-on stage for this crew; stages that take no time are left out.

    With `resin` False only preparing is asked for, which one person can do; otherwise a
    crew under two is refused. `grinders` are the walk-behind machines on site: without it
    there is one for every two people, with it the field is ground no faster than they go.
    """
    if crew_size < 1:
        raise CannotPlan("There is nobody in this crew on that day.")
    if resin and crew_size < CREW_OF_RATES:
        raise NeedsTwo("Base and top coat need two people at least; this crew has one.")
    shrink = CREW_OF_RATES / crew_size
    hours = {
        StageKind.SET_UP: rates.set_up_h,
        StageKind.MASK: rates.mask_h,
        StageKind.GRIND: _grind_h(work, rates, shrink, grinders) + rates.prove_h,
        StageKind.VACUUM: rates.vacuum.hours(work.area_m2) * shrink,
        StageKind.VERTICALS: _verticals_h(work, rates) * shrink,
        StageKind.BASE: rates.base.hours(work.area_m2) * shrink,
        StageKind.SCRAPE: rates.scrape.hours(work.area_m2) * shrink,
        StageKind.ABRADE: abrade_h_per_m2 * work.area_m2 * shrink,
        StageKind.TOP: rates.top.hours(work.area_m2) * shrink,
        StageKind.PACK: rates.pack_h,
    }
    return {kind: spent_h for kind, spent_h in hours.items() if spent_h > 0}


def _grind_h(work: Work, rates: Rates, shrink: float, grinders: int | None) -> float:
    """Half the people grind the field while the others do edges and repairs."""
    if grinders is not None and grinders < 1:
        raise CannotPlan("There is no grinder for this floor.")
    field_h = rates.grind.hours(work.area_m2, speed=rates.grind_speed(work.condition))
    beside_h = work.spalls * rates.spall_h
    if rates.edge_m_per_h:
        beside_h += work.edge_m / rates.edge_m_per_h
    if rates.crack_m_per_h:
        beside_h += work.crack_m / rates.crack_m_per_h
    machines = max(shrink, 1 / grinders) if grinders is not None else shrink
    return max(field_h * machines, beside_h * shrink)


def _verticals_h(work: Work, rates: Rates) -> float:
    return work.stem_wall_m / rates.stem_m_per_h + work.steps * rates.step_h
