"""What the house asks about weather: hours around now, with the newest forecast's stamps."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from django.db import transaction

from weather import past, services
from weather.models import Forecast, PastDay, hours_of, layers_of
from weather.reads import forecast_age_h, hours_at, latest_forecast, past_origins
from weather.rules.hours import HOUR, Hours

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 10, 12, 30, tzinfo=UTC)
HOUR_NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)


@pytest.fixture
def place():
    return services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago")


def steady(*, start, count, air_c, source="nws", issued_at=None):
    """Hours of one air temperature and nothing else known."""
    unknown = Hours.unknown(start=start, count=count, source=source)
    return replace(unknown, air_c=np.full(count, float(air_c)), issued_at=issued_at)


def store(place, hours, *, fetched_at):
    return Forecast.objects.create(
        place=place,
        source=hours.source,
        issued_at=hours.issued_at,
        fetched_at=fetched_at,
        start=hours.start,
        count=len(hours),
        layers=layers_of(hours),
    )


def remember(place, hours):
    with transaction.atomic():
        past.remember(place, hours, now=NOW)


def test_layers_come_back_as_they_went():
    hours = replace(
        steady(start=HOUR_NOW, count=5, air_c=3.25),
        rain_mm=np.array([0.0, np.nan, 0.125, np.nan, 1.5]),
        chance_window_h=np.array([6.0, 6.0, 1.0, 1.0, 12.0]),
        chance_derived=np.array([True, False, True, False, False]),
    )

    back = hours_of(layers_of(hours), start=hours.start, count=5)

    for name in ("air_c", "rain_mm", "dew_c", "chance_window_h", "chance_derived"):
        assert np.array_equal(
            getattr(back, name), getattr(hours, name), equal_nan=name != "chance_derived"
        )


def test_a_place_without_a_forecast_is_unknown_throughout(place):
    hours = hours_at(place, now=NOW)

    assert len(hours) == 24 * 24
    assert hours.start == HOUR_NOW - timedelta(days=14)
    assert np.isnan(hours.air_c).all()
    assert hours.issued_at is None
    assert latest_forecast(place, now=NOW) is None


def test_the_newest_issue_counts_and_not_the_latest_fetch(place):
    newer = steady(start=HOUR_NOW, count=48, air_c=10, issued_at=NOW - HOUR)
    older = steady(start=HOUR_NOW, count=48, air_c=20, issued_at=NOW - 9 * HOUR)
    store(place, newer, fetched_at=NOW - HOUR)
    store(place, older, fetched_at=NOW)

    forecast = latest_forecast(place, now=NOW)

    assert forecast.issued_at == NOW - HOUR
    assert forecast_age_h(forecast, now=NOW) == 1.0


def test_what_was_not_fetched_yet_is_not_known_yet(place):
    store(place, steady(start=HOUR_NOW, count=9, air_c=1, issued_at=NOW), fetched_at=NOW + HOUR)

    assert latest_forecast(place, now=NOW) is None


def test_an_issue_slightly_ahead_of_our_clock_has_no_negative_age(place):
    hours = steady(start=HOUR_NOW, count=9, air_c=1, issued_at=NOW + timedelta(minutes=10))

    assert forecast_age_h(store(place, hours, fetched_at=NOW), now=NOW) == 0.0


def test_past_and_forecast_meet_at_now_and_holes_stay_unknown(place):
    remember(
        place, steady(start=HOUR_NOW - 30 * HOUR, count=20, air_c=5, issued_at=NOW - 30 * HOUR)
    )
    store(
        place,
        steady(start=HOUR_NOW - 4 * HOUR, count=48, air_c=10, issued_at=NOW - HOUR),
        fetched_at=NOW,
    )

    hours = hours_at(place, now=NOW)

    at = {back: hours.air_c[hours.index(NOW - back * HOUR)] for back in (31, 30, 11, 10, 5, 4, 0)}
    assert np.isnan([at[31], at[10], at[5]]).all()
    assert (at[30], at[11], at[4], at[0]) == (5, 5, 10, 10)
    assert hours.issued_at == NOW - HOUR


def test_only_hours_that_are_over_become_past(place):
    remember(place, steady(start=HOUR_NOW - 2 * HOUR, count=9, air_c=5, issued_at=NOW - 2 * HOUR))

    origins = past_origins(place, first=NOW.date(), last=NOW.date())

    assert sorted(origins) == [HOUR_NOW - 2 * HOUR, HOUR_NOW - HOUR]
    assert set(origins.values()) == {"nws"}


def test_a_measured_hour_is_not_overwritten_by_a_forecast(place):
    measured = steady(start=HOUR_NOW - 6 * HOUR, count=3, air_c=2, source="station")
    remember(place, measured)

    remember(place, steady(start=HOUR_NOW - 6 * HOUR, count=6, air_c=9, issued_at=NOW - 6 * HOUR))

    hours = hours_at(place, now=NOW)
    told = [hours.air_c[hours.index(NOW - back * HOUR)] for back in (6, 5, 4, 3, 2, 1)]
    assert told == [2, 2, 2, 9, 9, 9]


def test_what_a_forecast_said_more_than_two_days_ahead_is_no_past(place):
    old = steady(start=HOUR_NOW - 90 * HOUR, count=90, air_c=5, issued_at=HOUR_NOW - 90 * HOUR)

    remember(place, old)

    hours = hours_at(place, now=NOW)
    assert hours.air_c[hours.index(NOW - 43 * HOUR)] == 5
    assert np.isnan(hours.air_c[hours.index(NOW - 42 * HOUR)])


def test_days_nobody_remembers_are_deleted(place):
    remember(place, steady(start=HOUR_NOW - 6 * HOUR, count=6, air_c=5, source="station"))

    assert services.prune(now=NOW + timedelta(days=60)) == 1
    assert not PastDay.objects.exists()
