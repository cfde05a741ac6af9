"""Patios: rain counts in the hours in which the floor is wet, and a slab dries for a day.

What is right on each day is common practice of exterior coaters and sealers.
"""

from datetime import timedelta
from zoneinfo import ZoneInfo

from dispatch.rules.verdicts import Dryness, Level, PartDryness, judge
from tests.dispatch.rules.days import (
    CAROLINA,
    OHIO,
    named,
    patio_after_rain,
    patio_before_showers,
    patio_in_the_monsoon,
    wet_patio,
)
from tests.dispatch.rules.skies import planned
from tests.jobs.rules.floors import FAST, clock
from weather.rules.exposures import Exposure


def test_only_rain_while_the_floor_is_wet_counts():
    verdict = patio_before_showers()

    assert verdict.level is Level.GO
    assert named(verdict, "rain").value == 10


def test_the_wet_window_runs_from_the_pour_to_rain_safe():
    verdict = patio_before_showers()

    minute = timedelta(minutes=1)
    assert abs(verdict.wet_from - clock(OHIO, "2026-06-18 10:05")) < minute
    assert abs(verdict.wet_until - clock(OHIO, "2026-06-18 17:22")) < minute


def test_the_last_safe_pour_leaves_the_floor_rain_safe_when_the_showers_come():
    verdict = patio_before_showers()

    assert verdict.last_safe_pour == clock(OHIO, "2026-06-18 10:43")
    assert verdict.slack_min == 38
    assert "rain 30 %" in verdict.binds


def test_a_late_grind_may_prepare_only():
    verdict = patio_before_showers()

    assert any("Prepare only" in way and "10:43 AM" in way for way in verdict.ways_out)


def test_notes_are_no_reasons():
    verdict = patio_before_showers()

    notes = {check.name: check for check in verdict.checks if check.name in {"foot", "bubbles"}}
    assert "5:22 PM, after the crew has left at 1:52 PM" in notes["foot"].sentence
    assert all(note.level is Level.GO for note in notes.values())


def test_the_headline_has_both_hours():
    verdict = patio_before_showers()

    assert verdict.headline == (
        "Rain 30 % from 6 PM is after the floor is rain-safe at 5:22 PM; pour by 10:43 AM."
    )


def test_a_start_an_hour_later_pours_too_late():
    verdict = patio_before_showers(start="2026-06-18 08:00")

    assert verdict.level is Level.NO
    assert verdict.last_safe_pour == clock(OHIO, "2026-06-18 10:43")
    assert verdict.slack_min is not None
    assert verdict.slack_min < 0
    assert any("Start earlier" in way for way in verdict.ways_out)


def test_a_site_that_closes_early_binds_before_the_rain():
    verdict = patio_before_showers(day_end=clock(OHIO, "2026-06-18 14:00"))

    # The crew leaves half an hour after the top coat, at 13:52.
    assert verdict.slack_min in {7, 8}
    assert "closes at 2 PM" in verdict.binds
    assert verdict.level is Level.GO


def test_a_crew_that_leaves_after_closing_is_no():
    verdict = patio_before_showers(day_end=clock(OHIO, "2026-06-18 13:30"))

    assert verdict.level is Level.NO
    assert "1:30 PM" in verdict.headline


def test_the_morning_after_rain_is_no_for_dryness_and_not_for_rain():
    verdict = patio_after_rain("2026-04-14 08:00")

    assert verdict.level is Level.NO
    assert named(verdict, "dryness").level is Level.NO
    assert named(verdict, "rain").level is Level.GO
    assert verdict.checks[0].name == "dryness"


def test_the_half_that_dries_later_rules():
    verdict = patio_after_rain("2026-04-15 08:00")

    found = named(verdict, "dryness")
    assert found.level is Level.NO
    assert found.sentence.startswith("The shaded half was wet until Mon 11 PM")
    assert "not before 3 PM" in found.sentence


def test_a_day_after_it_looked_dry_a_reading_is_still_wanted():
    verdict = patio_after_rain("2026-04-15 13:30")

    found = named(verdict, "dryness")
    assert verdict.wet_from > clock(CAROLINA, "2026-04-15 15:00")
    assert found.level is Level.CARE
    assert "meter it first" in found.sentence
    assert any(way.startswith("Meter first") for way in verdict.ways_out)


def test_a_start_before_the_slab_is_dry_may_be_put_off_to_the_afternoon():
    hours, slab = wet_patio()
    verdict = judge(
        plan=planned(300, clock(CAROLINA, "2026-04-15 08:00"), slab, crew_size=4),
        card=FAST,
        exposure=Exposure.OPEN,
        hours=hours,
        slab=slab,
        now=clock(CAROLINA, "2026-04-14 06:30"),
        zone=ZoneInfo(CAROLINA),
        dryness=Dryness((PartDryness(looked_dry_at=clock(CAROLINA, "2026-04-14 15:00")),)),
    )

    assert verdict.level is Level.NO
    assert "Start later: pour from 3 PM." in verdict.ways_out


def test_two_days_after_the_rain_the_patio_may_be_coated():
    verdict = patio_after_rain("2026-04-16 07:00")

    assert verdict.level is Level.GO
    # 20 % at 8 PM is not yet a no, but nobody plans into it.
    assert verdict.last_safe_pour == clock(CAROLINA, "2026-04-16 10:42")
    assert any(way.startswith("Meter first") for way in verdict.ways_out)


def test_rain_restarts_the_clock_without_anybody_noting_it():
    nothing_noted = Dryness((PartDryness(),))

    tuesday = patio_after_rain("2026-04-14 08:00", dryness=nothing_noted)
    wednesday = patio_after_rain("2026-04-15 13:30", dryness=nothing_noted)

    assert named(tuesday, "dryness").level is Level.NO
    assert named(wednesday, "dryness").level is Level.CARE


def test_rain_after_it_looked_dry_restarts_the_clock():
    before_the_rain = clock(CAROLINA, "2026-04-13 18:00")
    noted = Dryness((PartDryness("the floor", before_the_rain, before_the_rain),))

    verdict = patio_after_rain("2026-04-14 16:00", dryness=noted)

    assert named(verdict, "dryness").level is Level.NO


def test_a_storm_day_is_no_for_rain_heat_wind_and_the_wetting_before():
    verdict = patio_in_the_monsoon("2026-08-05 05:30")

    no = {check.name for check in verdict.checks if check.level is Level.NO}
    assert no >= {"rain", "slab", "wind", "dryness"}
    assert verdict.level is Level.NO


def test_a_slab_that_is_still_wet_has_no_safe_pour_and_no_use_for_a_meter():
    verdict = patio_in_the_monsoon("2026-08-05 05:30")

    assert verdict.last_safe_pour is None
    assert verdict.slack_min is None
    assert not any(way.startswith("Meter first") for way in verdict.ways_out)
    assert any("Prepare only" in way for way in verdict.ways_out)


def test_no_cover_is_offered_where_gusts_would_tear_it_off():
    verdict = patio_in_the_monsoon("2026-08-05 05:30")

    assert not any("anopy" in way for way in verdict.ways_out)


def test_a_forecast_storm_restarts_the_clock_for_the_day_after():
    verdict = patio_in_the_monsoon("2026-08-06 05:30")

    assert named(verdict, "dryness").level is Level.NO
    assert named(verdict, "rain").level is Level.GO
