"""The card of a coating system: its limits, its times and what it takes, as plain values.

The data sheet of the product in use overrides every value here. Temperatures in °C, times
in hours, areas in m², volumes in litres, masses in kg.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Table(StrEnum):
    """How a table of times by temperature is read.

    STEP takes the row at or below the slab's temperature at the pour. CURVE integrates over
    the slab's hours between the rows.
    """

    STEP = "step"
    CURVE = "curve"


@dataclass(frozen=True)
class CureTime:
    """Hours until an event, by slab temperature.

    `points` are (°C, hours), warmer rows later. One point and `energy_kj_mol` make an
    Arrhenius law; with several points the rows rule and the energy only reaches beyond them.
    """

    points: tuple[tuple[float, float], ...]
    energy_kj_mol: float | None = None

    def __post_init__(self) -> None:
        if not self.points:
            raise ValueError("a time needs at least one row of temperature and hours")
        temperatures = [row[0] for row in self.points]
        if temperatures != sorted(set(temperatures)):
            raise ValueError("rows must rise in temperature, each once")
        if any(hours <= 0 for _, hours in self.points):
            raise ValueError("hours must be above zero")
        if len(self.points) == 1 and self.energy_kj_mol is None:
            raise ValueError("a single row needs an energy to reach other temperatures")


@dataclass(frozen=True)
class Card:
    """Limits, times and amounts of one coating system."""

    name: str
    table: Table
    slab_min_c: float
    slab_max_c: float
    slab_amber_below_c: float
    slab_amber_above_c: float
    humidity_max_pct: float
    set: CureTime  # base coat to scraping, or to the next coat
    tack_free: CureTime  # after the top coat
    rain_safe: CureTime
    walk_on: CureTime
    drive_on: CureTime
    recoat_until_h: float  # latest next coat after the base, else abrade
    abrade_h_per_m2: float
    stop_c: float  # below this no cure is counted
    working_minutes: CureTime  # usable minutes of a mix, in HOURS in `points`, by slab
    mix_a: float
    mix_b: float
    base_m2_per_l: float
    top_m2_per_l: float
    flake_kg_per_m2: float  # thrown
    shelf_life_days: int
    spread_min_c: float = 3.0
    spread_amber_c: float = 5.0
    air_min_c: float | None = None
    air_max_c: float | None = None
    humidity_min_grains: float | None = None  # moisture-cure systems stop below it
    drive_on_min_c: float | None = None  # below it no date is promised
    two_days: bool = False  # the top coat goes down another day
    overnight: bool = False  # the broadcast base may wait overnight
    base_rain_safe: CureTime | None = None  # after a base that waits for another day
    kit_l: float = 11.356235352  # 3 gal: what one kit of base or top holds, A and B together
    sources: Mapping[str, str] = field(default_factory=dict)
