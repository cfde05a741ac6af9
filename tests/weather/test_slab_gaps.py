"""Unknown air and the slab: small gaps are bridged, long ones are said."""

from datetime import timedelta

import numpy as np
import pytest

from tests.weather.slab_weather import KANSAS_CITY, START, after, days, without
from weather.rules.exposures import Exposure
from weather.rules.slab import slab_hours

NOW_H = 15 * 24


def garage(hours, *, now=None):
    return slab_hours(
        hours=hours, exposure=Exposure.GARAGE, now=after(NOW_H) if now is None else now,
        **KANSAS_CITY,
    )  # fmt: skip


def width(found):
    return found.warm_c - found.cold_c


def test_six_unknown_hours_ahead_are_bridged():
    found = garage(without(days(), first=NOW_H + 10, last=NOW_H + 16))

    assert not np.isnan(found.mid_c).any()
    assert found.mid_c == pytest.approx(garage(days()).mid_c, abs=0.3)


def test_after_seven_unknown_hours_ahead_nothing_is_known():
    found = garage(without(days(), first=NOW_H + 10, last=NOW_H + 17))

    for series in (found.mid_c, found.cold_c, found.warm_c):
        assert not np.isnan(series[: NOW_H + 10]).any()
        assert np.isnan(series[NOW_H + 10 :]).all()


def test_where_the_forecast_ends_the_slab_is_unknown():
    found = garage(without(days(), first=NOW_H + 100, last=None))

    assert not np.isnan(found.mid_c[: NOW_H + 100]).any()
    assert np.isnan(found.mid_c[NOW_H + 100 :]).all()


def test_a_long_gap_in_the_past_is_missing_spin_up():
    whole, gappy = garage(days()), garage(without(days(), first=200, last=320))

    assert not whole.weak
    assert gappy.weak
    assert "216 of the last 336 hours" in gappy.basis
    assert not np.isnan(gappy.mid_c).any()
    assert (width(gappy)[320:] > width(whole)[320:]).all()
    assert (width(gappy)[:200] == width(whole)[:200]).all()


def test_a_gap_from_the_past_into_the_next_hours_is_carried_through():
    found = garage(without(days(), first=NOW_H - 20, last=NOW_H + 4))

    assert not np.isnan(found.mid_c).any()
    assert found.weak


def test_a_gap_from_the_past_far_ahead_ends_the_estimate_now():
    found = garage(without(days(), first=NOW_H - 20, last=NOW_H + 8))

    assert not np.isnan(found.mid_c[:NOW_H]).any()
    assert np.isnan(found.mid_c[NOW_H:]).all()


def test_hours_before_the_first_known_air_are_unknown():
    found = garage(without(days(), first=0, last=100))

    assert np.isnan(found.mid_c[:100]).all()
    assert not np.isnan(found.mid_c[100:]).any()
    assert found.weak


def test_nothing_known_gives_nothing():
    found = garage(without(days(), first=0, last=None))

    assert np.isnan(found.mid_c).all()
    assert found.weak


def test_no_hours_at_all_are_no_trouble():
    assert len(garage(days(0), now=START)) == 0


def test_one_hour_short_of_fourteen_days_is_weak():
    assert garage(days(), now=START + timedelta(days=14, hours=-1)).weak
    assert not garage(days(), now=START + timedelta(days=14)).weak


def test_a_short_past_widens_the_band():
    start = START
    widths = [width(garage(days(), now=start))[hour] for hour in (0, 24, 96, 336)]

    fresh = garage(days(10), now=START)
    known = garage(days(25), now=START + timedelta(days=15))
    assert widths[0] > widths[1]
    assert width(fresh)[0] > width(known)[NOW_H] + 4


def test_a_wrong_start_is_inside_its_band():
    # The same spring after a cold month that the short record does not hold.
    long = days(40, mean_c=12.0)
    long.air_c[: 24 * 25] -= 7.0
    known_h = 24 * 25
    truth = garage(long, now=after(known_h))
    cut = without(long, first=0, last=known_h)

    guess = garage(cut, now=after(known_h))

    inside = (guess.cold_c <= truth.mid_c) & (truth.mid_c <= guess.warm_c)
    assert inside[known_h:].all()
