"""How the demo writes down an order: what an office would type, with days counted from now."""

from dataclasses import dataclass, replace
from typing import Any

from weather.rules.exposures import Exposure


@dataclass(frozen=True)
class Surface:
    """One floor in feet, as an American office measures it. `apron`: a part by the door."""

    name: str
    exposure: Exposure
    area_ft2: float
    edge_ft: float | None = None
    crack_ft: float = 0.0
    stem_ft: float = 0.0
    steps: int = 0
    spalls: int = 0
    condition: str = "bare"
    apron: bool = False

    def but(self, **changed: Any) -> "Surface":
        """The same floor with some measures changed."""
        return replace(self, **changed)


@dataclass(frozen=True)
class Order:
    """An order. Days are counted from today; a wish falls on the next day that is worked."""

    who: str
    street: str
    postal_code: str
    system: str
    floors: tuple[Surface, ...]
    waited: int = 5  # days since it came in
    wish: str = "any"
    wish_in: int = 0
    not_in: tuple[int, ...] = ()
    car_in: tuple[int, int] | None = None  # days from today, and the hour
    soon: bool = False
    color: str = "Granite blend"
    notes: str = ""
    access: str = ""
    power: str = ""
    only_way_in: bool = False


@dataclass(frozen=True)
class Done:
    """A floor that was coated: by which crew, so many working days ago, arriving at an hour."""

    order: Order
    crew: int
    days_ago: int
    minutes_late: int = 0


ONE_DAY, TWO_DAY, WINTER = "one-day-flake", "two-day-flake", "winter-flake"
CLEAR, FAST = "moisture-cure-clear", "methacrylate-flake"


def garage(area_ft2: float, **more: Any) -> Surface:
    """A closed garage."""
    return Surface("Garage", Exposure.GARAGE, area_ft2).but(**more)


def with_apron(area_ft2: float, **more: Any) -> Surface:
    """A garage whose strip before the door is coated too, and feels the weather."""
    return Surface("Garage and apron", Exposure.GARAGE, area_ft2, apron=True).but(**more)


def basement(area_ft2: float, **more: Any) -> Surface:
    """A room below a house."""
    return Surface("Basement", Exposure.INTERIOR, area_ft2).but(**more)


def patio(area_ft2: float, **more: Any) -> Surface:
    """A slab under the sky."""
    return Surface("Patio", Exposure.OPEN, area_ft2).but(**more)


def porch(area_ft2: float, **more: Any) -> Surface:
    """A floor under a roof with open sides."""
    return Surface("Porch", Exposure.PORCH, area_ft2).but(**more)


def carport(area_ft2: float, **more: Any) -> Surface:
    """Where a car stands under a roof."""
    return Surface("Carport", Exposure.CARPORT, area_ft2).but(**more)


def pool_deck(area_ft2: float, **more: Any) -> Surface:
    """The walk around a pool."""
    return Surface("Pool deck", Exposure.POOL_DECK, area_ft2).but(**more)
