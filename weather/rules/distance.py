"""Distance over ground between two points of the map."""

from decimal import Decimal
from math import asin, cos, radians, sin, sqrt

EARTH_KM = 6371.0  # mean radius, IUGG

Degrees = Decimal | float
Point = tuple[Degrees, Degrees]


def distance_km(first: Point, second: Point) -> float:
    """Kilometres between two (latitude, longitude) points in degrees, by the haversine."""
    north_1, east_1 = (radians(float(degrees)) for degrees in first)
    north_2, east_2 = (radians(float(degrees)) for degrees in second)
    half = sin((north_2 - north_1) / 2) ** 2
    half += cos(north_1) * cos(north_2) * sin((east_2 - east_1) / 2) ** 2
    return 2 * EARTH_KM * asin(sqrt(min(1.0, half)))
