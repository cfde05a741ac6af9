"""Where an address is, without a network: US postal codes, or coordinates typed by hand."""

import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

import zipcodes

THREE_DECIMALS = Decimal("0.001")


class NoSuchPlace(Exception):
    """The place cannot be found or cannot be; the message tells a person what to type."""


@dataclass(frozen=True)
class FoundPlace:
    """A named point on the map with its time zone."""

    name: str
    latitude: Decimal
    longitude: Decimal
    zone: str


def find_postal_code(code: str) -> FoundPlace:
    """The middle of a US postal code (5 digits, a "+4" is ignored)."""
    wanted = code.strip()
    if not re.fullmatch(r"[0-9]{5}(-?[0-9]{4})?", wanted):
        raise NoSuchPlace(f"{code!r} is not a US postal code: it needs five digits.")
    rows = zipcodes.matching(wanted[:5])  # type: ignore[no-untyped-call]
    if not rows:
        raise NoSuchPlace(
            f"No US postal code {wanted[:5]} is known. "
            "Check it, or type latitude, longitude and time zone by hand."
        )
    row = rows[0]
    latitude, longitude = coordinates(row["lat"], row["long"])
    if not (latitude or longitude):  # military codes carry 0, 0: a spot in the Atlantic
        raise NoSuchPlace(
            f"Postal code {wanted[:5]} has no place on the map. "
            "Type latitude, longitude and time zone by hand."
        )
    return FoundPlace(
        name=f"{row['city']}, {row['state']}",
        latitude=latitude,
        longitude=longitude,
        zone=time_zone(row["timezone"]),
    )


def coordinates(latitude: object, longitude: object) -> tuple[Decimal, Decimal]:
    """Latitude and longitude rounded to three decimals, refused when they are not on Earth."""
    return (
        _degrees(latitude, word="latitude", most=90),
        _degrees(longitude, word="longitude", most=180),
    )


def _degrees(value: object, *, word: str, most: int) -> Decimal:
    try:
        degrees = Decimal(str(value).strip())
    except InvalidOperation:
        raise NoSuchPlace(f"{value!r} is not a {word}; type degrees such as 33.521.") from None
    if not degrees.is_finite() or abs(degrees) > most:
        raise NoSuchPlace(f"A {word} lies between -{most} and {most} degrees, not {value}.")
    return degrees.quantize(THREE_DECIMALS) + Decimal(0)  # + 0 turns -0.000 into 0.000


@cache
def _zone_names() -> frozenset[str]:
    """All names of the zone database; reading its folders takes 30 ms, so once."""
    return frozenset(available_timezones())


def time_zone(name: str) -> str:
    """`name` if it is a time zone of the IANA database, as "America/Chicago"."""
    wanted = (name or "").strip()
    try:
        if wanted in _zone_names():
            ZoneInfo(wanted)
            return wanted
    except (ZoneInfoNotFoundError, ValueError):
        pass
    raise NoSuchPlace(f"{name!r} is not a time zone; type one such as America/Chicago.")
