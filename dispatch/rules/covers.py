"""Covers: what keeps rain off a wet floor, and the gusts that each of them stands."""

from enum import StrEnum
from typing import Protocol

from dispatch.rules.thresholds import Thresholds
from weather.rules.exposures import Exposure


class Cover(StrEnum):
    """A thing that is put up before the pour and stands until the floor is rain-safe."""

    CANOPY = "canopy"
    CURTAIN = "curtain"
    TARP = "tarp"

    @property
    def said(self) -> str:
        """How a sentence names it."""
        return TITLES[self]

    def fits(self, exposure: Exposure) -> bool:
        """A canopy over an open floor, a curtain beside a roofed one, a tarp at a doorway."""
        if self is Cover.CANOPY:
            return exposure.open
        if self is Cover.CURTAIN:
            return exposure in {Exposure.CARPORT, Exposure.PORCH}
        return exposure is Exposure.APRON

    def gust_limit_kmh(self, limits: Thresholds) -> float:
        """The gust from which on it comes down or lets rain in."""
        return limits.canopy_gust_kmh if self is Cover.CANOPY else limits.curtain_gust_kmh


TITLES = {
    Cover.CANOPY: "a canopy",
    Cover.CURTAIN: "a side curtain",
    Cover.TARP: "a tarp over the doorway",
}


class Lies(Protocol):
    """Whatever has an exposure and perhaps a cover."""

    @property
    def exposure(self) -> Exposure: ...

    @property
    def cover(self) -> Cover | None: ...


def roofed(surface: Lies) -> bool:
    """Rain comes only with wind: by its own roof, or under a canopy."""
    return surface.exposure.roofed or surface.cover is Cover.CANOPY


def sheltered(surface: Lies) -> bool:
    """No rain reaches it while its cover stands."""
    return surface.exposure.enclosed or surface.cover in {Cover.CURTAIN, Cover.TARP}
