"""What people type, as values: numbers, days, and times on the wall of a site."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.rules.local_times import NoSuchTime, instant_shown
from jobs.rules.typed import (
    Unreadable,
    read_count,
    read_day,
    read_days,
    read_moment,
    read_number,
    read_yes,
)

CHICAGO = ZoneInfo("America/Chicago")


@pytest.mark.parametrize(
    ("text", "us", "number"),
    [
        ("450", True, 450),
        ("1,200", True, 1200),
        ("1 200.5", True, 1200.5),
        (".5", True, 0.5),
        ("-3", True, -3),
        ("42,5", False, 42.5),
        ("42.5", False, 42.5),
    ],
)
def test_a_number_is_read_as_the_branch_writes_it(text, us, number):
    assert read_number(text, us=us) == number


@pytest.mark.parametrize(
    "text", ["", "big", "1e3", "nan", "inf", "1,20", "1.2.3", "٣", "--1", "9" * 21, "0x1F", "."]
)
def test_what_is_no_number_is_refused(text):
    with pytest.raises(Unreadable, match="is not a number"):
        read_number(text, us=True)


@pytest.mark.parametrize("text", ["", "-1", "1.5", "9999999", "two"])
def test_what_is_no_count_is_refused(text):
    with pytest.raises(Unreadable):
        read_count(text)


@pytest.mark.parametrize(
    ("text", "us"),
    [
        ("6/18/2026", False),  # which of the two is the month, nobody knows
        ("18/6/2026", True),
        ("2026-02-30", True),
        ("0000-01-01", True),
        ("9999-12-31", True),
        ("2026-6-18T07:00", True),
        ("tomorrow", True),
    ],
)
def test_what_is_no_day_is_refused(text, us):
    with pytest.raises(Unreadable, match=r"is not a day"):
        read_day(text, us=us)


def test_days_and_stretches_come_once_and_in_order():
    days = read_days("6/20/2026; 2026-06-18 to 2026-06-19, 6/20/2026\n", us=True)

    assert days == (date(2026, 6, 18), date(2026, 6, 19), date(2026, 6, 20))


@pytest.mark.parametrize("text", ["2026-06-19 to 2026-06-18", "1900-01-01 to 2099-12-31"])
def test_a_stretch_that_runs_backwards_or_for_years_is_refused(text):
    with pytest.raises(Unreadable):
        read_days(text, us=True)


@pytest.mark.parametrize(
    ("text", "hour"),
    [
        ("2026-06-18 17:00", 17),
        ("2026-06-18T17:00", 17),
        ("6/18/2026 5:00 PM", 17),
        ("6/18/2026 12:00 am", 0),
        ("6/18/2026 12:00pm", 12),
    ],
)
def test_a_moment_is_a_day_and_a_time(text, hour):
    assert read_moment(text, us=True) == datetime(2026, 6, 18, hour)


@pytest.mark.parametrize("text", ["2026-06-18", "2026-06-18 25:00", "2026-06-18 13:00 PM"])
def test_what_is_no_moment_is_refused(text):
    with pytest.raises(Unreadable):
        read_moment(text, us=True)


def test_yes_is_yes_and_maybe_is_refused():
    assert (read_yes("Yes"), read_yes("no")) == (True, False)
    with pytest.raises(Unreadable):
        read_yes("maybe")


# United States clocks: forward on the second Sunday of March, back on the first of November,
# at 2:00 (15 USC 260a).
def test_a_time_that_the_clocks_jump_past_is_refused_with_the_time_to_type():
    with pytest.raises(NoSuchTime, match=r"past 2:30 AM on Sun Mar 8.*type 3:30 AM"):
        instant_shown(datetime(2026, 3, 8, 2, 30), CHICAGO)


def test_a_time_shown_twice_is_its_first():
    shown = instant_shown(datetime(2026, 11, 1, 1, 30), CHICAGO)

    assert shown.twice
    assert shown.at == datetime(2026, 11, 1, 6, 30, tzinfo=UTC)


@given(
    minutes=st.integers(0, 2 * 366 * 24 * 60),
    zone=st.sampled_from(
        ["America/Chicago", "Europe/Berlin", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC"]
    ),
)
def test_every_instant_is_found_again_from_what_the_clocks_show(minutes, zone):
    there = ZoneInfo(zone)
    instant = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
    local = instant.astimezone(there).replace(tzinfo=None)

    shown = instant_shown(local.replace(fold=0), there)

    assert shown.at == instant or (shown.twice and shown.at < instant)
