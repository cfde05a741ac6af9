"""Zones and calendar objects against RFC 5545 and readers that are not ours."""

from datetime import UTC, datetime, timedelta
from io import StringIO
from uuid import UUID
from zoneinfo import ZoneInfo

import icalendar
import pytest
from dateutil.tz import tzical

from dispatch import calendars
from dispatch.rules.plain_text import clean, one_line
from dispatch.rules.time_zones import Yearly, is_twice, observances

YEARS = range(2025, 2030)
ZONES = [
    "America/New_York",
    "America/Chicago",
    "America/Denver",
    "America/Los_Angeles",
    "America/Anchorage",
    "America/Phoenix",
    "Pacific/Honolulu",
    "America/Puerto_Rico",
    "America/Toronto",
    "Europe/London",
    "Europe/Berlin",
    "Australia/Sydney",
    "Asia/Kolkata",
]


def visit(**given: object) -> calendars.Visit:
    values = {
        "uid": UUID(int=7),
        "sequence": 3,
        "status": "TENTATIVE",
        "start": datetime(2026, 7, 1, 13, 0, tzinfo=UTC),
        "end": datetime(2026, 7, 1, 21, 30, tzinfo=UTC),
        "zone": "America/Chicago",
        "summary": "Ada Fields: Garage",
        "location": "12 Elm Street, Birmingham, AL",
        "description": "One-day flake",
        "created_at": datetime(2026, 5, 1, 9, 0, tzinfo=UTC),
        "changed_at": datetime(2026, 5, 2, 9, 0, tzinfo=UTC),
    }
    return calendars.Visit(**{**values, **given})


def feed(*visits: calendars.Visit) -> bytes:
    return calendars.feed(name="Crew North", zone="America/Chicago", visits=visits)


@pytest.mark.parametrize("zone", ZONES)
def test_the_rules_of_a_zone_agree_with_the_zone_database_in_every_year(zone):
    # The reader is dateutil's, which knows only what stands in the VTIMEZONE.
    summers = [
        visit(
            zone=zone,
            start=datetime(year, 7, 1, 13, tzinfo=UTC),
            end=datetime(year, 7, 1, 20, tzinfo=UTC),
        )
        for year in YEARS
    ]
    text = feed(*summers).decode()
    zone_text = text[text.index("BEGIN:VTIMEZONE") : text.index("BEGIN:VEVENT")]
    read = tzical(StringIO(zone_text)).get(zone)

    wall, end = datetime(YEARS[0], 1, 1), datetime(YEARS[-1] + 1, 1, 1)
    while wall < end:
        known = wall.replace(tzinfo=ZoneInfo(zone))
        exists = known.astimezone(UTC).astimezone(ZoneInfo(zone)).replace(tzinfo=None) == wall
        once = known.utcoffset() == known.replace(fold=1).utcoffset()
        if exists and once:  # events in the gap and the overlap are written in UTC
            assert wall.replace(tzinfo=read).utcoffset() == known.utcoffset(), wall
        wall += timedelta(hours=7)  # meets every hour of the day within a week


def test_the_united_states_change_on_the_days_the_law_names():
    # Energy Policy Act of 2005, section 110: second Sunday of March to first Sunday of
    # November from 2007 on, at 2 in the morning.
    daylight, standard = observances(ZoneInfo("America/Chicago"), YEARS)

    assert daylight.yearly == Yearly(month=3, nth=2, weekday="SU", hour=2, minute=0)
    assert standard.yearly == Yearly(month=11, nth=1, weekday="SU", hour=2, minute=0)
    assert daylight.onset == datetime(2007, 3, 11, 2, 0)
    assert standard.onset == datetime(2007, 11, 4, 2, 0)
    assert daylight.daylight
    assert not standard.daylight


def test_a_zone_without_summer_time_has_one_standard_half_and_no_rule():
    (only,) = observances(ZoneInfo("America/Phoenix"), YEARS)

    assert (only.daylight, only.yearly, only.offset_to) == (False, None, timedelta(hours=-7))


def test_a_zone_that_keeps_no_yearly_rule_is_written_in_utc():
    # Morocco stops summer time for Ramadan, which moves through the year.
    assert observances(ZoneInfo("Africa/Casablanca"), YEARS) is None

    text = feed(visit(zone="Africa/Casablanca")).decode()

    assert "DTSTART:20260701T130000Z" in text
    assert "TZID=Africa" not in text


@pytest.mark.parametrize(
    ("start", "end"),
    [
        (datetime(2026, 11, 1, 6, 30, tzinfo=UTC), datetime(2026, 11, 1, 14, 0, tzinfo=UTC)),
        (datetime(2026, 10, 31, 22, 0, tzinfo=UTC), datetime(2026, 11, 1, 7, 15, tzinfo=UTC)),
    ],
)
def test_an_event_that_touches_the_repeated_hour_is_written_in_utc(start, end):
    # Section 3.3.5 lets a repeated time name its first pass only, and readers disagree.
    assert is_twice(start, ZoneInfo("America/Chicago")) or is_twice(
        end, ZoneInfo("America/Chicago")
    )

    event = icalendar.Calendar.from_ical(feed(visit(start=start, end=end))).walk("VEVENT")[0]

    assert event["dtstart"].to_ical() == start.strftime("%Y%m%dT%H%M%SZ").encode()
    assert event["dtend"].to_ical() == end.strftime("%Y%m%dT%H%M%SZ").encode()


def test_lines_are_folded_at_75_octets_and_end_in_crlf():
    text = feed(visit(summary="é" * 60, description="日本" * 200))

    assert text.endswith(b"\r\n")
    assert all(len(line) <= 75 for line in text.split(b"\r\n"))
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert not text.startswith(b"\xef\xbb\xbf")
    for line in text.split(b"\r\n"):  # never inside a letter (section 3.1)
        line.decode()


def test_text_is_escaped_as_section_3_3_11_says():
    text = feed(visit(summary="A; b, c\\d: e", description="one\r\ntwo\rthree")).decode()

    assert "SUMMARY:A\\; b\\, c\\\\d: e\r\n" in text
    assert "DESCRIPTION:one\\ntwo\\nthree\r\n" in text


def test_no_control_or_direction_character_reaches_a_calendar():
    nasty = "Ada\x00\x07\x1b\x7f\u202e\u2066\ufeff\u200b Fields\ud800"

    text = feed(visit(summary=nasty, location=nasty, description=nasty)).decode()

    assert "SUMMARY:Ada Fields\r\n" in text
    assert not {"\x00", "\x07", "\x1b", "\x7f", "\u202e", "\u2066", "\ufeff"} & set(text)


def test_a_feed_carries_no_method_no_alarm_and_a_pace_with_its_value_type():
    text = feed(visit()).decode()

    assert "METHOD" not in text
    assert "VALARM" not in text
    # RFC 7986 section 5.7 requires the VALUE parameter.
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT1H\r\n" in text
    assert "NAME:Crew North\r\n" in text
    assert "X-WR-CALNAME:Crew North\r\n" in text


def test_calendar_properties_stand_before_the_first_component():
    method, made = calendars.invitation(
        visit(),
        organizer=calendars.Mailbox("Dry Day", "office@dryday.example"),
        attendee=calendars.Mailbox('Ada "A" Fields', "ada@mail.example"),
        written_at=datetime(2026, 5, 3, tzinfo=UTC),
    )

    head = made.decode().split("BEGIN:VTIMEZONE")[0]

    assert method == "REQUEST"
    assert "METHOD:REQUEST" in head
    assert "VERSION:2.0" in head


def test_the_same_visits_give_the_same_bytes():
    assert feed(visit(), visit(uid=UUID(int=8))) == feed(visit(), visit(uid=UUID(int=8)))


def test_an_empty_feed_still_has_a_component():
    # Section 3.4 asks for at least one; a zone definition is one.
    read = icalendar.Calendar.from_ical(feed())

    assert [part.name for part in read.subcomponents] == ["VTIMEZONE"]


def test_clean_keeps_letters_of_every_script_and_line_breaks():
    assert clean("Łódź\r\n日本 👩\u200d🔧") == "Łódź\n日本 👩\u200d🔧"
    assert one_line("a\nb\t c") == "a b c"
