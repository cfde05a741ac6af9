"""Travel between depot and sites: a plain estimate from the distance."""

from math import ceil

import numpy as np
import numpy.typing as npt

from weather.rules.distance import EARTH_KM, distance_km

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


def travel_min_to(points: npt.NDArray[np.float64], site: Point) -> npt.NDArray[np.int64]:
    """`travel_min` from every one of n x 2 points to one site at once."""
    north, east = np.radians(points).T
    north_to, east_to = np.radians(site)
    half = np.sin((north_to - north) / 2) ** 2
    half += np.cos(north) * np.cos(north_to) * np.sin((east_to - east) / 2) ** 2
    away_km = 2 * EARTH_KM * np.arcsin(np.sqrt(np.minimum(1.0, half)))
    minutes = np.ceil((START_MIN + away_km * DETOUR / SPEED_KMH * 60) / 5) * 5
    found: npt.NDArray[np.int64] = np.where(away_km < 0.05, 0, minutes).astype(np.int64)
    return found
