"""Replies of MET Norway's Locationforecast 2.0, in its documented shape, read into hours."""

import numpy as np
import pytest

from tests.weather.replies import ISSUED, START, metno, step
from weather.answers import BadAnswer
from weather.providers.metno import parse
from weather.rules.moist_air import dew_point_c


def read(*steps, **units):
    return parse(metno(*steps, **units), fetched_at=ISSUED)


def test_an_answer_becomes_hours_with_its_issue_time():
    hours = read()

    assert (hours.start, len(hours), hours.source, hours.issued_at) == (START, 19, "metno", ISSUED)
    # 5 m/s is 18 km/h.
    assert hours.wind_kmh[0] == pytest.approx(18.0)


def test_six_hour_amounts_are_shared_and_hourly_ones_are_never_counted_twice():
    hours = read(step(0, one=1.0, six=4.0), step(1, one=0.5, six=3.5), step(2, six=3.0), step(8))

    assert hours.rain_mm[:2].tolist() == [1.0, 0.5]
    # The first six hours bring 4 mm, of which 1.5 are stated; four hours share the rest.
    assert hours.rain_mm[2:6].tolist() == pytest.approx([0.625] * 4)
    assert np.isnan(hours.rain_mm[8])


def test_between_six_hour_steps_states_are_drawn_out():
    hours = read(step(0, six=0.0, air_temperature=6.0), step(6, air_temperature=12.0))

    assert hours.air_c.tolist() == [6, 7, 8, 9, 10, 11, 12]


def test_over_a_hole_longer_than_six_hours_nothing_is_guessed():
    hours = read(step(0, six=0.0), step(12, six=0.0), step(18))

    assert np.isnan(hours.air_c[1:12]).all()
    assert np.isnan(hours.rain_mm[6:12]).all()


def test_a_chance_that_is_not_stated_is_a_marked_stand_in_and_never_zero():
    hours = read()

    assert hours.chance_derived[:18].all()
    assert (hours.rain_chance_pct[:18] > 0).all()
    assert np.isnan(hours.rain_chance_pct[18])


def test_a_stated_chance_is_taken_with_its_period():
    told = {"precipitation_amount": 0.0, "probability_of_precipitation": 35.0}

    hours = read(step(0, six=told), step(6))

    assert hours.rain_chance_pct[:6].tolist() == [35.0] * 6
    assert hours.chance_window_h[:6].tolist() == [6.0] * 6
    assert not hours.chance_derived[:6].any()


def test_compact_answers_without_a_dew_point_get_it_from_humidity():
    hours = read(step(0, one=0.0, dew_point_temperature=None), step(1))

    assert hours.dew_c[0] == pytest.approx(dew_point_c(air_c=10.0, humidity_pct=66.0))


def test_the_last_steps_may_lack_amounts_or_details():
    bare = step(2)
    bare["data"]["next_12_hours"] = {"summary": {"symbol_code": "rain"}}

    hours = read(step(0, one=0.2), step(1, one={}), bare)

    assert hours.rain_mm[0] == 0.2
    assert np.isnan(hours.rain_mm[1:]).all()


@pytest.mark.parametrize(
    ("document", "reason"),
    [
        ({}, "properties"),
        ({"properties": {"meta": {}}}, "updated_at"),
        (metno(step(0), air_temperature="fahrenheit"), "not celsius"),
        (metno(step(0), wind_speed=""), "not m/s"),
        (metno(step(0, one=1.0), precipitation_amount="inch"), "not mm"),
        (metno(step(1), step(0)), "order"),
        (metno(step(0), step(0)), "order"),
        (metno(step(0.5)), "step at"),
        (metno(step(0, air_temperature=None)), "no air temperature"),
        (metno(step(0), step(24 * 30)), "hours"),
    ],
)
def test_a_useless_answer_is_refused_by_name(document, reason):
    with pytest.raises(BadAnswer, match=reason):
        parse(document, fetched_at=ISSUED)
