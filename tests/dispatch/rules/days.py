"""Days that a careful office knows how to decide. Days, places and floors are made up."""

from datetime import timedelta
from functools import cache
from zoneinfo import ZoneInfo

from dispatch.rules.verdicts import Dryness, PartDryness, judge
from tests.dispatch.rules.skies import PLANNING_THRESHOLDS, Row, planned, sky
from tests.jobs.rules.floors import FAST, clock
from weather.rules.exposures import Exposure

OHIO = "America/New_York"
CAROLINA = "America/New_York"
MISSOURI = "America/Chicago"
ARIZONA = "America/Phoenix"


def named(verdict, name):
    """The finding of that name; the worst, where there are several."""
    return next(check for check in verdict.checks if check.name == name)


@cache
def evening_showers():
    rows = {
        "2026-06-18 06:00": Row(16, 84, 13.3, 5, 0, 8, 18),
        "2026-06-18 09:00": Row(20, 68, 13.9, 5, 0, 10, 23),
        "2026-06-18 10:00": Row(22, 61, 14.1, 5, 0, 10, 25),
        "2026-06-18 12:00": Row(25, 52, 14.5, 10, 0, 12, 29),
        "2026-06-18 15:00": Row(27, 48, 15.1, 10, 0, 14, 31),
        "2026-06-18 18:00": Row(26, 55, 16.3, 30, 3, 22, 28),
        "2026-06-18 21:00": Row(22, 70, 16.3, 30, 2, 15, 24),
    }
    # The evening before is held too: the drying before the pour is asked for.
    rows = {"2026-06-17 17:00": Row(20, 60, 12, 5, 0, 8, 22), **rows}
    return sky(OHIO, rows, issued="2026-06-17 15:00")


def patio_before_showers(start="2026-06-18 07:00", **more):
    hours, slab = evening_showers()
    now = clock(OHIO, "2026-06-17 17:30")
    dry = Dryness((PartDryness(wetted_at=now - timedelta(days=6)),))
    return judge(
        plan=planned(380, clock(OHIO, start), slab),
        card=FAST,
        exposure=Exposure.OPEN,
        hours=hours,
        slab=slab,
        now=now,
        zone=ZoneInfo(OHIO),
        thresholds=PLANNING_THRESHOLDS,
        dryness=dry,
        **more,
    )


@cache
def wet_patio():
    rows = {
        "2026-04-13 10:00": Row(15, 70, 9, 5, 0, 8, 14),
        "2026-04-13 20:00": Row(13, 95, 12, 90, 2, 8, 12),
        "2026-04-13 23:00": Row(13, 92, 11.7, 5, 0, 8, 12),
        "2026-04-14 06:00": Row(13, 92, 11.7, 5, 0, 8, 12),
        "2026-04-14 12:00": Row(20, 60, 12.0, 5, 0, 10, 18),
        "2026-04-14 18:00": Row(20, 58, 11.5, 5, 0, 8, 18),
        "2026-04-15 06:00": Row(11, 90, 9.4, 5, 0, 6, 12),
        "2026-04-15 12:00": Row(21, 52, 10.8, 5, 0, 10, 20),
        "2026-04-15 18:00": Row(20, 58, 11.5, 5, 0, 8, 19),
        "2026-04-16 06:00": Row(12, 88, 10.1, 5, 0, 6, 13),
        "2026-04-16 09:00": Row(18, 64, 11.1, 5, 0, 8, 20),
        "2026-04-16 12:00": Row(22, 50, 11.1, 5, 0, 10, 22),
        "2026-04-16 20:00": Row(18, 70, 12.5, 20, 0, 15, 18),
    }
    return sky(CAROLINA, rows, issued="2026-04-14 04:00")


def patio_after_rain(start, *, dryness=None):
    hours, slab = wet_patio()
    washed = clock(CAROLINA, "2026-04-13 10:00")
    halves = Dryness(
        (
            PartDryness("the sunny half", washed, clock(CAROLINA, "2026-04-14 11:00")),
            PartDryness("the shaded half", washed, clock(CAROLINA, "2026-04-14 15:00")),
        )
    )
    return judge(
        plan=planned(300, clock(CAROLINA, start), slab),
        card=FAST,
        exposure=Exposure.OPEN,
        hours=hours,
        slab=slab,
        now=clock(CAROLINA, "2026-04-14 06:30"),
        zone=ZoneInfo(CAROLINA),
        thresholds=PLANNING_THRESHOLDS,
        dryness=halves if dryness is None else dryness,
        day_end=clock(CAROLINA, start[:10] + " 19:00"),
    )


@cache
def spring_thaw():
    rows = {
        "2026-03-11 06:00": Row(6, 85, 3.7, 0, slab_c=7),
        "2026-03-11 09:00": Row(12, 88, 10.1, 0, slab_c=7),
        "2026-03-11 12:00": Row(18, 78, 14.1, 0, slab_c=8.5),
        "2026-03-11 15:00": Row(20, 70, 14.4, 0, slab_c=9),
        "2026-03-11 18:00": Row(18, 80, 14.5, 0, slab_c=9),
        "2026-03-13 09:00": Row(7, 55, -1.4, 0, slab_c=10),
        "2026-03-13 12:00": Row(10, 45, -1.4, 0, slab_c=10.5),
        "2026-03-13 15:00": Row(12, 40, -1.2, 0, slab_c=11),
    }
    hours, slab = sky(MISSOURI, rows, issued="2026-03-10 14:00")
    return hours, slab


def garage_in_the_thaw(start, *, slab="as held", exposure=Exposure.GARAGE):
    hours, held = spring_thaw()
    return judge(
        plan=planned(440, clock(MISSOURI, start), held),
        card=FAST,
        exposure=exposure,
        hours=hours,
        slab=held if slab == "as held" else slab,
        now=clock(MISSOURI, "2026-03-10 17:00"),
        zone=ZoneInfo(MISSOURI),
        units="metric",
    )


@cache
def desert():
    rows = {
        "2026-07-14 04:00": Row(31, 30, 11.4, 5, 0, 8, 31),
        "2026-07-14 08:00": Row(34, 25, 11.2, 5, 0, 10, 31.5),
        "2026-07-14 10:00": Row(36, 22, 11.0, 5, 0, 10, 32.5),
        "2026-07-14 11:00": Row(39, 18, 10.4, 5, 0, 12, 33),
        "2026-07-14 13:00": Row(41, 16, 9.6, 5, 0, 15, 35),
        "2026-07-14 14:00": Row(42, 14, 9.0, 5, 0, 20, 35),
        "2026-07-14 17:00": Row(43, 13, 8.7, 20, 0, 55, 35),
    }
    return sky(ARIZONA, rows, issued="2026-07-13 14:00")


def garage_in_the_desert(start, crew_size):
    hours, slab = desert()
    return judge(
        plan=planned(460, clock(ARIZONA, start), slab, crew_size=crew_size),
        card=FAST,
        exposure=Exposure.GARAGE,
        hours=hours,
        slab=slab,
        now=clock(ARIZONA, "2026-07-13 16:00"),
        zone=ZoneInfo(ARIZONA),
    )


@cache
def monsoon():
    rows = {
        "2026-08-04 17:00": Row(33, 60, 24, 80, 5, 60, 38),
        "2026-08-04 19:00": Row(28, 60, 19, 5, 0, 10, 32),
        "2026-08-05 06:00": Row(26, 62, 18.2, 5, 0, 10, 28),
        "2026-08-05 08:00": Row(29, 52, 18.1, 5, 0, 12, 33),
        "2026-08-05 09:00": Row(31, 45, 17.7, 5, 0, 12, 35),
        "2026-08-05 13:00": Row(36, 28, 14.6, 20, 0, 30, 46),
        "2026-08-05 15:00": Row(37, 27, 14.9, 50, 15, 65, 42),
        "2026-08-05 18:00": Row(29, 60, 20.4, 50, 10, 50, 34),
        "2026-08-05 20:00": Row(28, 60, 18.4, 5, 0, 15, 30),
        "2026-08-06 06:00": Row(26, 60, 17.5, 5, 0, 20, 28),
        "2026-08-06 12:00": Row(34, 40, 17.5, 5, 0, 20, 30),
    }
    return sky(ARIZONA, rows, issued="2026-08-04 18:00")


def patio_in_the_monsoon(start):
    hours, slab = monsoon()
    return judge(
        plan=planned(350, clock(ARIZONA, start), slab),
        card=FAST,
        exposure=Exposure.OPEN,
        hours=hours,
        slab=slab,
        now=clock(ARIZONA, "2026-08-04 19:30"),
        zone=ZoneInfo(ARIZONA),
        thresholds=PLANNING_THRESHOLDS,
        dryness=Dryness((PartDryness(wetted_at=clock(ARIZONA, "2026-08-04 18:30")),)),
    )
