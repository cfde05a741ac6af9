"""Travel between depot and sites: a plain estimate from the distance."""

from math import ceil

from weather.rules.distance import distance_km

# Roads are longer than the straight line by about a third, and a van with a trailer makes
# 45 km/h over all: common practice.
DETOUR = 1.35
SPEED_KMH = 45.0
START_MIN = 5.0

Point = tuple[float, float]


def travel_min(one: Point, other: Point) -> int:
    """Minutes on the road with a trailer, rounded up to five; 0 from a place to itself."""
    away_km = distance_km(one, other)
    if away_km < 0.05:
        return 0
    return int(ceil((START_MIN + away_km * DETOUR / SPEED_KMH * 60) / 5) * 5)
