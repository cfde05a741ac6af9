"""Exposure: how a floor stands to rain, wind, sun and the air of a house."""

from enum import StrEnum


class Exposure(StrEnum):
    """Where a floor lies; sets which air it feels and whether rain can reach it."""

    INTERIOR = "interior"
    GARAGE = "garage"
    APRON = "apron"
    CARPORT = "carport"
    PORCH = "porch"
    OPEN = "open"
    POOL_DECK = "pool_deck"

    @property
    def enclosed(self) -> bool:
        """No rain falls on it and no wind blows over it."""
        return self in {Exposure.INTERIOR, Exposure.GARAGE}

    @property
    def behind_a_door(self) -> bool:
        """Its air depends on whether a garage's door stands open."""
        return self in {Exposure.GARAGE, Exposure.APRON}

    @property
    def roofed(self) -> bool:
        """A roof, but open sides: rain comes only with wind."""
        return self in {Exposure.CARPORT, Exposure.PORCH, Exposure.APRON}

    @property
    def open(self) -> bool:
        """Nothing between the floor and the sky."""
        return self in {Exposure.OPEN, Exposure.POOL_DECK}
