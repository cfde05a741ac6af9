"""Travel between depot and sites: a plain estimate from the distance."""

from math import asin, ceil, cos, radians, sin, sqrt

EARTH_KM = 6371.0
# Roads are longer than the straight line by about a third, and a van with a trailer makes
# 45 km/h over all: common practice.
DETOUR = 1.35
SPEED_KMH = 45.0
START_MIN = 5.0

Point = tuple[float, float]


def distance_km(one: Point, other: Point) -> float:
    """Great-circle distance between two (latitude, longitude) in degrees, haversine form."""
    lat1, lon1, lat2, lon2 = (radians(float(value)) for value in (*one, *other))
    half = sin((lat2 - lat1) / 2) ** 2 + cos(lat1) * cos(lat2) * sin((lon2 - lon1) / 2) ** 2
    return 2 * EARTH_KM * asin(sqrt(half))


def travel_min(one: Point, other: Point) -> int:
    """Minutes on the road with a trailer, rounded up to five; 0 from a place to itself."""
    away_km = distance_km(one, other)
    if away_km < 0.05:
        return 0
    return int(ceil((START_MIN + away_km * DETOUR / SPEED_KMH * 60) / 5) * 5)
