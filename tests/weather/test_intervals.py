"""Stretches of time laid out by the hour: every hour once, no total lost, unknown stays so."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weather.rules.hours import HOUR
from weather.rules.intervals import Stretch, copied, duration, interval, lengths_h, shared

START = datetime(2026, 3, 8, 6, tzinfo=UTC)


@st.composite
def rows_of_stretches(draw):
    """Stretches of 1 to 54 hours, one after another, some unknown, some left out."""
    lengths = draw(st.lists(st.integers(1, 54), min_size=1, max_size=8))
    values = st.one_of(st.just(float("nan")), st.floats(0, 80).map(lambda v: round(v, 2)))
    stretches, at = [], START
    for length in lengths:
        if draw(st.integers(0, 4)):
            stretches.append(Stretch(at, at + length * HOUR, draw(values)))
        at += length * HOUR
    return stretches, sum(lengths)


@given(rows_of_stretches())
def test_a_state_holds_in_every_hour_of_its_stretch_and_nowhere_else(row):
    stretches, count = row

    values = copied(stretches, start=START, count=count)

    for position in range(count):
        hour = START + position * HOUR
        told = [s.value for s in stretches if s.start <= hour < s.end]
        assert len(told) <= 1
        expected = told[0] if told else float("nan")
        assert values[position] == expected or np.isnan([values[position], expected]).all()


@given(rows_of_stretches())
def test_a_shared_total_is_neither_lost_nor_made(row):
    stretches, count = row

    values = shared(stretches, start=START, count=count)

    known = sum(s.value for s in stretches if not np.isnan(s.value))
    assert np.nansum(values) == pytest.approx(known)
    for s in stretches:
        first = int((s.start - START) / HOUR)
        part = values[first : first + int(s.length_h)]
        assert np.isnan(part).all() if np.isnan(s.value) else part.sum() == pytest.approx(s.value)


@given(rows_of_stretches(), st.integers(0, 2**32 - 1))
def test_wet_hours_take_the_total_and_still_none_is_lost(row, seed):
    stretches, count = row
    wet = np.random.default_rng(seed).random(count) < 0.3

    values = shared(stretches, start=START, count=count, wet=wet)

    known = sum(s.value for s in stretches if not np.isnan(s.value))
    assert np.nansum(values) == pytest.approx(known)
    assert not (values < 0).any()


@given(rows_of_stretches())
def test_an_hour_nobody_speaks_of_is_unknown_and_not_zero(row):
    stretches, count = row

    silent = np.isnan(lengths_h(stretches, start=START, count=count))

    assert np.isnan(copied(stretches, start=START, count=count)[silent]).all()
    assert np.isnan(shared(stretches, start=START, count=count)[silent]).all()


def test_an_hour_claimed_twice_is_unknown():
    twice = [
        Stretch(START, START + 4 * HOUR, 10.0),
        Stretch(START + 2 * HOUR, START + 6 * HOUR, 20.0),
    ]

    states = copied(twice, start=START, count=6)
    totals = shared(twice, start=START, count=6)

    assert np.isnan(states).tolist() == [False, False, True, True, False, False]
    assert np.isnan(totals).tolist() == [False, False, True, True, False, False]


def test_a_stretch_cut_by_the_edge_keeps_its_hourly_share():
    six_hours = [Stretch(START - 3 * HOUR, START + 3 * HOUR, 6.0)]

    values = shared(six_hours, start=START, count=3)

    assert values.tolist() == [1.0, 1.0, 1.0]


# ISO 8601 durations as written in raw grids of the US service (forms seen in its replies).
@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("PT1H", 1),
        ("PT18H", 18),
        ("P1D", 24),
        ("P1DT6H", 30),
        ("P2DT18H", 66),
        ("P7DT16H", 184),
        ("PT90M", 1.5),
        ("P1W", 168),
    ],
)
def test_durations_of_days_and_hours_are_read(text, hours):
    assert duration(text) == timedelta(hours=hours)


@pytest.mark.parametrize("text", ["", "P", "PT", "P1M", "1H", "PT-1H", "PT1.5H", "P1DT", "PT0H"])
def test_other_durations_are_refused(text):
    with pytest.raises(ValueError, match="duration"):
        duration(text)


def test_an_interval_without_an_offset_is_refused():
    with pytest.raises(ValueError, match="offset"):
        interval("2026-03-08T06:00:00/PT1H")


def test_an_interval_may_name_its_end():
    begin, end = interval("2026-03-08T06:00:00+00:00/2026-03-08T09:00:00+00:00")

    assert end - begin == 3 * HOUR
