"""What a slab feels by the hour: the temperature behind the film, and the film itself."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from weather.rules import sun
from weather.rules.exposures import Exposure
from weather.rules.heaters import Heater, heated
from weather.rules.hours import HOUR, Hours, Series

Spans = Sequence[tuple[datetime, datetime]]

# Still air inside, radiation included: 6.1 W/m²K over a slab colder than the air, 9.3 over
# a warmer one (ASHRAE Handbook - Fundamentals, from memory). One value between keeps the
# model linear, so that warmer air can never come out as a colder slab.
INDOOR_FILM = 7.5
DRAUGHT_FILM = 1.5  # added while the door stands open; common practice
DOORWAY_FILM = 10.0
ROOFED_FILM = (10.0, 20.0)
OPEN_FILM_TOP = 34.0
OPEN_FILM_UNKNOWN, ROOFED_FILM_UNKNOWN = 20.0, 14.0
FILM_STEP = 0.5  # films are rounded to this, so that few propagators serve all hours

GARAGE_MEMORY_H = 36  # walls and things hold a day or two of weather; common practice
OPEN_DOOR_SHARE = 0.8  # of the garage's air is outdoor air while the door is open; common practice
DOORWAY_SHARE = 0.5
ABSORBED_SHARE = 0.65  # of sunshine, bare grey concrete; from memory


@dataclass(frozen=True, eq=False)
class Felt:
    """Drive (°C) and film (W/m²K) by the hour, and how much of the drive is sun and sky."""

    drive_c: Series
    film_w_m2k: Series
    sun_c: Series
    sky_c: Series


@dataclass(frozen=True)
class House:
    """What the building adds: warmth of an attached garage in frost, the heated inside."""

    garage_offset_c: float
    indoor_c: float


def felt(
    *,
    hours: Hours,
    air_c: Series,
    exposure: Exposure,
    latitude: float,
    longitude: float,
    house: House,
    door_open: Spans,
    heaters: Sequence[Heater] = (),
) -> Felt:
    """What a slab of that exposure feels. `air_c` is `hours.air_c` with small gaps filled."""
    none = np.zeros(len(hours))
    if exposure is Exposure.INTERIOR:
        return _in_a_room(
            hours, np.full(len(hours), house.indoor_c), np.full(len(hours), INDOOR_FILM), heaters
        )
    if exposure.open:
        return _under_the_sky(hours=hours, air_c=air_c, latitude=latitude, longitude=longitude)
    if exposure in {Exposure.CARPORT, Exposure.PORCH}:
        return Felt(air_c, roofed_film_w_m2k(hours.wind_kmh), none, none)
    share = open_share(hours=hours, door_open=door_open)
    inside = garage_air_c(air_c=air_c, house=house)
    inside = inside + OPEN_DOOR_SHARE * share * (air_c - inside)
    if exposure is Exposure.APRON:
        drive = DOORWAY_SHARE * air_c + (1 - DOORWAY_SHARE) * inside
        return Felt(drive, np.full(len(hours), DOORWAY_FILM), none, none)
    film = _rounded(INDOOR_FILM + DRAUGHT_FILM * share)
    return _in_a_room(hours, inside, film, heaters, door_share=share)


def _in_a_room(
    hours: Hours,
    air_c: Series,
    film: Series,
    heaters: Sequence[Heater],
    door_share: Series | None = None,
) -> Felt:
    none = np.zeros(len(hours))
    drive_c, film = heated(
        hours=hours,
        drive_c=air_c,
        film_w_m2k=film,
        heaters=heaters,
        door_share=none if door_share is None else door_share,
    )
    return Felt(drive_c, film, none, none)


def garage_air_c(*, air_c: Series, house: House) -> Series:
    """Air (°C) in a closed garage: outdoor air of the last day and a half, and the house.

    The offset is that of a frosty spell (outdoors at 0 °C or below); it fades to nothing as
    outdoors comes up to the heated inside, for then the house has no warmth to give.
    """
    known = ~np.isnan(air_c)
    total = np.concatenate([[0.0], np.cumsum(np.where(known, air_c, 0.0))])
    hours = np.concatenate([[0.0], np.cumsum(known)])
    last = np.arange(1, len(air_c) + 1)
    # The first hours share the mean of the first day and a half: one hour says too little.
    soonest = int(np.argmax(known)) + GARAGE_MEMORY_H if len(known) else 0
    last = np.minimum(np.maximum(last, soonest), len(air_c))
    first = np.maximum(0, last - GARAGE_MEMORY_H)
    count = np.where(known, hours[last] - hours[first], np.nan)
    mean = (total[last] - total[first]) / count
    indoors = max(house.indoor_c, 1.0)
    inside: Series = mean + house.garage_offset_c * np.clip((indoors - mean) / indoors, 0, 1)
    return inside


def open_film_w_m2k(wind_kmh: Series) -> Series:
    """Film over an open floor by wind, radiation included.

    E. S. Barber, Highway Research Board Bulletin 168 (1957): 1.3 + 0.62 v^0.75 in
    Btu/h ft² °F with v in mph; no more than 34 W/m²K, the winter value of ASHRAE.
    """
    mph = np.maximum(wind_kmh, 0) / 1.609344
    film = (1.3 + 0.62 * mph**0.75) * 5.678263
    return _rounded(np.minimum(np.where(np.isnan(film), OPEN_FILM_UNKNOWN, film), OPEN_FILM_TOP))


def roofed_film_w_m2k(wind_kmh: Series) -> Series:
    """Film under a roof with open sides: half the wind, 10 to 20 W/m²K; common practice."""
    film = np.clip(open_film_w_m2k(wind_kmh / 2), *ROOFED_FILM)
    return np.where(np.isnan(wind_kmh), ROOFED_FILM_UNKNOWN, film)


def open_share(*, hours: Hours, door_open: Spans) -> Series:
    """Share (0..1) of each hour for which the door stands open."""
    begins = np.arange(len(hours), dtype=float)
    share = np.zeros(len(hours))
    for opened, closed in door_open:
        first, last = (opened - hours.start) / HOUR, (closed - hours.start) / HOUR
        share += np.clip(np.minimum(begins + 1, last) - np.maximum(begins, first), 0, 1)
    return np.minimum(share, 1)


def _under_the_sky(*, hours: Hours, air_c: Series, latitude: float, longitude: float) -> Felt:
    """Unknown cloud is taken as half; the band carries what that may hide."""
    film = open_film_w_m2k(hours.wind_kmh)
    middles_s = hours.start.timestamp() + 3600 * (np.arange(len(hours), dtype=np.float64) + 0.5)
    height = sun.elevation_deg(epoch_s=middles_s, latitude=latitude, longitude=longitude)
    cloud = np.where(np.isnan(hours.cloud_pct), 50.0, hours.cloud_pct)
    sun_c = ABSORBED_SHARE * sun.sunshine_w_m2(elevation=height, cloud_pct=cloud) / film
    sky_c = -sun.sky_loss_w_m2(cloud_pct=cloud) / film
    return Felt(air_c + sun_c + sky_c, film, sun_c, sky_c)


def _rounded(film: Series) -> Series:
    steps: Series = np.round(film / FILM_STEP) * FILM_STEP
    return steps
