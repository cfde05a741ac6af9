"""Materials: what a floor takes, and in batches of what size it can be laid.

A batch is no bigger than what a crew spreads before it goes off, so a warm slab needs more
and smaller ones. Volumes in litres, masses in kg.
"""

from dataclasses import dataclass
from math import ceil

import numpy as np

from jobs.rules.cards import Card, CureTime
from jobs.rules.cure import hours_at
from jobs.rules.plan import Work
from jobs.rules.rates import CREW_OF_RATES, Pace, Rates

POROUS = 0.15  # porous or rough concrete takes 10 to 20 % more: common practice
WASTE = 0.08  # left in pails and rollers, 5 to 10 %: common practice
FLAKE_SPARE = 0.10  # ordered beyond what is thrown: common practice
RECOVERED = 0.40  # of thrown flake, scraped and swept up: smallcrete.rocks, an installer
STEM_HEIGHT_M = 0.2  # faces of 4 to 12 inches: common practice
STEP_M2 = 0.6  # tread and riser, about 4 feet wide: common practice
# Cutting in with a brush: a band of 6 inches at 6 or 7 feet a minute: common practice.
EDGE_M2_PER_MIN = 0.3
# Water in the air at which a fast coat goes off sooner or later: common practice.
DAMP_GRAINS, DAMP_FACTOR = 110.0, 0.7
DRY_GRAINS, DRY_FACTOR = 40.0, 1.3


@dataclass(frozen=True)
class CoatNeed:
    """One coat of one floor: its parts, and its batches at the slab they are laid on."""

    litres: float
    a_l: float
    b_l: float
    usable_minutes: float
    batch_l: float
    halved: bool  # the slab is hot, so batches are half the size
    edge_batch_l: float = 0.0  # the biggest mix for cutting in by brush

    @property
    def batches(self) -> int:
        """How many batches of at most `batch_l` the coat takes."""
        return ceil(self.litres / self.batch_l - 1e-9)


@dataclass(frozen=True)
class Materials:
    """What goes on the trailer. Flake is ordered on what is thrown, costed on what stays."""

    base: CoatNeed
    top: CoatNeed
    flake_thrown_kg: float
    flake_net_kg: float
    flake_order_kg: float


def coated_m2(work: Work) -> float:
    """The floor with its stem walls and steps."""
    return work.area_m2 + work.stem_wall_m * STEM_HEIGHT_M + work.steps * STEP_M2


def usable_minutes(card: Card, slab_c: float, *, grains: float | None = None) -> float:
    """Minutes in which a mix can be spread at `slab_c`.

    Read between the rows on every card: the row below would promise too long. Give `grains`
    (water in the air, grains per lb) only for coats that go off sooner in damp air.
    """
    time = card.working_minutes
    at_c = slab_c if time.energy_kj_mol is not None else max(slab_c, time.points[0][0])
    minutes = 60 * _hours(time, at_c)
    if grains is None:
        return minutes
    return minutes * _water_factor(grains)


def batch_l(
    *, usable_minutes: float, m2_per_min: float, m2_per_l: float, hot: bool = False
) -> float:
    """The biggest batch a crew spreads in time; half of it on a hot slab."""
    litres = usable_minutes * m2_per_min / m2_per_l
    return litres / 2 if hot else litres


def parts_l(litres: float, *, mix_a: float, mix_b: float) -> tuple[float, float]:
    """How much of A and of B make `litres` by the ratio of the card."""
    return litres * mix_a / (mix_a + mix_b), litres * mix_b / (mix_a + mix_b)


def materials(
    *,
    work: Work,
    card: Card,
    rates: Rates,
    crew_size: int,
    slab_at_pour_c: float,
    slab_at_top_c: float,
    porous: bool | None = None,
    waste: float = WASTE,
) -> Materials:
    """Everything one floor takes, with batches for the slab at each coat.

    A porous slab drinks more of the base; the top lies on the base and does not. `porous`
    is the floor's own unless it is said.
    """
    area_m2 = coated_m2(work)
    lost = 1 + waste
    porous = work.porous if porous is None else porous
    drunk = 1 + POROUS if porous else 1.0
    thrown_kg = area_m2 * card.flake_kg_per_m2
    return Materials(
        base=_need(
            card=card,
            litres=area_m2 / card.base_m2_per_l * lost * drunk,
            m2_per_l=card.base_m2_per_l,
            m2_per_min=_m2_per_min(rates.base, crew_size),
            slab_c=slab_at_pour_c,
        ),
        top=_need(
            card=card,
            litres=area_m2 / card.top_m2_per_l * lost,
            m2_per_l=card.top_m2_per_l,
            m2_per_min=_m2_per_min(rates.top, crew_size),
            slab_c=slab_at_top_c,
        ),
        flake_thrown_kg=thrown_kg,
        flake_net_kg=thrown_kg * (1 - RECOVERED),
        flake_order_kg=thrown_kg * (1 + FLAKE_SPARE),
    )


def boxes(mass_kg: float, *, box_kg: float) -> int:
    """Whole boxes that hold `mass_kg`; their weight varies, so it is always given."""
    if box_kg <= 0:
        raise ValueError("a box must weigh something")
    return ceil(mass_kg / box_kg - 1e-9)


def _need(
    *, card: Card, litres: float, m2_per_l: float, m2_per_min: float, slab_c: float
) -> CoatNeed:
    minutes = usable_minutes(card, slab_c)
    hot = slab_c > card.slab_amber_above_c
    size_l = batch_l(usable_minutes=minutes, m2_per_min=m2_per_min, m2_per_l=m2_per_l, hot=hot)
    a_l, b_l = parts_l(litres, mix_a=card.mix_a, mix_b=card.mix_b)
    edge_l = batch_l(usable_minutes=minutes, m2_per_min=EDGE_M2_PER_MIN, m2_per_l=m2_per_l, hot=hot)
    return CoatNeed(litres, a_l, b_l, minutes, size_l, halved=hot, edge_batch_l=min(edge_l, size_l))


def _m2_per_min(pace: Pace, crew_size: int) -> float:
    if pace.m2_per_h is None:
        raise ValueError("a coat needs a pace by area to know its batches")
    return pace.m2_per_h / 60 * crew_size / CREW_OF_RATES


def _hours(time: CureTime, slab_c: float) -> float:
    return float(hours_at(time, np.array([slab_c]))[0])


def _water_factor(grains: float) -> float:
    if grains >= DAMP_GRAINS:
        return DAMP_FACTOR
    return DRY_FACTOR if grains <= DRY_GRAINS else 1.0
