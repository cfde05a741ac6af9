"""What only the day itself can bring, asked two days before and again the evening before.

By floor and season; the lists are common practice among installers.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from dispatch.rules.customer_words import has_cars
from weather.rules.exposures import Exposure

EARLY, LATE = timedelta(hours=48), timedelta(hours=18)
# Lawns are watered and gutters drip in the warm half of the year, cars bring snow in the cold.
WATERED = range(4, 11)
SNOWY = (11, 12, 1, 2, 3)
ROOMS = {Exposure.INTERIOR, Exposure.GARAGE}


class Ready(StrEnum):
    """What can be asked."""

    EMPTIED = "emptied"
    CARS_OUT = "cars_out"
    WATER_OFF = "water_off"
    AIR_OFF = "air_off"
    WARM = "warm"
    SNOW_GONE = "snow_gone"
    WAY_IN = "way_in"


@dataclass(frozen=True)
class Item:
    """One thing to be ready: how the customer is asked, and how the office names it."""

    topic: Ready
    question: str
    name: str


def items(
    *, exposures: Collection[Exposure], month: int, only_way_in: bool, units: str
) -> tuple[Item, ...]:
    """What must be ready for such floors in `month` (1 to 12) of the northern year."""
    lies = set(exposures)
    height = "3 ft" if units == "us" else "1 m"
    walls = f", and off the walls up to {height}" if lies & ROOMS else ""
    found = [Item(Ready.EMPTIED, f"Everything is off the floor{walls}.", "emptied")]
    if has_cars(lies):
        found.append(
            Item(Ready.CARS_OUT, "Cars are out and parked where they can leave.", "cars out")
        )
    if month in WATERED and lies - {Exposure.INTERIOR}:
        found.append(
            Item(Ready.WATER_OFF, "Sprinklers are off since yesterday and stay off.", "water off")
        )
    if lies & ROOMS and month in WATERED:
        found.append(Item(Ready.AIR_OFF, "Fans and cooling into the room are off.", "fans off"))
    if lies & ROOMS and month in SNOWY:
        found.append(
            Item(Ready.WARM, "The door stays shut and the room as warm as it is.", "kept warm")
        )
    if month in SNOWY and lies - {Exposure.INTERIOR}:
        found.append(
            Item(Ready.SNOW_GONE, "No snow, ice or wet car is on the floor.", "no snow on it")
        )
    if only_way_in:
        found.append(
            Item(Ready.WAY_IN, "Nobody needs to cross the floor until walk-on.", "another way in")
        )
    return tuple(found)


# How the record of an answer is read again, whatever floor and month it was for.
NAMES = {
    item.topic.value: item.name
    for month in (1, 6)
    for item in items(exposures=set(Exposure), month=month, only_way_in=True, units="us")
}


def due(*, first_start: datetime, now: datetime) -> str:
    """Which round is due: "early", "late" or none. A late one replaces an early one not sent."""
    if now >= first_start or now < first_start - EARLY:
        return ""
    return "late" if now >= first_start - LATE else "early"
