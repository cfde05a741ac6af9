"""The year of real hours as it is read, held against counts of the data set itself."""

import csv

import numpy as np
import pytest

from dispatch.backtest.real_hours import STATIONS, bridged, data_file, lone_gaps_dry, real_hours
from weather.rules.hours import HOUR


@pytest.fixture(scope="module", params=STATIONS, ids=lambda station: station.code)
def station(request):
    return request.param


@pytest.fixture(scope="module")
def rows(station):
    with data_file().open(newline="", encoding="utf-8") as file:
        return [row for row in csv.DictReader(file) if row["origin"] == station.code]


def test_every_hour_has_the_place_its_stamp_names(station, rows):
    hours = real_hours(station, seed=0)

    assert len(hours) == 8730  # 2013-01-01 06:00Z to 2013-12-30 23:00Z
    for row in rows[:: len(rows) // 50]:
        at = hours.start + HOUR * int(
            (np.datetime64(row["time_hour"][:-1]) - np.datetime64(f"{hours.start:%Y-%m-%dT%H}"))
            / np.timedelta64(1, "h")
        )
        assert hours.air_c[hours.index(at)] == pytest.approx((float(row["temp"]) - 32) / 1.8)
        assert hours.rain_mm[hours.index(at)] == pytest.approx(25.4 * float(row["precip"]))


def test_no_rain_is_lost_or_made(station, rows):
    hours = real_hours(station, seed=0)

    assert np.nansum(hours.rain_mm) == pytest.approx(25.4 * sum(float(r["precip"]) for r in rows))
    # The data set's wet hours: 596, 576 and 577 at the three airports.
    assert (hours.rain_mm > 0).sum() == sum(float(row["precip"]) > 0 for row in rows)


def test_an_hour_of_a_thousand_miles_an_hour_is_no_wind():
    assert real_hours(STATIONS[0], seed=0).gust_kmh.max() < 200


def test_long_gaps_of_rain_stay_unknown():
    hours = real_hours(STATIONS[0], seed=0)
    unknown = [hours.hour(int(i)) for i in np.flatnonzero(np.isnan(hours.rain_mm))]

    # Five hours each are missing on 26 October and 3 November.
    assert {(at.month, at.day) for at in unknown} >= {(10, 26), (11, 3)}
    assert not np.isnan(hours.air_c).any()


def test_gaps_are_bridged_up_to_six_hours_and_no_further():
    series = np.array([0.0, *[np.nan] * 6, 7.0, *[np.nan] * 7, 8.0])

    filled = bridged(series)

    assert filled[1:7] == pytest.approx([1, 2, 3, 4, 5, 6])
    assert np.isnan(filled[8:15]).all()


def test_only_a_lone_missing_hour_counts_as_dry():
    nan = np.nan

    filled = lone_gaps_dry(np.array([1.0, nan, 0.0, nan, nan, 2.0]))

    assert filled[1] == 0.0
    assert np.isnan(filled[3:5]).all()


def test_the_sky_is_made_up_by_seed_and_covered_where_it_rains():
    one, same, other = (real_hours(STATIONS[0], seed=seed) for seed in (1, 1, 2))

    assert np.array_equal(one.cloud_pct, same.cloud_pct)
    assert not np.array_equal(one.cloud_pct, other.cloud_pct)
    assert (one.cloud_pct[one.rain_mm > 0] == 100).all()
    assert 35 < one.cloud_pct.mean() < 75
