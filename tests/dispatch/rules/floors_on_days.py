"""Whole days with everything that may be changed about them, for tests of measures."""

from datetime import date, time
from typing import Any
from zoneinfo import ZoneInfo

from dispatch.rules.measures.ranking import ranked
from dispatch.rules.measures.situation import FloorHere, Held, SiteTimes, Situation
from dispatch.rules.verdicts import Dryness, PartDryness
from jobs.rules.day_hours import DayHours
from tests.dispatch.rules import days
from tests.dispatch.rules.skies import PLANNING_THRESHOLDS, Row, sky
from tests.jobs.rules.floors import FAST, PLANNING_RATES, clock, floor_of
from weather.rules.exposures import Exposure


def times_at(zone: str, opens: int = 7, noisy: int = 7, closes: int = 19) -> SiteTimes:
    """A site with whole hours."""
    hours = DayHours(
        opens=time(opens), closes=time(closes), noisy_from=time(noisy), noisy_until=time(19)
    )
    return SiteTimes(zone=ZoneInfo(zone), hours=lambda day: hours, usually=time(7, 30))


def situation(
    area_ft2: float,
    start: str,
    held: Any,
    zone: str,
    exposure: Exposure,
    *,
    now: str,
    dryness: Dryness | None = None,
    **more: Any,
) -> Situation:
    """A floor of so many square feet, two people, on hours and a slab that are what they are."""
    hours, slab = held
    given: dict[str, Any] = {
        "work": floor_of(area_ft2),
        "card": FAST,
        "rates": PLANNING_RATES,
        "crew_size": 2,
        "start": clock(zone, start),
        "hours": hours,
        "floors": (FloorHere(exposure, dryness=dryness),),
        "slabs": Held(slab),
        "now": clock(zone, now),
        "times": times_at(zone),
        "thresholds": PLANNING_THRESHOLDS,
    }
    return Situation(**(given | more))


def measures(asked: Situation) -> dict[str, Any]:
    """What can be done about it, by its kind."""
    return {each.kind.value: each for each in ranked(asked, asked.judged())}


def desert_morning(rows: dict[str, Row]) -> dict[str, Row]:
    """Rows of Tuesday with the same morning on Wednesday."""
    return rows | {key.replace("07-14", "07-15"): row for key, row in rows.items()}


def garage_in_the_desert(start: str = "2026-07-14 07:30", **more: Any) -> Situation:
    """Attached, 460 sq ft; noise from 6 AM, quiet work tolerated earlier."""
    rows = {
        "2026-07-14 04:00": Row(31, 30, 11.4, 5, 0, 8, 31),
        "2026-07-14 08:00": Row(34, 25, 11.2, 5, 0, 10, 31.5),
        "2026-07-14 10:00": Row(36, 22, 11.0, 5, 0, 10, 32.5),
        "2026-07-14 11:00": Row(39, 18, 10.4, 5, 0, 12, 33),
        "2026-07-14 13:00": Row(41, 16, 9.6, 5, 0, 15, 35),
        "2026-07-14 17:00": Row(43, 13, 8.7, 20, 0, 55, 35),
    }
    return situation(
        460,
        start,
        sky(days.ARIZONA, desert_morning(rows), issued="2026-07-13 14:00"),
        days.ARIZONA,
        Exposure.GARAGE,
        now="2026-07-13 16:00",
        times=times_at(days.ARIZONA, opens=5, noisy=6),
        **more,
    )


def patio_in_the_monsoon(**more: Any) -> Situation:
    """350 sq ft, open; a storm on the evening before, storms on the day, dry from the day after."""
    rows = {
        "2026-08-04 17:00": Row(33, 60, 24, 80, 5, 60, 38),
        "2026-08-04 19:00": Row(28, 60, 19, 5, 0, 10, 32),
    }
    for day in range(5, 10):
        wet = day == 5
        on = f"2026-08-{day:02}"
        rows |= {
            f"{on} 03:00": Row(25, 62, 17.5, 5, 0, 10, 28),
            f"{on} 06:00": Row(26, 62, 18.2, 5, 0, 10 if wet else 20, 28),
            f"{on} 08:00": Row(29, 52, 18.1, 5, 0, 12 if wet else 20, 33),
            f"{on} 09:00": Row(31, 45, 17.7, 5, 0, 12 if wet else 20, 35),
            f"{on} 13:00": Row(36, 28, 14.6, 20 if wet else 5, 0, 30 if wet else 20, 46),
            f"{on} 15:00": Row(37, 27, 14.9, *((50, 15, 65) if wet else (5, 0, 20)), 42),
            f"{on} 18:00": Row(29, 60, 20.4, *((50, 10, 50) if wet else (5, 0, 20)), 34),
            f"{on} 20:00": Row(28, 60, 18.4, 5, 0, 15, 30),
        }
    return situation(
        350,
        "2026-08-05 05:30",
        sky(days.ARIZONA, rows, issued="2026-08-04 18:00"),
        days.ARIZONA,
        Exposure.OPEN,
        now="2026-08-04 19:30",
        dryness=Dryness((PartDryness(wetted_at=clock(days.ARIZONA, "2026-08-04 18:30")),)),
        times=times_at(days.ARIZONA, opens=5, noisy=6),
        other_days=tuple(date(2026, 8, day) for day in range(6, 10)),
        **more,
    )


def washed_patio(start: str, **more: Any) -> Situation:
    """300 sq ft, washed and rained on; the shaded half looked dry four hours after the other."""
    zone = days.CAROLINA
    washed = clock(zone, "2026-04-13 10:00")
    halves = Dryness(
        (
            PartDryness("the sunny half", washed, clock(zone, "2026-04-14 11:00")),
            PartDryness("the shaded half", washed, clock(zone, "2026-04-14 15:00")),
        )
    )
    return situation(
        300,
        start,
        days.wet_patio(),
        zone,
        Exposure.OPEN,
        now="2026-04-14 06:30",
        dryness=halves,
        other_days=(date(2026, 4, 15), date(2026, 4, 16), date(2026, 4, 17)),
        **more,
    )
