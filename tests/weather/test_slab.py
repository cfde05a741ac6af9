"""Slab temperature from weather: what each exposure feels, and what a reading does."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.weather.slab_weather import KANSAS_CITY, START, after, days
from weather.rules.conduction import Column, march
from weather.rules.exposures import Exposure
from weather.rules.slab import SlabReading, SlabSite, slab_hours, slab_hours_batch

NOW_H = 15 * 24
NOW = after(NOW_H)
TODAY = slice(NOW_H, NOW_H + 24)
WEATHERED = [exposure for exposure in Exposure if exposure is not Exposure.INTERIOR]


def slab(exposure, *, hours=None, now=NOW, **known):
    return slab_hours(
        hours=days() if hours is None else hours, exposure=exposure, now=now, **KANSAS_CITY, **known
    )


@pytest.mark.parametrize("exposure", list(Exposure))
def test_every_hour_gets_an_estimate_inside_its_band(exposure):
    hours = days()

    found = slab(exposure, hours=hours)

    assert found.start == hours.start
    assert len(found) == len(hours)
    assert (found.cold_c < found.mid_c).all()
    assert (found.mid_c < found.warm_c).all()


def test_a_porch_follows_the_air_late_and_less():
    found = slab(Exposure.PORCH)

    today = found.mid_c[TODAY]
    assert today.mean() == pytest.approx(12.0, abs=0.7)
    assert 2 < np.ptp(today) / 2 < 5  # of a swing of 6 °C in the air
    assert 1 <= int(today.argmax()) - 21 <= 2  # h 14: one to two hours late (Barber 1957)


def test_a_garage_hardly_feels_the_day_but_the_house():
    frost = slab(Exposure.GARAGE, hours=days(mean_c=-5.0))
    alone = slab(Exposure.GARAGE, hours=days(mean_c=-5.0), garage_offset_c=0.0)
    summer = slab(Exposure.GARAGE, hours=days(mean_c=26.0))

    assert np.ptp(frost.mid_c[TODAY]) < 2
    assert frost.mid_c[TODAY].mean() == pytest.approx(-5.0 + 7.0, abs=1.5)
    assert alone.mid_c[TODAY].mean() == pytest.approx(-5.0, abs=1.5)
    # In warm air the house has no warmth to give: the offset is one of frosty weeks. The
    # ground below an April floor is still cold.
    assert 24.0 < summer.mid_c[TODAY].mean() < 26.0


def test_the_apron_lies_between_the_garage_and_the_street():
    frost = days(mean_c=-5.0)

    inside, apron, street = (
        slab(exposure, hours=frost).mid_c[TODAY].mean()
        for exposure in (Exposure.GARAGE, Exposure.APRON, Exposure.PORCH)
    )

    assert street < apron < inside


def test_sun_warms_an_open_floor_and_a_clear_night_cools_it():
    clear, shaded = days(cloud_pct=0.0), days(cloud_pct=100.0)

    patio = slab(Exposure.OPEN, hours=clear).mid_c[TODAY]
    dull = slab(Exposure.OPEN, hours=shaded).mid_c[TODAY]
    porch = slab(Exposure.PORCH, hours=clear).mid_c[TODAY]

    noon, before_dawn = 19, 11  # UTC, in Kansas City
    assert patio[noon] > porch[noon] + 5
    assert patio[noon] > dull[noon] + 5
    assert np.ptp(patio) > np.ptp(dull) + 5
    assert patio[before_dawn] < 12.0


def test_an_open_door_lets_a_cold_garage_warm_up():
    spring = days(mean_c=-2.0)
    air = spring.air_c.copy()
    air[NOW_H:] = 18.0
    spring = replace(spring, air_c=air)
    morning = (NOW + timedelta(hours=1), NOW + timedelta(hours=7))

    shut = slab(Exposure.GARAGE, hours=spring)
    opened = slab(Exposure.GARAGE, hours=spring, door_open=[morning])

    assert (opened.mid_c[:NOW_H] == shut.mid_c[:NOW_H]).all()
    assert opened.mid_c[NOW_H + 6] > shut.mid_c[NOW_H + 6] + 2
    assert opened.mid_c[NOW_H + 6] < 18.0


def test_half_an_hour_of_open_door_counts_half():
    hours = days(mean_c=-2.0)
    half = slab(Exposure.GARAGE, hours=hours, door_open=[(NOW, NOW + timedelta(minutes=30))])
    whole = slab(Exposure.GARAGE, hours=hours, door_open=[(NOW, NOW + timedelta(minutes=60))])
    twice = slab(Exposure.GARAGE, hours=hours, door_open=[(NOW, NOW + timedelta(minutes=30))] * 2)

    shut = slab(Exposure.GARAGE, hours=hours)

    moved = [(shut.mid_c - found.mid_c)[NOW_H] for found in (half, whole, twice)]
    assert 0 < moved[0] < moved[1]
    assert moved[2] == pytest.approx(moved[1])


def test_an_interior_floor_is_the_rooms_and_needs_no_weather():
    hours = days()
    blank = replace(hours, air_c=np.full(len(hours), np.nan))

    found = slab(Exposure.INTERIOR, hours=blank, indoor_c=21.0)

    assert found.mid_c == pytest.approx(np.full(len(hours), 20.3), abs=0.5)
    assert not found.weak


def test_a_winter_slab_stays_below_the_dew_point_of_a_warm_front():
    # Concrete contractors report it every spring: frosty weeks, then a mild wet day, and a
    # closed garage's floor sweats. Three weeks at -4 °C, then 17 °C with a dew point of 13 °C.
    hours = days(24, mean_c=-4.0, swing_c=3.0)
    air = hours.air_c.copy()
    air[NOW_H:] = 17.0
    front = replace(hours, air_c=air)

    found = slab(Exposure.GARAGE, hours=front)

    assert (found.mid_c[NOW_H : NOW_H + 12] < 13.0).all()


def test_a_reading_moves_the_estimate_and_narrows_the_band():
    reading = SlabReading(at=NOW - timedelta(hours=1), slab_c=6.0)

    without, found = slab(Exposure.GARAGE), slab(Exposure.GARAGE, reading=reading)

    at = found.index(reading.at)
    width = found.warm_c - found.cold_c
    assert found.mid_c[at] == pytest.approx(6.0, abs=0.1)
    assert width[at] == pytest.approx(2.0, abs=0.1)
    assert (np.diff(width[at + 1 :]) > 0).all()
    # Nine days on it is all but forgotten.
    assert found.mid_c[-1] == pytest.approx(without.mid_c[-1], abs=0.5)
    assert "reading of 6.0 °C" in found.basis


def test_a_reading_fades_sooner_in_the_open():
    reading = SlabReading(at=NOW, slab_c=30.0)

    left = [
        (slab(exposure, reading=reading).mid_c - slab(exposure).mid_c)[NOW_H + 48]
        / (slab(exposure, reading=reading).mid_c - slab(exposure).mid_c)[NOW_H]
        for exposure in (Exposure.OPEN, Exposure.GARAGE)
    ]

    assert left[0] < left[1]


def test_a_fresh_reading_stands_in_for_a_past_that_is_not_known():
    short = days(6)
    fresh = SlabReading(at=START + timedelta(hours=5), slab_c=9.0)

    assert slab(Exposure.GARAGE, hours=short, now=after(6)).weak
    assert not slab(Exposure.GARAGE, hours=short, now=after(6), reading=fresh).weak
    assert slab(Exposure.GARAGE, hours=short, now=after(60), reading=fresh).weak


def test_a_reading_with_nothing_beside_it_changes_nothing():
    last_week = SlabReading(at=START - timedelta(days=7), slab_c=1.0)

    found = slab(Exposure.GARAGE, reading=last_week)

    assert (found.mid_c == slab(Exposure.GARAGE).mid_c).all()
    assert "reading" not in found.basis


def test_a_reading_a_few_hours_before_the_first_known_one_counts():
    short = days(6)
    before = SlabReading(at=START - timedelta(hours=3), slab_c=25.0)

    found = slab(Exposure.GARAGE, hours=short, now=after(0), reading=before)

    assert found.at_c(START) == pytest.approx(25.0, abs=1.0)


def test_the_band_widens_with_lead_and_with_the_age_of_the_forecast():
    fresh = slab(Exposure.PORCH)
    stale = slab(Exposure.PORCH, hours=replace(days(), issued_at=NOW - timedelta(hours=30)))

    width, stale_width = fresh.warm_c - fresh.cold_c, stale.warm_c - stale.cold_c

    assert width[NOW_H + 200] > width[NOW_H + 100] > width[NOW_H + 1]
    assert (stale_width[NOW_H:] > width[NOW_H:]).all()
    assert stale_width[NOW_H - 1] == pytest.approx(width[NOW_H - 1])


def test_unknown_cloud_widens_the_band_by_day():
    hours = days()
    hidden = replace(hours, cloud_pct=np.full(len(hours), np.nan))

    known, unknown = slab(Exposure.OPEN), slab(Exposure.OPEN, hours=hidden)

    noon = NOW_H + 19
    assert (unknown.warm_c - unknown.cold_c)[noon] > (known.warm_c - known.cold_c)[noon] + 2
    assert not np.isnan(unknown.mid_c).any()


def test_seasons_are_the_other_way_round_in_the_south():
    january = datetime(2026, 1, 10, tzinfo=UTC)
    hours = days(2, start=january)
    ask = {"hours": hours, "exposure": Exposure.PORCH, "now": january, "longitude": 0.0}

    north = slab_hours(latitude=40.0, **ask)
    south = slab_hours(latitude=-40.0, **ask)

    assert (south.mid_c > north.mid_c).all()


def test_many_at_once_are_the_same_as_one_by_one():
    sites = [
        SlabSite(hours=days(18 + n, mean_c=8.0 + n), exposure=exposure, **KANSAS_CITY)
        for n, exposure in enumerate(Exposure)
    ]
    sites.append(replace(sites[1], reading=SlabReading(at=NOW, slab_c=10.0), indoor_c=15.0))

    together = slab_hours_batch(sites=sites, now=NOW)

    for site, found in zip(sites, together, strict=True):
        alone = slab_hours(
            hours=site.hours,
            exposure=site.exposure,
            now=NOW,
            indoor_c=site.indoor_c,
            reading=site.reading,
            **KANSAS_CITY,
        )
        assert found.mid_c == pytest.approx(alone.mid_c)
        assert found.cold_c == pytest.approx(alone.cold_c)
        assert (found.weak, found.basis) == (alone.weak, alone.basis)


def test_no_sites_no_slabs():
    assert slab_hours_batch(sites=[], now=NOW) == []


air = st.lists(st.floats(-25, 40), min_size=48, max_size=48)
warmer_by = st.lists(st.floats(0, 15), min_size=48, max_size=48)


@settings(max_examples=40)
@given(air=air, more=warmer_by, exposure=st.sampled_from(WEATHERED))
def test_warmer_air_never_makes_a_colder_slab(air, more, exposure):
    hours = replace(days(2), air_c=np.array(air))
    warmer = replace(hours, air_c=np.array(air) + np.array(more))

    cold, warm = (slab(exposure, hours=each, now=after(24)) for each in (hours, warmer))

    assert (warm.mid_c >= cold.mid_c - 1e-9).all()


@settings(max_examples=40)
@given(
    air=st.lists(st.floats(-30, 45), min_size=6, max_size=6),
    films=st.lists(st.sampled_from([6.0, 7.5, 20.0, 34.0]), min_size=6, max_size=6),
)
def test_splitting_the_hours_changes_nothing(air, films):
    column = Column()
    start = np.linspace(20.0, 10.0, len(column.nodes_m))[None, :]

    def carried(parts):
        return march(
            layers_c=start,
            drive_c=np.repeat([air], parts, axis=1),
            film_w_m2k=np.repeat([films], parts, axis=1),
            bottom_c=np.full((1, 6 * parts), 10.0),
            column=column,
            step_s=3600.0 / parts,
        )

    whole, split = carried(1), carried(4)

    assert split.layers_c == pytest.approx(whole.layers_c, abs=1e-6)
    assert split.surface_c.reshape(6, 4).mean(axis=1) == pytest.approx(whole.surface_c[0], abs=1e-6)


@settings(max_examples=40)
@given(air=air, film=st.sampled_from([6.0, 10.0, 34.0]), start=st.floats(-20, 40))
def test_a_slab_is_never_beyond_what_surrounds_it(air, film, start):
    column = Column()
    drive = np.array([air])

    found = march(
        layers_c=np.full((1, len(column.nodes_m)), start),
        drive_c=drive,
        film_w_m2k=np.full_like(drive, film),
        bottom_c=np.full_like(drive, start),
        column=column,
    )

    assert found.surface_c.max() <= max(*air, start) + 1e-6
    assert found.surface_c.min() >= min(*air, start) - 1e-6


@settings(max_examples=15)
@given(air_c=st.floats(-10, 35), exposure=st.sampled_from([Exposure.PORCH, Exposure.CARPORT]))
def test_under_steady_air_the_slab_tends_to_it(air_c, exposure):
    hours = days(60, mean_c=air_c, swing_c=0.0)

    found = slab(exposure, hours=hours, now=after(60 * 24))

    # The ground two metres down keeps the last few percent of the difference, and
    # still swings by a degree or two about its mean with the season.
    ground_c = 10.0
    assert found.mid_c[-1] == pytest.approx(air_c, abs=0.3 + 0.1 * abs(air_c - ground_c))
    assert abs(found.mid_c[-1] - air_c) <= abs(found.mid_c[0] - air_c) + 1.0
