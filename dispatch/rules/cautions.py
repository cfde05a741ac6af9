"""Cautions for the crew's sheet: named, then left to the data sheets, the code and the trades."""

from dataclasses import dataclass

from weather.rules.exposures import Exposure

DEFERS = (
    "The product's data sheet and safety data sheet rule over this page; so do local code and "
    "your employer's plan. Gas, wiring, lead and asbestos belong to licensed trades. Nothing "
    "here says that a slab is dry, safe or cured: the meter and your hand on site do."
)


@dataclass(frozen=True)
class Caution:
    """One hazard of the day."""

    name: str
    words: str


# 29 CFR 1926.1153 (c)(1) table 1: floor grinders with a dust collector or water feed, and a
# HEPA vacuum for loose dust between passes indoors; (f): no dry sweeping.
SILICA = Caution(
    "Silica dust",
    "Grind with the shroud and the HEPA vacuum on, vacuum loose dust between passes, never "
    "sweep dry or blow.",
)
# NIOSH, Preventing Asthma and Death from Diisocyanate Exposure (96-111), from memory.
ISOCYANATES = Caution(
    "Isocyanates",
    "Gloves, eyes and breathing protection as the safety data sheet says. Whoever has been "
    "sensitized stays away; so do residents, pets and people with asthma.",
)
# Makers' instructions: common practice.
SOLVENTS = Caution(
    "Solvents and flames",
    "Pilot lights, water heater, dryer and car charger in or beside the room off before the "
    "first pail is opened; air out. A qualified person lights them again.",
)
# US Consumer Product Safety Commission: generators outdoors, 20 feet from the house.
CARBON_MONOXIDE = Caution(
    "Carbon monoxide",
    "Generator outdoors, 20 ft or more from doors and windows, never in the garage. Heaters "
    "vented or electric only.",
)
# OSHA and NIOSH: water, rest, shade; new people build up over days.
HEAT = Caution(
    "Heat",
    "Water, rest and shade; new people start slowly. Mixed resin heats up in the pail: spread "
    "it out or set it outside.",
)
SLIPS = Caution(
    "Slips",
    "Wet film and loose flake are slick. Steps, ramps and pool decks need grit in the top coat.",
)


def cautions(exposures: tuple[Exposure, ...]) -> tuple[Caution, ...]:
    """The hazards of a day of coating; steps and pools last."""
    base = (SILICA, ISOCYANATES, SOLVENTS, CARBON_MONOXIDE, HEAT)
    return (*base, SLIPS) if any(not exposure.enclosed for exposure in exposures) else base
