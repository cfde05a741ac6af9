"""Catalogue: five invented systems to begin with. A branch edits them as its own products.

The data sheet of the product in use overrides every number. No table by temperature of a
fast aliphatic coating could be found published, so their energies rest on the literature of
isocyanate and hydroxyl (34.7 to 48.1 kJ/mol) and on a published epoxy table (about 47).
"""

from dataclasses import dataclass
from decimal import Decimal

from jobs.rules.cards import Card, CureTime, Table
from jobs.rules.units import kg_per_m2_from_lb_per_ft2, m2_per_l_from_ft2_per_gal

AT_70F = 21.1  # °C, where data sheets quote their times
AT_45F = 7.2
FAST_KJ_MOL = 45.0
EPOXY_KJ_MOL = 55.0
# Hardness slows down more in the cold than tack does: a published table of a fast epoxy
# falls from 75 h to 20 h between 50 and 60 °F, so drive-on has an energy of its own.
HARD_KJ_MOL = 65.0
USABLE = 0.6  # of the pot life in the pail, after mixing and carrying: common practice
FULL_FLAKE = round(kg_per_m2_from_lb_per_ft2(1 / 6), 3)  # thrown: area / 6 in lb by sq ft
# 0.3 h by 100 sq ft to roughen a coat past its window: a planning figure.
ABRADE_H_PER_M2 = 0.0323

COMMON = "common practice"
SHEET = "a coating maker's data sheet, not named here; the sheet in use overrides it"
FIELD = (
    "concreteconstruction.net, a garage floor coated at a slab of 45 °F: top coat 1.5 h after "
    "the base, foot traffic after 2 h, car after 6 h; base 8-12 mil, clear 10-12 mil"
)
FLAKE = "area / 6 in lb per sq ft thrown: a maker's sheet; net 0.10 lb after 40 % is recovered"
SPREAD = "3 °C above the dew point: ISO 12944-7 and ISO 8502-4, borrowed from steel"
ENERGY = (
    "isocyanate and hydroxyl 34.7-48.1 kJ/mol (Polymer Korea); hardness from a published table "
    "of a fast epoxy (scribd.com/document/708897795), 65 kJ/mol in the cold"
)
EPOXY_ENERGY = "epoxy and amine 55-60 kJ/mol: Thermochimica Acta 447 (2006) 167"
PRICE = "a made-up figure to start with; every branch sets its own"

_SHARED_SOURCES = {
    "spread_min_c": SPREAD,
    "spread_amber_c": "3 °C and room for the error of instruments; " + COMMON,
    "energy": ENERGY,
    "working_minutes": "0.6 of the pot life in the pail; " + COMMON,
    "abrade_h_per_m2": "0.3 h by 100 sq ft; a planning figure",
    "price_per_m2": PRICE,
    "kit_l": "a maker's kit of 2:1, two gallons of A and one of B",
}


@dataclass(frozen=True)
class System:
    """One entry: a stable key, the card and a price to begin with."""

    key: str
    card: Card
    price_per_m2: Decimal


def _at(hours: float, *, slab_c: float = AT_70F, energy: float = FAST_KJ_MOL) -> CureTime:
    return CureTime(((slab_c, hours),), energy_kj_mol=energy)


def _coverage(ft2_per_gal: float) -> float:
    return round(m2_per_l_from_ft2_per_gal(ft2_per_gal), 3)


ONE_DAY = Card(
    name="One-day flake, fast base and clear",
    table=Table.CURVE,
    slab_min_c=10,
    slab_max_c=32,
    slab_amber_below_c=13,
    slab_amber_above_c=29,
    humidity_max_pct=85,
    set=_at(1.5),
    tack_free=_at(2),
    rain_safe=_at(3),
    walk_on=_at(4),
    drive_on=_at(24, energy=HARD_KJ_MOL),
    recoat_until_h=24,
    abrade_h_per_m2=ABRADE_H_PER_M2,
    stop_c=5,
    working_minutes=_at(15 * USABLE / 60),
    mix_a=1,
    mix_b=1,
    base_m2_per_l=_coverage(160),
    top_m2_per_l=_coverage(160),
    flake_kg_per_m2=FULL_FLAKE,
    shelf_life_days=180,
    air_min_c=10,
    air_max_c=35,
    drive_on_min_c=5,
    overnight=True,
    sources={
        **_SHARED_SOURCES,
        "slab_min_c": SHEET + " (50 °F)",
        "slab_max_c": SHEET + " (90 °F)",
        "slab_amber_below_c": COMMON,
        "slab_amber_above_c": SHEET + " (another sheet stops at 85 °F)",
        "humidity_max_pct": SHEET + " (under 85 to 90 %)",
        "set": COMMON + ", 1 to 2 h at 70 °F; " + FIELD,
        "tack_free": COMMON,
        "rain_safe": COMMON + ", the long end of 2 to 3 h",
        "walk_on": COMMON + ", the long end of 2 to 4 h",
        "drive_on": COMMON + ", 24 h at 70 °F",
        "drive_on_min_c": COMMON + ": no date on a slab where hardening all but stops",
        "recoat_until_h": COMMON + ", 12 to 24 h; a broadcast base gives a mechanical key",
        "stop_c": COMMON,
        "mix": COMMON + ", 1:1 by volume",
        "base_m2_per_l": "1604 / 10 mil wet = 160 sq ft by gallon; " + FIELD,
        "top_m2_per_l": "150-175 sq ft by gallon over full flake: smallcrete.rocks, an installer",
        "flake_kg_per_m2": FLAKE,
        "shelf_life_days": SHEET + " (6 months unopened)",
        "air_min_c": SHEET,
        "air_max_c": COMMON,
    },
)

TWO_DAY = Card(
    name="Two-day flake, epoxy base and fast clear",
    table=Table.CURVE,
    slab_min_c=13,
    slab_max_c=29,
    slab_amber_below_c=15.5,
    slab_amber_above_c=27,
    humidity_max_pct=85,
    set=_at(10, energy=EPOXY_KJ_MOL),
    tack_free=_at(2),
    rain_safe=_at(3),
    walk_on=_at(12),
    drive_on=_at(72, energy=HARD_KJ_MOL),
    recoat_until_h=24,
    abrade_h_per_m2=ABRADE_H_PER_M2,
    stop_c=4.4,
    working_minutes=_at(25 * USABLE / 60, energy=EPOXY_KJ_MOL),
    mix_a=2,
    mix_b=1,
    base_m2_per_l=_coverage(160),
    top_m2_per_l=_coverage(160),
    flake_kg_per_m2=FULL_FLAKE,
    shelf_life_days=365,
    air_min_c=13,
    air_max_c=32,
    drive_on_min_c=7,
    two_days=True,
    base_rain_safe=_at(12, energy=EPOXY_KJ_MOL),
    sources={
        **_SHARED_SOURCES,
        "epoxy energy": EPOXY_ENERGY,
        "slab_min_c": "55-90 °F: horizonepoxyfloors.com.au, an installer",
        "slab_max_c": SHEET + " (best from 60 to 85 °F)",
        "slab_amber_below_c": SHEET + " (60 °F)",
        "slab_amber_above_c": COMMON,
        "humidity_max_pct": "85 %: horizonepoxyfloors.com.au, an installer",
        "set": COMMON + ", 8 to 12 h at 70 °F",
        "tack_free": COMMON,
        "rain_safe": COMMON + ", the long end of 2 to 3 h",
        "walk_on": "12-24 h: crockfinish.com",
        "drive_on": "48-72 h: crockfinish.com; the long end",
        "drive_on_min_c": COMMON,
        "recoat_until_h": COMMON + ", 24 to 36 h; the short end",
        "stop_c": "no reaction below 40 °F: the published table of a fast epoxy",
        "mix": SHEET + " (2:1 by volume)",
        "base_m2_per_l": "1604 / 10 mil wet = 160 sq ft by gallon",
        "top_m2_per_l": "150-175 sq ft by gallon over full flake: smallcrete.rocks, an installer",
        "flake_kg_per_m2": FLAKE,
        "shelf_life_days": SHEET + " (12 months)",
        "base_rain_safe": COMMON + ", 12 to 24 h",
        "air_min_c": SHEET,
        "air_max_c": SHEET + " (90 °F)",
    },
)

WINTER = Card(
    name="Winter-grade one-day flake",
    table=Table.CURVE,
    slab_min_c=2,
    slab_max_c=24,
    slab_amber_below_c=5,
    slab_amber_above_c=21,
    humidity_max_pct=85,
    set=_at(1.5, slab_c=AT_45F),
    tack_free=_at(3, slab_c=AT_45F),
    rain_safe=_at(4, slab_c=AT_45F),
    walk_on=_at(6, slab_c=AT_45F),
    drive_on=_at(24, slab_c=AT_45F, energy=HARD_KJ_MOL),
    recoat_until_h=24,
    abrade_h_per_m2=ABRADE_H_PER_M2,
    stop_c=0,
    working_minutes=_at(15 * USABLE / 60, slab_c=AT_45F),
    mix_a=1,
    mix_b=1,
    base_m2_per_l=_coverage(160),
    top_m2_per_l=_coverage(160),
    flake_kg_per_m2=FULL_FLAKE,
    shelf_life_days=180,
    air_min_c=2,
    air_max_c=27,
    drive_on_min_c=2,
    overnight=True,
    sources={
        **_SHARED_SOURCES,
        "slab_min_c": COMMON + ", 35 to 40 °F for a winter base",
        "slab_max_c": COMMON + ": a winter grade runs away on a warm slab",
        "slab_amber_below_c": COMMON,
        "slab_amber_above_c": COMMON,
        "humidity_max_pct": COMMON,
        "set": FIELD,
        "tack_free": COMMON,
        "rain_safe": COMMON,
        "walk_on": COMMON + ", three times the 2 h of the field report: " + FIELD,
        "drive_on": COMMON + ", four times the 6 h of the field report: " + FIELD,
        "drive_on_min_c": COMMON,
        "recoat_until_h": COMMON,
        "stop_c": COMMON,
        "mix": COMMON + ", 1:1 by volume",
        "base_m2_per_l": "1604 / 10 mil wet = 160 sq ft by gallon; " + FIELD,
        "top_m2_per_l": "150-175 sq ft by gallon over full flake: smallcrete.rocks, an installer",
        "flake_kg_per_m2": FLAKE,
        "shelf_life_days": SHEET + " (6 months unopened)",
        "air_min_c": COMMON,
        "air_max_c": COMMON,
    },
)

MOISTURE_CURE = Card(
    name="Moisture-cure clear system",
    table=Table.CURVE,
    slab_min_c=7,
    slab_max_c=32,
    slab_amber_below_c=10,
    slab_amber_above_c=29,
    humidity_max_pct=80,
    set=_at(8),
    tack_free=_at(8),
    rain_safe=_at(24),
    walk_on=_at(24),
    drive_on=_at(72, energy=HARD_KJ_MOL),
    recoat_until_h=24,
    abrade_h_per_m2=ABRADE_H_PER_M2,
    stop_c=5,
    working_minutes=_at(0.5),
    mix_a=1,
    mix_b=0,
    base_m2_per_l=_coverage(300),
    top_m2_per_l=_coverage(300),
    flake_kg_per_m2=0,
    shelf_life_days=60,
    air_min_c=7,
    air_max_c=32,
    humidity_min_grains=42,
    drive_on_min_c=5,
    two_days=True,
    sources={
        **_SHARED_SOURCES,
        "slab_min_c": COMMON + ", 40 to 50 °F",
        "slab_max_c": COMMON + ", 90 °F",
        "slab_amber_below_c": COMMON,
        "slab_amber_above_c": COMMON,
        "humidity_max_pct": COMMON + ", 30 to 80 %",
        "humidity_min_grains": SHEET + " (42 grains of water by lb of air)",
        "set": COMMON + ", 4 to 12 h, slower in dry air",
        "tack_free": COMMON,
        "rain_safe": COMMON + ", the long end of 8 to 24 h",
        "walk_on": COMMON + ", the long end of 8 to 24 h",
        "drive_on": COMMON + ", the long end of 48 to 72 h",
        "drive_on_min_c": COMMON,
        "recoat_until_h": COMMON,
        "stop_c": COMMON,
        "working_minutes": COMMON + ", 30 to 60 minutes before the pail skins",
        "mix": "one part",
        "base_m2_per_l": COMMON + ", thin coats: 300 sq ft by gallon",
        "top_m2_per_l": COMMON + ", thin coats: 300 sq ft by gallon",
        "flake_kg_per_m2": "no flake in this system",
        "shelf_life_days": SHEET + " (used within 60 days of receipt)",
        "air_min_c": COMMON,
        "air_max_c": COMMON,
    },
)


def _dosed(hours: float) -> CureTime:
    """Times that hardly change because the crew doses the peroxide by temperature."""
    return CureTime(((-10, hours), (32, hours)))


METHACRYLATE = Card(
    name="Fast methacrylate flake",
    table=Table.CURVE,
    slab_min_c=-10,
    slab_max_c=32,
    slab_amber_below_c=0,
    slab_amber_above_c=29,
    humidity_max_pct=100,
    set=_dosed(1),
    tack_free=_dosed(1),
    rain_safe=_dosed(2),
    walk_on=_dosed(2),
    drive_on=_dosed(4),
    recoat_until_h=24,
    abrade_h_per_m2=ABRADE_H_PER_M2,
    stop_c=-10,
    working_minutes=_dosed(12 * USABLE / 60),
    mix_a=50,
    mix_b=1,
    base_m2_per_l=_coverage(100),
    top_m2_per_l=_coverage(130),
    flake_kg_per_m2=FULL_FLAKE,
    shelf_life_days=180,
    overnight=True,
    sources={
        **_SHARED_SOURCES,
        "energy": "none: peroxide is dosed by temperature, so time is held constant",
        "slab_min_c": "-15 °F: constructionspecifier.com; kept well above it",
        "slab_max_c": SHEET + " (slab 90 °F)",
        "slab_amber_below_c": COMMON,
        "slab_amber_above_c": COMMON,
        "humidity_max_pct": COMMON + ": condensation is the limit, not humidity",
        "set": COMMON + ", 45 to 60 minutes",
        "tack_free": COMMON,
        "rain_safe": COMMON + ", 1 to 2 h",
        "walk_on": COMMON + ", twice the usual hour",
        "drive_on": COMMON
        + ", 2 to 4 h; constructionspecifier.com, plantservices.com: full in 1-2 days",
        "recoat_until_h": COMMON,
        "stop_c": "the end of the dosing rows on this card",
        "mix": COMMON + ", about 2 % of peroxide",
        "base_m2_per_l": "1604 / 16 mil wet = 100 sq ft by gallon",
        "top_m2_per_l": "1604 / 12 mil wet = 134 sq ft by gallon",
        "flake_kg_per_m2": FLAKE,
        "shelf_life_days": COMMON,
    },
)

_SYSTEMS = (
    System("one-day-flake", ONE_DAY, Decimal("75.00")),
    System("two-day-flake", TWO_DAY, Decimal("65.00")),
    System("winter-flake", WINTER, Decimal("85.00")),
    System("moisture-cure-clear", MOISTURE_CURE, Decimal("45.00")),
    System("methacrylate-flake", METHACRYLATE, Decimal("110.00")),
)


def catalogue() -> tuple[System, ...]:
    """The systems a new branch begins with."""
    return _SYSTEMS
