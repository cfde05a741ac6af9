"""Other water: what wets a floor besides the rain that falls on it. Plain values."""

from collections.abc import Iterable
from enum import StrEnum


class Water(StrEnum):
    """How water gets to a floor at this site, as somebody saw it there."""

    SLOPE = "slope"  # the drive falls towards the garage door
    ROOF_EDGE = "roof_edge"  # a roof edge or a gutter drips on it
    THAW = "thaw"  # snow on roof or banks runs on it as it melts
    VEHICLES = "vehicles"  # cars come in wet
    IRRIGATION = "irrigation"  # sprinklers reach it
    WASHING = "washing"  # it is hosed or washed down


def waters(names: Iterable[str]) -> tuple[Water, ...]:
    """The known ones among `names`, each once, in the order above."""
    given = set(names)
    return tuple(water for water in Water if water.value in given)
