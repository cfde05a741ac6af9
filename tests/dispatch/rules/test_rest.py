"""Rest after night work: who was out at night, by the clock of the branch, and for how long."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from dispatch.rules.rest import rest_until

CHICAGO = ZoneInfo("America/Chicago")
TEN = timedelta(hours=10)  # 49 CFR 395.3(a)(1): ten consecutive hours off duty


def local(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=CHICAGO)


@pytest.mark.parametrize(
    ("start", "end"),
    [
        ("2026-06-02 07:00", "2026-06-02 18:00"),
        ("2026-06-02 14:00", "2026-06-02 22:00"),  # ten o'clock itself is still the evening
        ("2026-06-02 05:00", "2026-06-02 12:00"),  # five o'clock itself is already the morning
    ],
)
def test_day_work_needs_no_rest_of_its_own(start, end):
    assert rest_until(start=local(start), end=local(end), home=local(end), zone=CHICAGO) is None


@pytest.mark.parametrize(
    ("start", "end"),
    [
        ("2026-06-02 14:00", "2026-06-02 22:15"),
        ("2026-06-02 04:45", "2026-06-02 10:00"),
        ("2026-06-02 19:00", "2026-06-03 02:00"),  # across midnight
        ("2026-06-02 23:00", "2026-06-03 06:30"),
    ],
)
def test_whoever_was_out_at_night_rests_ten_hours_from_home(start, end):
    home = local(end) + timedelta(minutes=40)

    assert rest_until(start=local(start), end=local(end), home=home, zone=CHICAGO) == home + TEN


# The clock goes forward at 2 AM on 8 March 2026 and back at 2 AM on 1 November 2026:
# 15 U.S.C. 260a, second Sunday of March and first Sunday of November.
@pytest.mark.parametrize(
    ("start", "end", "hours", "rested"),
    [
        ("2026-03-07 20:00", "2026-03-08 03:30", 6.5, "2026-03-08 13:30"),
        ("2026-10-31 20:00", "2026-11-01 03:30", 8.5, "2026-11-01 13:30"),
        ("2026-03-07 22:00", "2026-03-07 23:30", 1.5, "2026-03-08 10:30"),
        ("2026-10-31 22:00", "2026-10-31 23:30", 1.5, "2026-11-01 08:30"),
    ],
)
def test_rest_is_ten_elapsed_hours_on_the_days_the_clock_changes(start, end, hours, rested):
    began, ended = local(start).astimezone(UTC), local(end).astimezone(UTC)
    assert ended - began == timedelta(hours=hours)

    until = rest_until(start=began, end=ended, home=ended, zone=CHICAGO)

    assert until == local(rested).astimezone(UTC)


def test_the_second_one_o_clock_of_the_autumn_night_is_night_too():
    second = local("2026-11-01 01:30").replace(fold=1)
    end = second + timedelta(hours=2)

    assert rest_until(start=second, end=end, home=end, zone=CHICAGO) is not None
