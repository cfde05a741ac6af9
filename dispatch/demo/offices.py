"""The invented contractor: two offices in two time zones, their crews, machines and people."""

from dataclasses import dataclass

from dispatch.models import MachineKind

COMPANY = "Quillback Floors"
# Only for a demo, and printed by it: whoever starts one shall get in.
PASSPHRASE = "dry slab before noon"  # noqa: S105
OWNER = ("owner", "Marguerite", "Oyelaran")


@dataclass(frozen=True)
class CrewPlan:
    """A crew: its lead first."""

    name: str
    people: tuple[str, ...]


@dataclass(frozen=True)
class Office:
    """One branch with everything that can be in one place only."""

    slug: str
    name: str
    zone: str
    subdivision: str
    depot: str
    depot_postal_code: str
    area_code: str
    weekdays: tuple[int, ...]
    signs_in: tuple[str, str, str]
    crews: tuple[CrewPlan, ...]
    machines: tuple[tuple[MachineKind, str], ...]
    systems: tuple[str, ...]


SPRINGFIELD = Office(
    slug="springfield",
    name="Springfield",
    zone="America/Chicago",
    subdivision="IL",
    depot="40 Hopper Yard, Springfield, IL 62703",
    depot_postal_code="62703",
    area_code="217",
    weekdays=(0, 1, 2, 3, 4, 5),
    signs_in=("springfield", "Tobias", "Renquist"),
    crews=(
        CrewPlan("Heron crew", ("Odalys Pruitt", "Ben Achterberg", "Jun Takeda")),
        CrewPlan("Fox crew", ("Wendell Amadi", "Rosa Lindqvist")),
        CrewPlan("Otter crew", ("Silas Nakagawa", "Petra Vance")),
    ),
    machines=(
        (MachineKind.GRINDER, "Grinder 1"),
        (MachineKind.GRINDER, "Grinder 2"),
        (MachineKind.GENERATOR, "Generator"),
        (MachineKind.CANOPY, "Canopy 20 by 20"),
    ),
    systems=(
        "one-day-flake",
        "two-day-flake",
        "winter-flake",
        "moisture-cure-clear",
        "methacrylate-flake",
    ),
)

COLUMBUS = Office(
    slug="columbus",
    name="Columbus",
    zone="America/New_York",
    subdivision="OH",
    depot="7 Trowel Street, Columbus, OH 43215",
    depot_postal_code="43215",
    area_code="614",
    weekdays=(0, 1, 2, 3, 4),
    signs_in=("columbus", "Ines", "Hathersage"),
    crews=(
        CrewPlan("Lynx crew", ("Caspian Doyle", "Amara Feld", "Luis Ferreira")),
        CrewPlan("Wren crew", ("Greta Solberg", "Moses Tilbury")),
    ),
    machines=(
        (MachineKind.GRINDER, "Grinder 3"),
        (MachineKind.HEATER, "Vented heater"),
    ),
    systems=("one-day-flake", "two-day-flake", "winter-flake", "methacrylate-flake"),
)

OFFICES = (SPRINGFIELD, COLUMBUS)
