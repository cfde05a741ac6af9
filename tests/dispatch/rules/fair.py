"""Three fair days and a patio on one of them, for tests that spoil one thing at a time."""

from datetime import timedelta
from zoneinfo import ZoneInfo

from dispatch.rules.verdicts import Dryness, PartDryness, judge
from tests.dispatch.rules.skies import Row, planned, sky
from tests.jobs.rules.floors import FAST, clock
from weather.rules.exposures import Exposure

ZONE = "America/New_York"
NOW = clock(ZONE, "2026-06-17 17:30")
START = clock(ZONE, "2026-06-18 07:00")
DRY = Dryness((PartDryness(wetted_at=NOW - timedelta(days=6)),))


def fair_sky():
    """Three fair days at 20 °C, well above the dew point."""
    return sky(
        ZONE,
        {"2026-06-15 00:00": Row(20, 50, 9.3, 5, 0, 8, 20)},
        issued="2026-06-17 15:00",
        until="2026-06-25 00:00",
    )


def judged(hours, slab, *, exposure=Exposure.OPEN, plan=None, card=FAST, **more):
    known = {"dryness": DRY, "now": NOW, **more}
    return judge(
        plan=plan or planned(380, START, slab_to_plan(slab)),
        card=card,
        exposure=exposure,
        hours=hours,
        slab=slab,
        zone=ZoneInfo(ZONE),
        **known,
    )


def slab_to_plan(slab):
    """The plan of a floor was made when its slab was known, or on a guess of 20 °C."""
    return sky(
        ZONE,
        {"2026-06-15 00:00": Row(20, 50, 9, 5, slab_c=20)},
        issued="2026-06-17 15:00",
        until="2026-06-28 00:00",
    )[1]


def level_of(verdict, name):
    return next(check.level for check in verdict.checks if check.name == name)
