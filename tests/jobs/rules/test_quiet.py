"""Quiet hours: no grinder before the noisy hour, but setting up may come before it."""

from jobs.rules.plan import StageKind
from jobs.rules.quiet import SECOND_DAY, earliest_start, noisy_outside
from jobs.rules.rates import stage_hours
from jobs.rules.stages import lay_out
from tests.jobs.rules.floors import FAST, PLANNING_RATES, clock, floor_of, steady

PHOENIX = "America/Phoenix"
FLOOR = floor_of(460)
NOISY = clock(PHOENIX, "2026-07-14 06:00")
HOURS = stage_hours(work=FLOOR, rates=PLANNING_RATES, crew_size=4)


def plan(start):
    return lay_out(
        work=FLOOR,
        card=FAST,
        rates=PLANNING_RATES,
        crew_size=4,
        start=start,
        slab=steady(start, 30),
    )


def test_an_hour_of_quiet_setting_up_comes_before_the_noise():
    start = earliest_start(arrive=clock(PHOENIX, "2026-07-14 04:00"), noisy_from=NOISY, hours=HOURS)

    assert start == clock(PHOENIX, "2026-07-14 05:00")
    laid = plan(start)
    assert next(s for s in laid.visits[0].stages if s.kind.noisy).start == NOISY
    assert not noisy_outside(laid, noisy_from=NOISY)


def test_a_later_arrival_is_left_alone():
    arrive = clock(PHOENIX, "2026-07-14 08:00")

    assert earliest_start(arrive=arrive, noisy_from=NOISY, hours=HOURS) == arrive


def test_grinding_too_early_and_scraping_too_late_are_found():
    early = plan(clock(PHOENIX, "2026-07-14 04:30"))
    late = plan(clock(PHOENIX, "2026-07-14 14:00"))

    assert [s.kind for s in noisy_outside(early, noisy_from=NOISY)] == [StageKind.GRIND]
    found = noisy_outside(late, noisy_from=NOISY, noisy_until=clock(PHOENIX, "2026-07-14 17:00"))
    assert [stage.kind for stage in found] == [StageKind.SCRAPE]


def test_on_the_second_day_scraping_is_the_first_noise():
    start = earliest_start(
        arrive=clock(PHOENIX, "2026-07-15 05:00"),
        noisy_from=clock(PHOENIX, "2026-07-15 06:00"),
        hours={StageKind.SET_UP: 0.25},
        order=SECOND_DAY,
    )

    assert start == clock(PHOENIX, "2026-07-15 05:45")
