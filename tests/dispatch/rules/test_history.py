"""What happened to a booking, in sentences: who, from where, to where, and why."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dispatch.rules.asking import MachineSpan
from dispatch.rules.history import last_change, replayed, sentence
from dispatch.rules.kept import exchanged, is_whole, planned_stints

CHICAGO = ZoneInfo("America/Chicago")
CREWS = {1: "North", 2: "South"}


@dataclass
class Event:
    action: str
    before: dict[str, Any] = field(default_factory=dict)
    after: dict[str, Any] = field(default_factory=dict)
    why: str = ""
    actor_name: str = "Ana"
    pk: int = 1


def on(*visits: tuple[str, int], state: str = "planned", **more: Any) -> dict[str, Any]:
    """A kept booking with a visit from 7 AM in Chicago on each (day, crew)."""
    stints = [
        {
            "crew": crew,
            "start": f"2026-06-{day}T12:00:00+00:00",
            "end": f"2026-06-{day}T20:00:00+00:00",
            "state": state,
        }
        for day, crew in visits
    ]
    return {"state": "booked", "stints": stints, **more}


def said(event: Event, partner: str = "") -> str:
    return sentence(event, zone=CHICAGO, crews=CREWS, partner=partner)


TUESDAY, THURSDAY = on(("02", 1)), on(("04", 2))


@pytest.mark.parametrize(
    ("event", "expected"),
    [
        (
            Event("move", TUESDAY, THURSDAY, why="rain"),
            "Ana moved it from Tue Jun 2, North to Thu Jun 4, South: rain",
        ),
        (Event("book", {}, TUESDAY), "Ana booked Tue Jun 2, North"),
        (
            Event("book", {}, {**TUESDAY, "held_until": "2026-06-01T15:30:00+00:00"}),
            "Ana held Tue Jun 2, North, until Mon Jun 1, 10:30 AM",
        ),
        (
            Event("call off", TUESDAY, on(("02", 1), state="called_off"), why="ill"),
            "Ana called it off; it was on Tue Jun 2, North: ill",
        ),
        (Event("confirm", TUESDAY, TUESDAY), "Ana confirmed Tue Jun 2, North"),
        (
            Event("undo", THURSDAY, TUESDAY, why="Taken back: move"),
            "Ana took the last change back: it is on Tue Jun 2, North again",
        ),
        (
            Event("move", TUESDAY, on(("02", 1), ("03", 1))),
            "Ana moved it from Tue Jun 2, North to Tue Jun 2 and Wed Jun 3, North",
        ),
        (
            Event("move", TUESDAY, on(("02", 1), ("03", 2))),
            "Ana moved it from Tue Jun 2, North to Tue Jun 2, North and Wed Jun 3, South",
        ),
        (
            Event(
                "drive-on later",
                {"drive_on_at": "2026-06-03T15:00:00+00:00"},
                {"drive_on_at": "2026-06-03T20:00:00+00:00"},
                why="It gets colder.",
            ),
            (
                "Ana moved drive-on later, from Wed Jun 3, 10:00 AM to Wed Jun 3, 3:00 PM: "
                "It gets colder."
            ),
        ),
        (
            Event("customer cannot", after={"version": 3}, why="away"),
            "Ana said that this day does not work: away",
        ),
    ],
)
def test_each_change_is_one_sentence(event, expected):
    assert said(event) == expected


def test_another_hour_of_one_day_is_said_with_its_hour():
    later = on(("02", 1))
    later["stints"][0]["start"] = "2026-06-02T14:30:00+00:00"

    assert said(Event("move", TUESDAY, later)) == (
        "Ana moved it from Tue Jun 2, North at 7:00 AM to Tue Jun 2, North at 9:30 AM"
    )


def test_a_swap_says_with_whom():
    swap = Event("swap", TUESDAY, THURSDAY)

    assert said(swap, "Bo Reed") == (
        "Ana swapped it with Bo Reed, from Tue Jun 2, North to Thu Jun 4, South"
    )
    assert "with another floor" in said(swap)


def test_a_crew_that_is_gone_and_an_unknown_action_are_said_all_the_same():
    assert said(Event("move", on(("02", 9)), TUESDAY)).startswith(
        "Ana moved it from Tue Jun 2, a crew that is gone"
    )
    assert said(Event("repaint", {}, {})) == "Ana repaint"


def test_the_last_change_is_the_newest_and_not_what_a_customer_said():
    events = [Event("book", pk=1), Event("move", pk=2), Event("customer cannot", pk=3)]
    events[2].after = {"version": 2}

    assert last_change(events) is events[1]
    assert last_change([]) is None


def test_replaying_gives_the_last_state_in_whatever_order_events_are_read():
    events = [
        Event("move", TUESDAY, THURSDAY, pk=2),
        Event("customer cannot", after={"version": 2}, pk=3),
        Event("book", {}, TUESDAY, pk=1),
    ]

    assert replayed(events) == THURSDAY
    assert replayed([]) == {}


def test_an_older_record_that_kept_less_is_not_whole():
    assert not is_whole(TUESDAY)
    assert not is_whole({**TUESDAY, "moves": 0})


def kept_stint(day: str, crew: int, hours: float) -> dict[str, Any]:
    start = datetime.fromisoformat(f"2026-06-{day}T12:00:00+00:00")
    end = start + timedelta(hours=hours)
    grind = {
        "kind": "grind",
        "start": (start + timedelta(hours=1)).isoformat(),
        "end": (start + timedelta(hours=3)).isoformat(),
        "hands": 2,
    }
    span = MachineSpan(7, start, start + timedelta(hours=3), 20)
    return {
        "crew": crew,
        "start": start.isoformat(),
        "end": end.isoformat(),
        "state": "planned",
        "machines": [7],
        "machine_spans": [span.kept()],
        "travel_min": [15, 25],
        "stages": [grind],
        "pour_at": (start + timedelta(hours=4)).isoformat(),
        "wet_until": None,
    }


def test_what_was_kept_is_read_back_whole():
    kept = {"moves": 0, "stints": [kept_stint("02", 1, 8)]}

    assert is_whole(kept)
    (stint,) = planned_stints(kept)
    assert (stint.crew_id, stint.machine_ids) == (1, (7,))
    assert (stint.travel_before_min, stint.travel_after_min) == (15, 25)
    assert stint.machine_spans[0].claimed[1] - stint.start == timedelta(hours=3, minutes=20)
    assert stint.pour_at - stint.start == timedelta(hours=4)
    assert stint.wet_until is None


def test_a_visit_in_anothers_place_keeps_its_own_length_and_shifts_every_moment():
    mine = planned_stints({"stints": [kept_stint("02", 1, 8)]})
    theirs = planned_stints({"stints": [kept_stint("04", 2, 5)]})

    (given,) = exchanged(mine, theirs)

    by = timedelta(days=2)
    assert (given.crew_id, given.start, given.end) == (2, theirs[0].start, mine[0].end + by)
    assert given.pour_at == mine[0].pour_at + by
    assert given.stages[0]["start"] == (mine[0].start + timedelta(hours=1) + by).isoformat()
    assert given.stages[0]["hands"] == 2
