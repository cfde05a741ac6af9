"""Moisture in air against another library's ASHRAE formulation and published charts."""

from math import isnan, nan

import numpy as np
import psychrolib
import pytest

from weather.rules import moist_air
from weather.rules.moist_air import (
    dew_point_c,
    grains_per_lb,
    humidity_pct,
    saturation_vapour_pressure_pa,
    spread_c,
    wet_bulb_c,
)

psychrolib.SetUnitSystem(psychrolib.SI)

# Air °C, humidity %, dew point °C, wet bulb °C. Made with psychrolib 2.5, which follows the
# ASHRAE Handbook - Fundamentals (2017), chapter 1.
METRIC_ROWS = [
    (5, 90, 3.50, 4.30),
    (10, 60, 2.60, 6.48),
    (10, 85, 7.60, 8.73),
    (15, 50, 4.67, 9.67),
    (15, 75, 10.61, 12.46),
    (20, 40, 6.00, 12.36),
    (20, 50, 9.27, 13.78),
    (20, 70, 14.37, 16.44),
    (20, 85, 17.40, 18.28),
    (25, 60, 16.70, 19.47),
    (25, 80, 21.31, 22.38),
    (30, 50, 18.45, 22.01),
    (30, 70, 23.93, 25.50),
    (35, 40, 19.38, 23.93),
    (35, 60, 26.07, 28.17),
]

# Air °F, humidity %, dew point °F, dew point °C, from the same source.
IMPERIAL_ROWS = [
    (40, 90, 37.3, 2.95),
    (50, 70, 40.6, 4.79),
    (50, 85, 45.7, 7.60),
    (55, 80, 49.0, 9.42),
    (60, 50, 41.3, 5.18),
    (60, 75, 52.1, 11.15),
    (65, 65, 53.0, 11.65),
    (68, 70, 57.9, 14.37),
    (70, 50, 50.5, 10.29),
    (70, 65, 57.7, 14.28),
    (75, 60, 60.2, 15.66),
    (77, 50, 57.0, 13.86),
    (80, 70, 69.3, 20.74),
    (85, 55, 67.0, 19.46),
    (90, 60, 74.2, 23.47),
]

# Air °F, humidity %, dew point °F: a dew-point chart of the floor trade (handypdf.com,
# "dew point calculation sample chart"), and 75/35 of a floor contractor's article. They
# print whole degrees, some cut off and not rounded.
CHART_ROWS = [
    (70, 65, 57),
    (70, 50, 50),
    (80, 70, 68),
    (60, 80, 54),
    (90, 60, 73),
    (50, 90, 47),
    (40, 85, 36),
    (75, 35, 45),
]

# ISO 8502-4:1993, annex A, from memory: air °C, humidity %, dew point °C.
ISO_ROWS = [(20, 50, 9.3), (20, 70, 14.4), (20, 80, 16.4), (25, 60, 16.7), (30, 70, 23.9)]


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def fahrenheit(celsius: float) -> float:
    return celsius * 1.8 + 32


@pytest.mark.parametrize(("air_c", "humidity", "dew_c", "wet_c"), METRIC_ROWS)
def test_dew_point_and_wet_bulb_agree_with_ashrae(air_c, humidity, dew_c, wet_c):
    # 0.1 °C is small beside the 3 °C kept above the dew point. For the wet bulb, libraries
    # differ by up to 0.26 °C among themselves: the psychrometer equation is an instrument's.
    assert dew_point_c(air_c=air_c, humidity_pct=humidity) == pytest.approx(dew_c, abs=0.1)
    assert wet_bulb_c(air_c=air_c, humidity_pct=humidity) == pytest.approx(wet_c, abs=0.3)


@pytest.mark.parametrize(("air_f", "humidity", "dew_f", "dew_c"), IMPERIAL_ROWS)
def test_dew_point_agrees_in_fahrenheit(air_f, humidity, dew_f, dew_c):
    found_c = dew_point_c(air_c=celsius(air_f), humidity_pct=humidity)

    assert found_c == pytest.approx(dew_c, abs=0.1)
    assert fahrenheit(found_c) == pytest.approx(dew_f, abs=0.2)


@pytest.mark.parametrize(("air_f", "humidity", "dew_f"), CHART_ROWS)
def test_dew_point_is_near_the_charts_of_the_trade(air_f, humidity, dew_f):
    found_c = dew_point_c(air_c=celsius(air_f), humidity_pct=humidity)

    assert fahrenheit(found_c) == pytest.approx(dew_f, abs=1.5)


@pytest.mark.parametrize(("air_c", "humidity", "dew_c"), [*ISO_ROWS, (30, 55, 20)])
def test_dew_point_agrees_with_tables_in_celsius(air_c, humidity, dew_c):
    # 30/55 is a glossary's rounded example; the ISO rows are to 0.1 °C.
    found_c = dew_point_c(air_c=air_c, humidity_pct=humidity)

    assert found_c == pytest.approx(dew_c, abs=0.15)


def test_dew_point_stays_near_ashrae_over_the_whole_working_range():
    worst_c = 0.0
    for air_c in range(0, 46, 3):
        for humidity in range(10, 101, 5):
            theirs_c = psychrolib.GetTDewPointFromRelHum(air_c, humidity / 100)
            if theirs_c > 0:  # below, psychrolib answers with the frost point
                ours_c = dew_point_c(air_c=air_c, humidity_pct=humidity)
                worst_c = max(worst_c, abs(ours_c - theirs_c))

    assert worst_c < 0.05  # 0.039 °C: the two formulas themselves differ by that


def test_below_freezing_it_is_the_dew_point_and_not_the_frost_point():
    frost_point_c = psychrolib.GetTDewPointFromRelHum(0.0, 0.20)

    found_c = dew_point_c(air_c=0.0, humidity_pct=20.0)

    assert frost_point_c == pytest.approx(-18.23, abs=0.02)
    assert found_c == pytest.approx(-20.35, abs=0.1)


@pytest.mark.parametrize(
    ("air_c", "pressure_pa"), [(0, 611.2), (10, 1226.0), (20, 2332.6), (30, 4233.7)]
)
def test_saturation_pressure_is_the_formula_of_wmo_no_8(air_c, pressure_pa):
    assert saturation_vapour_pressure_pa(air_c) == pytest.approx(pressure_pa, rel=1e-4)
    # Hyland and Wexler, as ASHRAE prints them, lie within a third of a percent.
    assert saturation_vapour_pressure_pa(air_c) == pytest.approx(
        psychrolib.GetSatVapPres(air_c), rel=0.0035
    )


@pytest.mark.parametrize(("air_f", "humidity"), [(50, 79), (60, 55), (70, 39), (80, 28)])
def test_forty_two_grains_need_that_humidity(air_f, humidity):
    # 42 grains per pound is the driest air that makers of moisture-cured resins allow.
    dew_c = dew_point_c(air_c=celsius(air_f), humidity_pct=humidity)

    assert grains_per_lb(dew_c=dew_c) == pytest.approx(42, abs=1.0)


def test_grains_agree_with_ashrae():
    for air_c, humidity in [(15.0, 50.0), (25.0, 50.0), (30.0, 80.0)]:
        ratio = psychrolib.GetHumRatioFromRelHum(air_c, humidity / 100, 101325)

        found = grains_per_lb(dew_c=dew_point_c(air_c=air_c, humidity_pct=humidity))

        assert found == pytest.approx(7000 * ratio, rel=0.01)


@pytest.mark.parametrize(("spread_f", "humidity_at_slab"), [(5, 84), (10, 70), (15, 58), (20, 49)])
def test_a_spread_means_that_humidity_at_the_slab(spread_f, humidity_at_slab):
    # At 60 to 70 °F; a joint table of NACE 6A192 / SSPC-TR 3 has 82-86 % for 5 °F and
    # 54-62 % for 15 °F. A difference in °F takes the factor and not the 32.
    slab_c = celsius(65)

    found = humidity_pct(air_c=slab_c, dew_c=slab_c - spread_f / 1.8)

    assert found == pytest.approx(humidity_at_slab, abs=1.5)
    assert spread_c(slab_c=slab_c, dew_c=slab_c - spread_f / 1.8) == pytest.approx(spread_f / 1.8)


def test_dew_point_and_humidity_undo_each_other():
    for air_c in (-20.0, 0.0, 18.0, 41.0):
        dew_c = dew_point_c(air_c=air_c, humidity_pct=37.0)

        assert humidity_pct(air_c=air_c, dew_c=dew_c) == pytest.approx(37.0)


def test_unknown_goes_in_and_comes_out():
    assert isnan(dew_point_c(air_c=nan, humidity_pct=50.0))
    assert isnan(dew_point_c(air_c=20.0, humidity_pct=nan))
    assert isnan(wet_bulb_c(air_c=20.0, humidity_pct=nan))
    assert isnan(grains_per_lb(dew_c=nan))
    assert isnan(spread_c(slab_c=20.0, dew_c=nan))


def test_a_series_keeps_its_good_hours_beside_a_bad_one():
    air = np.array([20.0, 20.0, 20.0, nan, 99.0])
    humidity = np.array([50.0, 0.0, 101.0, 50.0, 50.0])

    dew = dew_point_c(air_c=air, humidity_pct=humidity)

    assert dew[0] == pytest.approx(9.26, abs=0.02)
    assert np.isnan(dew[1:]).all()


@pytest.mark.parametrize(
    "refused",
    [
        {"air_c": 70.0, "humidity_pct": 50.0},
        {"air_c": -60.0, "humidity_pct": 50.0},
        {"air_c": 20.0, "humidity_pct": 0.0},
        {"air_c": 20.0, "humidity_pct": 100.5},
    ],
)
def test_values_outside_physics_are_refused(refused):
    with pytest.raises(ValueError, match=r"outside|not above"):
        moist_air.dew_point_c(**refused)


def test_a_share_of_one_is_not_taken_for_a_percentage_of_one_hundred():
    # 0.65 is a legal humidity, and a very dry one: the mistake shows as a dew point far
    # below zero, never as a comfortable spread computed from 65 %.
    assert dew_point_c(air_c=21.0, humidity_pct=0.65) < -35


def test_a_dew_point_above_the_air_is_refused():
    with pytest.raises(ValueError, match="above the air"):
        humidity_pct(air_c=10.0, dew_c=12.0)
    assert humidity_pct(air_c=10.0, dew_c=10.05) == 100.0
