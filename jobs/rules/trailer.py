"""The trailer: what one stint must carry, from the stages that it does. Common practice."""

from collections.abc import Collection

from jobs.rules.plan import StageKind

ALWAYS = (
    "Slab thermometer, dew point meter, moisture meter",
    "Tape, film, barrier for the edge of the floor",
    "Gloves, respirators, first aid, fire extinguisher",
)
# In the order of the day, so that the list is packed from its end.
FOR_STAGE = {
    StageKind.GRIND: (
        "Hand grinder with shroud, dust collector with HEPA filter and bags",
        "Diamonds for the slab found, spare segments",
        "Crack and joint filler, chasing blade",
        "Cable and plugs for the power of the site",
    ),
    StageKind.VERTICALS: ("Edging pads, trowels and brushes for steps and stem walls",),
    StageKind.BASE: (
        "Mixing pails, drill and paddles, scales or marked pails",
        "Squeegees, rollers, brushes for cutting in, spiked shoes",
    ),
    StageKind.SCRAPE: ("Floor scrapers, broom, vacuum for loose flake",),
    StageKind.ABRADE: ("Floor sander with screens, tack cloths",),
    StageKind.TOP: (
        "Clean pails and paddles, squeegee, lint-free rollers, spiked shoes",
        "Sign for the door: walk on and drive on from",
    ),
}
FLAKE_TOOLS = "Flake in marked buckets, blower or hopper"
CLEANED_AIR = "Fan for the wait, door edge dam"


def gear(kinds: Collection[StageKind], *, flake: bool, open_air: bool = False) -> tuple[str, ...]:
    """Tools for a stint that does these stages, each once, in the order of the day."""
    found: list[str] = []
    for kind, things in FOR_STAGE.items():
        if kind in kinds:
            found.extend(things)
        if kind is StageKind.BASE and kind in kinds and flake:
            found.append(FLAKE_TOOLS)
    if StageKind.BASE in kinds or StageKind.TOP in kinds:
        found.append("Tarps, ballast and canopy" if open_air else CLEANED_AIR)
    return (*ALWAYS, *dict.fromkeys(found))


def carries_base(kinds: Collection[StageKind]) -> bool:
    """Whether base resin and flake go on this trip."""
    return StageKind.BASE in kinds


def carries_top(kinds: Collection[StageKind]) -> bool:
    """Whether top resin goes on this trip."""
    return StageKind.TOP in kinds
