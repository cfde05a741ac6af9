"""Height of the sun and clear-sky sunshine against pvlib and astral."""

from datetime import UTC, datetime, timedelta

import astral
import astral.sun
import numpy as np
import pandas as pd
import pvlib
import pytest

from weather.rules import sun

PLACES = {
    "Phoenix": (33.45, -112.07),
    "Minneapolis": (44.98, -93.27),
    "Fairbanks": (64.84, -147.72),
    "Christchurch": (-43.53, 172.64),
}


@pytest.mark.parametrize("place", PLACES)
def test_height_of_the_sun_agrees_with_the_almanac(place):
    latitude, longitude = PLACES[place]
    times = pd.date_range("2026-01-01", "2027-12-31", freq="53h", tz="UTC")
    epoch_s = np.array([t.timestamp() for t in times])

    ours = sun.elevation_deg(epoch_s=epoch_s, latitude=latitude, longitude=longitude)
    theirs = pvlib.solarposition.get_solarposition(times, latitude, longitude)["elevation"]

    # A tenth of a degree moves sunshine by less than 2 W/m².
    assert np.abs(ours - theirs.to_numpy()).max() < 0.1


def test_height_of_the_sun_agrees_with_astral():
    latitude, longitude = PLACES["Minneapolis"]
    observer = astral.Observer(latitude, longitude)
    times = [datetime(2026, 3, 1, tzinfo=UTC) + timedelta(hours=29 * n) for n in range(60)]

    ours = sun.elevation_deg(
        epoch_s=np.array([t.timestamp() for t in times]), latitude=latitude, longitude=longitude
    )
    theirs = [astral.sun.elevation(observer, t, with_refraction=False) for t in times]

    assert np.abs(ours - np.array(theirs)).max() < 0.1


def test_clear_sunshine_is_haurwitz():
    height = np.arange(-10.0, 90.0, 2.5)

    ours = sun.clear_sunshine_w_m2(elevation=height)
    theirs = pvlib.clearsky.haurwitz(pd.Series(90 - height))["ghi"].to_numpy()

    assert np.abs(ours - theirs).max() < 0.5


def test_cloud_takes_three_quarters_when_it_covers_all():
    # Kasten and Czeplak 1980.
    height = np.array([50.0, 50.0, 50.0])

    sunshine = sun.sunshine_w_m2(elevation=height, cloud_pct=np.array([0.0, 50.0, 100.0]))

    clear = sun.clear_sunshine_w_m2(elevation=height)[0]
    assert sunshine == pytest.approx([clear, clear * (1 - 0.75 * 0.5**3.4), clear * 0.25])


def test_unknown_cloud_is_unknown_by_day_and_none_at_night():
    sunshine = sun.sunshine_w_m2(elevation=np.array([30.0, -5.0]), cloud_pct=np.full(2, np.nan))

    assert np.isnan(sunshine[0])
    assert sunshine[1] == 0
