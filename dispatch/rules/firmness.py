"""How firm a day may be promised, by exposure and lead."""

from collections.abc import Collection
from enum import StrEnum

from dispatch.rules.findings import Level
from weather.rules.exposures import Exposure

# An enclosed floor can be confirmed two weeks ahead; under a roof with open sides a week;
# under the sky only as far as a forecast of rain means something: common practice.
ENCLOSED_DAYS, ROOFED_DAYS, OPEN_DAYS = 14, 7, 3
PLANNED_DAYS = 21


class Firmness(StrEnum):
    """The strengths of a promise, as a booking keeps them."""

    RANGE = "range"
    PLANNED = "planned"
    CONFIRMED = "confirmed"


def firmest(
    *, exposures: Collection[Exposure], fixed: bool, lead_days: int, level: Level
) -> Firmness:
    """The firmest promise that may be made today for a day `lead_days` ahead.

    A day whose weather is unknown or bad is never confirmed by the program.
    """
    if all(exposure.enclosed for exposure in exposures) or fixed:
        reach = ENCLOSED_DAYS
    elif all(exposure.enclosed or exposure.roofed for exposure in exposures):
        reach = ROOFED_DAYS
    else:
        reach = OPEN_DAYS
    if lead_days <= reach and level in {Level.GO, Level.CARE}:
        return Firmness.CONFIRMED
    return Firmness.PLANNED if lead_days <= PLANNED_DAYS else Firmness.RANGE
