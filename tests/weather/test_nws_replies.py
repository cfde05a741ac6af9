"""Replies of the US National Weather Service, in its documented shape, read into hours."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tests.weather.replies import ISSUED, START, grid, hourly, layer, point
from weather.answers import BadAnswer
from weather.providers.nws import degrees, parse_point
from weather.providers.nws_grid import parse_grid
from weather.providers.nws_hourly import parse_hourly
from weather.rules.moist_air import dew_point_c


def read(document):
    return parse_grid(document, fetched_at=ISSUED)


def test_a_grid_becomes_hours_with_its_issue_time():
    hours = read(grid())

    assert (hours.start, len(hours), hours.source) == (START, 48, "nws")
    assert hours.issued_at == ISSUED
    assert hours.air_c[[0, 11, 12, 47]].tolist() == [10, 10, 18, 18]
    assert hours.wind_kmh[0] == 7.408


def test_hours_before_the_issue_keep_their_own_time():
    # The service's grids begin hours in the past; the value of "now" is not the first one.
    hours = read(grid())

    assert hours.air_c[hours.index(ISSUED)] == hours.air_c[6]
    assert hours.hour(0) < ISSUED


def test_amounts_are_shared_and_states_are_copied():
    hours = read(grid())

    assert hours.rain_mm[12:18].tolist() == [0.5] * 6
    assert hours.rain_mm.sum() == pytest.approx(3.0)
    assert hours.cloud_pct.tolist() == [30.0] * 48


def test_the_weather_layer_places_an_amount_inside_its_six_hours():
    showers = [{"weather": "rain_showers", "coverage": "likely"}]
    fog = [{"weather": "fog", "coverage": "patchy"}]
    named = layer("", (0, "PT14H", fog), (14, "PT2H", showers), (16, "P1D", [{"weather": None}]))

    hours = read(grid(weather={"values": named["values"]}))

    assert hours.rain_mm[12:18].tolist() == [0, 0, 1.5, 1.5, 0, 0]


def test_a_chance_keeps_the_period_it_was_written_for():
    hours = read(
        grid(
            probabilityOfPrecipitation=layer(
                "percent", (0, "PT1H", 5), (1, "PT6H", 30), (7, "P1DT6H", 40)
            )
        )
    )

    assert hours.chance_window_h[[0, 1, 7, 30]].tolist() == [1, 6, 12, 12]
    assert not hours.chance_derived[:30].any()


def test_each_layer_ends_where_the_service_ends_it():
    hours = read(grid(quantitativePrecipitation=layer("mm", (0, "PT6H", 0), (6, "PT6H", 1.2))))

    assert hours.rain_mm[:12].sum() == pytest.approx(1.2)
    assert np.isnan(hours.rain_mm[12:]).all()
    assert len(hours) == 48


@pytest.mark.parametrize("empty", [None, {"values": []}, {"uom": "wmoUnit:percent", "values": []}])
def test_an_empty_layer_is_unknown_and_not_zero(empty):
    hours = read(grid(probabilityOfPrecipitation=empty, quantitativePrecipitation=None))

    assert np.isnan(hours.rain_chance_pct).all()
    assert np.isnan(hours.rain_mm).all()


def test_null_is_unknown_and_not_zero():
    hours = read(grid(temperature=layer("degC", (0, "PT2H", 7), (2, "PT1H", None), (3, "PT9H", 8))))

    assert np.isnan(hours.air_c).tolist() == [False, False, True] + [False] * 9


def test_a_missing_dew_point_is_computed_from_humidity_and_noted():
    hours = read(grid(dewpoint=None))

    assert hours.dew_c[0] == pytest.approx(dew_point_c(air_c=10.0, humidity_pct=60.0))
    assert "dew point computed from humidity" in hours.notes


def test_dew_and_humidity_that_are_both_missing_stay_unknown():
    hours = read(grid(dewpoint=None, relativeHumidity=None))

    assert np.isnan(hours.dew_c).all()


def test_where_a_chance_is_missing_the_stand_in_from_the_amount_is_marked():
    hours = read(grid(probabilityOfPrecipitation=None))

    assert hours.chance_derived.all()
    assert (hours.rain_chance_pct > 0).all()


def test_one_impossible_hour_is_dropped_and_noted():
    hours = read(grid(temperature=layer("degC", (0, "PT1H", 9), (1, "PT1H", 99), (2, "PT10H", 9))))

    assert np.isnan(hours.air_c).tolist() == [False, True] + [False] * 10
    assert any("impossible" in note for note in hours.notes)


def test_a_dew_point_above_the_air_makes_both_unknown():
    dew = layer("degC", (0, "PT2H", 5), (2, "PT2H", 12), (4, "P1DT20H", 5))

    hours = read(grid(dewpoint=dew))

    assert np.isnan(hours.dew_c[:5]).tolist() == [False, False, True, True, False]
    assert np.isnan(hours.air_c[:5]).tolist() == [False, False, True, True, False]


@pytest.mark.parametrize(
    ("document", "reason"),
    [
        ({}, "properties"),
        ({"properties": []}, "properties"),
        (grid(temperature=None), "no air temperature"),
        (grid(temperature=layer("degF", (0, "P2D", 50))), "not degC"),
        (grid(temperature=layer("", (0, "P2D", 50))), "not degC"),
        (grid(temperature=layer("degC", (0, "P2D", 99))), "no air temperature"),
        (grid(temperature=layer("degC", (0, "PT10H", 99), (10, "PT2H", 5))), "impossible"),
        (grid(temperature=layer("degC", (0, "P60D", 5))), "hours from"),
        (grid(temperature=layer("degC", (0, "PnD", 5))), "without a time"),
        (grid(temperature={"uom": "wmoUnit:degC", "values": [7]}), "without a time"),
        (grid(temperature={"uom": "wmoUnit:degC", "values": {"a": 1}}), "no list"),
        (grid(updateTime="yesterday"), "updateTime"),
        (grid(updateTime="2026-03-10T12:20:00"), "updateTime"),
        (grid(issued=ISSUED + timedelta(days=1)), "future"),
    ],
)
def test_a_useless_grid_is_refused_by_name(document, reason):
    with pytest.raises(BadAnswer, match=reason):
        read(document)


def test_hourly_periods_are_read_in_utc_and_metric():
    hours = parse_hourly(hourly(), fetched_at=ISSUED)

    # 07:00 six hours behind UTC is 13:00 UTC, and 50 °F is 10 °C.
    assert hours.start == datetime(2026, 3, 10, 13, tzinfo=UTC)
    assert hours.air_c[0] == pytest.approx(10.0)
    # The dew point is in °C although the temperature is in °F.
    assert hours.dew_c[0] == 5.0
    # 10 mph, the higher of "5 to 10 mph"; one international mile is 1.609344 km.
    assert hours.wind_kmh[0] == pytest.approx(16.09344)
    assert np.isnan(hours.rain_mm).all()
    assert hours.source == "nws_hourly"


def test_hourly_numbers_may_come_as_quantities():
    quantity = {"unitCode": "wmoUnit:degC", "value": 10}
    wind = {"unitCode": "wmoUnit:km_h-1", "value": 15}

    hours = parse_hourly(hourly(temperature=quantity, windSpeed=wind), fetched_at=ISSUED)

    assert (hours.air_c[0], hours.wind_kmh[0]) == (10.0, 15.0)


def test_a_null_chance_in_the_hourly_forecast_stays_unknown():
    nothing = {"unitCode": "wmoUnit:percent", "value": None}

    hours = parse_hourly(hourly(probabilityOfPrecipitation=nothing), fetched_at=ISSUED)

    assert np.isnan(hours.rain_chance_pct).all()


def test_twelve_hour_periods_are_not_taken_for_hours():
    document = hourly(1, endTime="2026-03-10T18:00:00-06:00")

    with pytest.raises(BadAnswer, match="not one hour"):
        parse_hourly(document, fetched_at=ISSUED)


def test_a_point_names_its_cell():
    assert parse_point(point()) == "BMX/59,84"


def test_a_point_at_sea_has_no_cell():
    assert parse_point(point(type="marine")) == ""


@pytest.mark.parametrize("x", ["../../admin", None, "59/84?units=us"])
def test_a_cell_that_is_no_cell_is_refused(x):
    with pytest.raises(BadAnswer, match="grid cell"):
        parse_point(point(x=x))


# api.weather.gov redirects coordinates with trailing zeros and refuses a fifth decimal.
@pytest.mark.parametrize(
    ("value", "written"),
    [("33.500", "33.5"), ("-86.000", "-86"), ("40.7128", "40.7128"), ("0", "0")],
)
def test_degrees_are_written_without_trailing_zeros(value, written):
    assert degrees(value) == written


def test_hours_remain_equal_when_a_run_is_written_hour_by_hour():
    by_the_hour = layer("degC", *((h, "PT1H", 10 if h < 12 else 18) for h in range(48)))

    once, often = read(grid()), read(grid(temperature=by_the_hour))

    assert np.array_equal(once.air_c, often.air_c)
    assert once.start == often.start
