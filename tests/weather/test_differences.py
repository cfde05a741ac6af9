"""Two services held against each other: a set amount apart is told, less is not."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from weather.rules.differences import differences
from weather.rules.hours import HOUR, Hours

START = datetime(2026, 3, 10, 12, tzinfo=UTC)


def hours(*, chance, air=10.0, count=12):
    known = Hours.unknown(start=START, count=count)
    return replace(
        known,
        rain_chance_pct=np.full(count, 1.0) * np.asarray(chance, dtype=float),
        air_c=np.full(count, 1.0) * np.asarray(air, dtype=float),
    )


def held(first, second, *, start=START, count=12):
    return differences(first, second, start=start, end=start + count * HOUR)


@pytest.mark.parametrize(("other", "told"), [(49.9, False), (50.0, True), (80.0, True)])
def test_thirty_points_of_rain_chance_are_told(other, told):
    found = held(hours(chance=20), hours(chance=other))

    assert (found.chance_pct is not None) is told


@pytest.mark.parametrize(("other", "told"), [(12.9, False), (13.0, True), (7.0, True)])
def test_three_degrees_are_told_with_their_hour(other, told):
    air = np.full(12, 10.0)
    air[5] = other

    found = held(hours(chance=0), hours(chance=0, air=air))

    assert bool(found) is told
    if told:
        assert found.air_c.at == START + 5 * HOUR


def test_chances_written_for_other_hours_of_the_window_are_no_difference():
    morning, evening = [60.0] * 6 + [5.0] * 6, [5.0] * 6 + [60.0] * 6

    assert not held(hours(chance=morning), hours(chance=evening))


def test_what_one_of_them_does_not_say_is_no_difference():
    assert not held(hours(chance=np.nan, air=np.nan), hours(chance=90, air=30))
    assert not held(hours(chance=0), hours(chance=90, air=30), start=START + 24 * HOUR)


def test_only_the_hours_asked_for_count():
    late = [0.0] * 10 + [90.0] * 2

    assert not held(hours(chance=0), hours(chance=late), count=10)
    assert held(hours(chance=0), hours(chance=late), count=11)
