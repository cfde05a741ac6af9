"""Sun and sky over a level floor: height of the sun, clear-sky and cloudy sunshine.

Worked out for whole series at once: asking an almanac hour by hour costs more than all the
rest of a slab estimate. Angles in degrees, power in W/m² on the level.
"""

import numpy as np

from weather.rules.hours import Series

DAY_S = 86_400.0
J2000_S = 946_728_000.0  # 2000-01-01 12:00 UTC, counted from 1970


def elevation_deg(*, epoch_s: Series, latitude: float, longitude: float) -> Series:
    """True height of the sun above the horizon (°) at instants counted from 1970 UTC.

    Low-precision solar coordinates of the Astronomical Almanac, page C5: 0.01° of position
    from 1950 to 2050. Without refraction, which matters only at the horizon.
    """
    days = (epoch_s - J2000_S) / DAY_S
    mean_longitude = 280.460 + 0.9856474 * days
    anomaly = np.radians(357.528 + 0.9856003 * days)
    ecliptic = np.radians(mean_longitude + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly))
    tilt = np.radians(23.439 - 0.0000004 * days)
    declination = np.arcsin(np.sin(tilt) * np.sin(ecliptic))
    ascension = np.arctan2(np.cos(tilt) * np.sin(ecliptic), np.cos(ecliptic))
    sidereal_deg = 280.46062 + 360.98564737 * days
    hour_angle = np.radians(sidereal_deg + longitude) - ascension
    here = np.radians(latitude)
    sine = np.sin(here) * np.sin(declination)
    sine += np.cos(here) * np.cos(declination) * np.cos(hour_angle)
    height: Series = np.degrees(np.arcsin(np.clip(sine, -1, 1)))
    return height


def clear_sunshine_w_m2(*, elevation: Series) -> Series:
    """Sunshine (W/m²) from a cloudless sky; zero while the sun is down.

    B. Haurwitz, Insolation in relation to cloudiness and cloud density, Journal of
    Meteorology 2 (1945).
    """
    sine = np.sin(np.radians(elevation))
    above = np.maximum(sine, 1e-3)
    return np.where(sine > 0, 1098.0 * above * np.exp(-0.059 / above), 0.0)


def sunshine_w_m2(*, elevation: Series, cloud_pct: Series) -> Series:
    """Sunshine (W/m²) through that much cloud; unknown cloud by day gives unknown sunshine.

    F. Kasten and G. Czeplak, Solar and terrestrial radiation dependent on the amount and
    type of cloud, Solar Energy 24 (1980): 1 - 0.75 N^3.4.
    """
    clear = clear_sunshine_w_m2(elevation=elevation)
    through = 1 - 0.75 * np.clip(cloud_pct / 100, 0, 1) ** 3.4
    return np.where(clear > 0, clear * through, 0.0)


def sky_loss_w_m2(*, cloud_pct: Series) -> Series:
    """Heat (W/m²) that a level floor loses to the sky beyond what the film carries.

    ASHRAE Handbook - Fundamentals, sol-air temperature: 63 W/m² under a clear sky, times an
    emissivity of 0.9 (from memory); none when overcast, in between by the clear share.
    """
    loss: Series = 63.0 * 0.9 * (1 - np.clip(cloud_pct / 100, 0, 1))
    return loss
