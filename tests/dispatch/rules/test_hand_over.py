"""A grinder handed over between two sites: when it arrives, and when the crew is away."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from dispatch.rules.hand_over import hand_over, say_possible, say_too_late

CHICAGO = ZoneInfo("America/Chicago")
FT2_PER_100 = 100


def local(text: str) -> datetime:
    return datetime.fromisoformat(f"2026-06-02 {text}").replace(tzinfo=CHICAGO).astimezone(UTC)


def hours(count: float) -> timedelta:
    return timedelta(hours=count)


# Common practice for two people: 0.55 h of grinding, repair and vacuuming and 0.2 h each of
# base, scrape and top per 100 sq ft; 1.5 h of set on a slab of 20 °C; half an hour to pack.
def grind(ft2: float) -> timedelta:
    return hours(0.55 * ft2 / FT2_PER_100)


def from_grind(ft2: float) -> timedelta:
    coats = 3 * 0.2 * ft2 / FT2_PER_100
    return grind(ft2) + hours(coats + 1.5 + 0.5)


UNLOAD_AND_MASK = hours(1)


def second_crew(ft2: float, *, released: datetime | None = None, latest: str = "18:00"):
    return hand_over(
        released=released or local("10:45"),
        road_min=35,
        earliest=local("07:00"),
        before=UNLOAD_AND_MASK,
        after=from_grind(ft2),
        latest=local(latest),
    )


def test_a_double_garage_waiting_for_the_grinder_of_another_is_left_too_late():
    released = local("08:00") + grind(500)  # the first crew: 7:00, an hour of preparing
    assert released == local("10:45")

    given = second_crew(450, released=released)

    assert given.reaches == local("11:20")
    assert given.leaves.replace(second=0) == local("18:30")
    assert not given.fits


def test_the_sentence_has_where_it_is_when_it_comes_and_when_they_would_leave():
    said = say_too_late(second_crew(450), machine="Big grinder", where="Ada Fields", zone=CHICAGO)

    assert said == (
        "Big grinder is needed for Ada Fields until 10:45 AM and reaches this floor at 11:20 AM, "
        "and even with everything masked beforehand the crew would leave at 6:30 PM; "
        "work ends at 6:00 PM."
    )


def test_everything_before_the_grind_is_done_while_the_machine_is_on_the_road():
    given = second_crew(250)

    assert given.fits
    assert given.arrives == local("10:20")  # unloaded and masked when it arrives
    assert given.begins == given.reaches
    said = say_possible(given, machine="Big grinder", where="Ada Fields", zone=CHICAGO)
    assert "if it is handed over" in said
    assert "6:00 PM" not in said


def test_a_machine_that_is_there_first_delays_nobody():
    given = second_crew(450, released=local("06:30"))

    assert given.begins == local("08:00")
    assert given.arrives == local("07:00")
    assert given.fits


@pytest.mark.parametrize(("latest", "fits"), [("18:30", False), ("18:31", True)])
def test_the_last_minute_decides(latest, fits):
    assert second_crew(450, latest=latest).fits is fits


def test_hours_are_elapsed_where_the_clock_changes():
    # 15 U.S.C. 260a: 2 AM on 8 March 2026 becomes 3 AM.
    before = datetime(2026, 3, 8, 1, 30, tzinfo=CHICAGO).astimezone(UTC)
    given = hand_over(
        released=before,
        road_min=60,
        earliest=before,
        before=hours(0),
        after=hours(1),
        latest=before + hours(2),
    )

    assert given.reaches.astimezone(CHICAGO).hour == 3
    assert given.fits
