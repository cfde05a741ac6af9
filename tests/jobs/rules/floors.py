"""Slabs, floors and two planning cards of invented systems, as the tests of rules need them."""

from collections.abc import Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from jobs.rules.cards import Card, CureTime, Table
from jobs.rules.plan import Condition, Work
from jobs.rules.rates import Pace, Rates
from weather.rules.hours import HOUR, SlabHours, floor_hour

FT2_M2 = 0.3048**2
FT_M = 0.3048


def clock(zone: str, text: str) -> datetime:
    """An instant written as a clock at the site shows it, such as 2026-06-18 07:00."""
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


def slab_of(start: datetime, temperatures_c: Sequence[float]) -> SlabHours:
    """A slab known exactly, one value an hour from the hour that holds `start`."""
    known = np.array(temperatures_c, dtype=np.float64)
    return SlabHours(start=floor_hour(start), mid_c=known, cold_c=known, warm_c=known)


def steady(start: datetime, slab_c: float, hours: int = 240) -> SlabHours:
    """A slab held at one temperature."""
    return slab_of(start, [slab_c] * hours)


def slab_from(rows: dict[datetime, float], hours: int = 120) -> SlabHours:
    """A slab whose values hold from their hour until the next one given."""
    start = min(rows)
    instants = [start + i * HOUR for i in range(hours)]
    return slab_of(start, [rows[max(known for known in rows if known <= i)] for i in instants])


def floor_of(
    area_ft2: float, *, edge_ft: float = 0.0, steps: int = 0, crack_ft: float = 0.0
) -> Work:
    """A bare floor, measured as an American office measures it."""
    return Work(
        area_m2=area_ft2 * FT2_M2,
        edge_m=edge_ft * FT_M,
        crack_m=crack_ft * FT_M,
        steps=steps,
        condition=Condition.BARE,
    )


# Planning rates by the 100 sq ft, with least times: grinding with repairs and vacuuming in
# one, and no separate time for edges or cracks.
PLANNING_RATES = Rates(
    set_up_h=0.5,
    mask_h=0.5,
    grind=Pace(m2_per_h=FT2_M2 * 100 / 0.55, least_h=1.0),
    edge_m_per_h=None,
    crack_m_per_h=None,
    prove_h=0.0,
    vacuum=Pace(),
    step_h=0.25,
    base=Pace(m2_per_h=FT2_M2 * 100 / 0.2, least_h=0.5),
    scrape=Pace(m2_per_h=FT2_M2 * 100 / 0.2, least_h=0.5),
    top=Pace(m2_per_h=FT2_M2 * 100 / 0.2, least_h=0.5),
    pack_h=0.5,
    return_set_up_h=0.0,
)
_FAST_DRY = CureTime(((5, 9), (10, 6), (25, 4)), energy_kj_mol=45)
FAST = Card(
    name="A fast flake floor of one day",
    table=Table.STEP,
    slab_min_c=5,
    slab_max_c=32,
    slab_amber_below_c=10,
    slab_amber_above_c=29,
    humidity_max_pct=85,
    set=CureTime(((5, 4.5), (10, 3), (15, 2), (20, 1.5), (25, 1))),
    tack_free=_FAST_DRY,
    rain_safe=_FAST_DRY,
    walk_on=CureTime(((5, 24), (10, 12), (25, 8))),
    drive_on=CureTime(((-10, 72), (10, 48), (25, 24))),
    recoat_until_h=24,
    abrade_h_per_m2=0.3 / (100 * FT2_M2),
    stop_c=5,
    working_minutes=CureTime(((21, 12 / 60),), energy_kj_mol=45),
    mix_a=1,
    mix_b=1,
    base_m2_per_l=4,
    top_m2_per_l=4,
    flake_kg_per_m2=0.49,
    shelf_life_days=180,
    overnight=True,
)
EPOXY_BASE = Card(
    name="A flake floor of two days with an epoxy base",
    table=Table.STEP,
    slab_min_c=13,
    slab_max_c=29,
    slab_amber_below_c=15,
    slab_amber_above_c=27,
    humidity_max_pct=85,
    set=CureTime(((13, 10),), energy_kj_mol=55),
    tack_free=_FAST_DRY,
    rain_safe=_FAST_DRY,
    walk_on=CureTime(((13, 12),), energy_kj_mol=45),
    drive_on=CureTime(((13, 72),), energy_kj_mol=55),
    recoat_until_h=24,
    abrade_h_per_m2=0.3 / (100 * FT2_M2),
    stop_c=10,
    working_minutes=CureTime(((21, 15 / 60),), energy_kj_mol=55),
    mix_a=2,
    mix_b=1,
    base_m2_per_l=4,
    top_m2_per_l=4,
    flake_kg_per_m2=0.49,
    shelf_life_days=365,
    two_days=True,
    base_rain_safe=CureTime(((13, 8),), energy_kj_mol=55),
)
