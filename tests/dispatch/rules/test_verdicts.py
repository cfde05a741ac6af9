"""Days as a careful office decides them. Days, places and floors are made up.

What is right on each day is common practice of exterior and floor coaters: rain counts in the
hours in which the floor is wet, the slab and not the air is held against the dew point, and
an open slab dries for a day after it looked dry.
"""

from dataclasses import replace
from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dispatch.rules.verdicts import Dryness, Level, Part, PartDryness, judge
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


# --- An open patio with showers in the evening --------------------------------------------------


@pytest.fixture
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


def patio_before_showers(evening_showers, start="2026-06-18 07:00", **more):
    hours, slab = evening_showers
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


def test_only_rain_while_the_floor_is_wet_counts(evening_showers):
    verdict = patio_before_showers(evening_showers)

    assert verdict.level is Level.GO
    assert named(verdict, "rain").value == 10


def test_the_wet_window_runs_from_the_pour_to_rain_safe(evening_showers):
    verdict = patio_before_showers(evening_showers)

    minute = timedelta(minutes=1)
    assert abs(verdict.wet_from - clock(OHIO, "2026-06-18 10:05")) < minute
    assert abs(verdict.wet_until - clock(OHIO, "2026-06-18 17:22")) < minute


def test_the_last_safe_pour_leaves_the_floor_rain_safe_when_the_showers_come(evening_showers):
    verdict = patio_before_showers(evening_showers)

    assert verdict.last_safe_pour == clock(OHIO, "2026-06-18 10:43")
    assert verdict.slack_min == 38
    assert "rain 30 %" in verdict.binds


def test_a_late_grind_may_prepare_only(evening_showers):
    verdict = patio_before_showers(evening_showers)

    assert any("Prepare only" in way and "10:43 AM" in way for way in verdict.ways_out)


def test_notes_are_no_reasons(evening_showers):
    verdict = patio_before_showers(evening_showers)

    notes = {check.name: check for check in verdict.checks if check.name in {"foot", "bubbles"}}
    assert "5:22 PM, after the crew has left at 1:52 PM" in notes["foot"].sentence
    assert all(note.level is Level.GO for note in notes.values())


def test_the_headline_has_both_hours(evening_showers):
    verdict = patio_before_showers(evening_showers)

    assert verdict.headline == (
        "Rain 30 % from 6 PM is after the floor is rain-safe at 5:22 PM; pour by 10:43 AM."
    )


def test_a_start_an_hour_later_pours_too_late(evening_showers):
    verdict = patio_before_showers(evening_showers, start="2026-06-18 08:00")

    assert verdict.level is Level.NO
    assert verdict.last_safe_pour == clock(OHIO, "2026-06-18 10:43")
    assert verdict.slack_min is not None
    assert verdict.slack_min < 0
    assert any("Start earlier" in way for way in verdict.ways_out)


def test_a_site_that_closes_early_binds_before_the_rain(evening_showers):
    verdict = patio_before_showers(evening_showers, day_end=clock(OHIO, "2026-06-18 14:00"))

    # The crew leaves half an hour after the top coat, at 13:52.
    assert verdict.slack_min in {7, 8}
    assert "closes at 2 PM" in verdict.binds
    assert verdict.level is Level.GO


def test_a_crew_that_leaves_after_closing_is_no(evening_showers):
    verdict = patio_before_showers(evening_showers, day_end=clock(OHIO, "2026-06-18 13:30"))

    assert verdict.level is Level.NO
    assert "1:30 PM" in verdict.headline


# --- A patio washed, and rained on in the night after -------------------------------------------


@pytest.fixture
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


def patio_after_rain(wet_patio, start, *, dryness=None):
    hours, slab = wet_patio
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


def test_the_morning_after_rain_is_no_for_dryness_and_not_for_rain(wet_patio):
    verdict = patio_after_rain(wet_patio, "2026-04-14 08:00")

    assert verdict.level is Level.NO
    assert named(verdict, "dryness").level is Level.NO
    assert named(verdict, "rain").level is Level.GO
    assert verdict.checks[0].name == "dryness"


def test_the_half_that_dries_later_rules(wet_patio):
    verdict = patio_after_rain(wet_patio, "2026-04-15 08:00")

    found = named(verdict, "dryness")
    assert found.level is Level.NO
    assert found.sentence.startswith("The shaded half was wet until Mon 11 PM")
    assert "not before 3 PM" in found.sentence


def test_a_day_after_it_looked_dry_a_reading_is_still_wanted(wet_patio):
    verdict = patio_after_rain(wet_patio, "2026-04-15 13:30")

    found = named(verdict, "dryness")
    assert verdict.wet_from > clock(CAROLINA, "2026-04-15 15:00")
    assert found.level is Level.CARE
    assert "meter it first" in found.sentence
    assert any(way.startswith("Meter first") for way in verdict.ways_out)


def test_a_start_before_the_slab_is_dry_may_be_put_off_to_the_afternoon(wet_patio):
    hours, slab = wet_patio
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


def test_two_days_after_the_rain_the_patio_may_be_coated(wet_patio):
    verdict = patio_after_rain(wet_patio, "2026-04-16 07:00")

    assert verdict.level is Level.GO
    # 20 % at 8 PM is not yet a no, but nobody plans into it.
    assert verdict.last_safe_pour == clock(CAROLINA, "2026-04-16 10:42")
    assert any(way.startswith("Meter first") for way in verdict.ways_out)


def test_rain_restarts_the_clock_without_anybody_noting_it(wet_patio):
    nothing_noted = Dryness((PartDryness(),))

    tuesday = patio_after_rain(wet_patio, "2026-04-14 08:00", dryness=nothing_noted)
    wednesday = patio_after_rain(wet_patio, "2026-04-15 13:30", dryness=nothing_noted)

    assert named(tuesday, "dryness").level is Level.NO
    assert named(wednesday, "dryness").level is Level.CARE


def test_rain_after_it_looked_dry_restarts_the_clock(wet_patio):
    before_the_rain = clock(CAROLINA, "2026-04-13 18:00")
    noted = Dryness((PartDryness("the floor", before_the_rain, before_the_rain),))

    verdict = patio_after_rain(wet_patio, "2026-04-14 16:00", dryness=noted)

    assert named(verdict, "dryness").level is Level.NO


# --- A cold garage under warm wet air -----------------------------------------------------------


@pytest.fixture
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


def garage_in_the_thaw(spring_thaw, start, *, slab="as held", exposure=Exposure.GARAGE):
    hours, held = spring_thaw
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


def test_a_dry_warm_day_is_no_where_the_slab_is_below_the_dew_point(spring_thaw):
    verdict = garage_in_the_thaw(spring_thaw, "2026-03-11 07:30")

    assert verdict.level is Level.NO
    found = named(verdict, "dew")
    assert found.level is Level.NO
    assert verdict.headline.startswith("Slab 8.5 °C is 5.6 °C below")
    assert found.value == pytest.approx(8.5 - 14.1)
    assert "Slab 8.5 °C is 5.6 °C below the dew point 14.1 °C" in found.sentence


def test_rain_plays_no_part_in_a_closed_garage(spring_thaw):
    verdict = garage_in_the_thaw(spring_thaw, "2026-03-11 07:30")

    assert not any(check.name == "rain" for check in verdict.checks)


def test_two_days_later_the_same_garage_may_be_coated(spring_thaw):
    verdict = garage_in_the_thaw(spring_thaw, "2026-03-13 07:30")

    assert verdict.level in {Level.GO, Level.CARE}
    assert named(verdict, "dew").value == pytest.approx(11.4)


def test_an_unknown_slab_is_never_go(spring_thaw):
    verdict = garage_in_the_thaw(spring_thaw, "2026-03-13 07:30", slab=None)

    assert verdict.level is Level.UNKNOWN
    assert "not known" in verdict.headline


def test_a_weak_slab_is_judged_on_its_cold_side_and_asks_for_a_meter(spring_thaw):
    _, held = spring_thaw
    weak = replace(held, cold_c=held.mid_c - 3, weak=True)

    verdict = garage_in_the_thaw(spring_thaw, "2026-03-13 07:30", slab=weak)

    assert verdict.level is Level.CARE
    assert named(verdict, "dew").value == pytest.approx(8.4)
    assert any(way.startswith("Meter first") for way in verdict.ways_out)


# --- Desert heat --------------------------------------------------------------------------------


@pytest.fixture
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


def garage_in_the_desert(desert, start, crew_size):
    hours, slab = desert
    return judge(
        plan=planned(460, clock(ARIZONA, start), slab, crew_size=crew_size),
        card=FAST,
        exposure=Exposure.GARAGE,
        hours=hours,
        slab=slab,
        now=clock(ARIZONA, "2026-07-13 16:00"),
        zone=ZoneInfo(ARIZONA),
    )


def test_the_usual_start_is_no_on_a_slab_that_is_too_hot(desert):
    verdict = garage_in_the_desert(desert, "2026-07-14 07:30", 2)

    assert verdict.level is Level.NO
    found = named(verdict, "slab")
    assert found.level is Level.NO
    assert "too hot" in found.sentence
    assert any("Start earlier" in way for way in verdict.ways_out)


def test_four_people_at_dawn_are_done_before_the_heat(desert):
    verdict = garage_in_the_desert(desert, "2026-07-14 05:00", 4)

    assert verdict.level is Level.CARE
    assert any("smaller batches" in way for way in verdict.ways_out)
    assert "slab too hot" in verdict.binds


def test_wind_and_rain_after_the_top_do_not_matter_indoors(desert):
    verdict = garage_in_the_desert(desert, "2026-07-14 05:00", 4)

    assert {check.name for check in verdict.reasons} <= {"slab"}


# --- Storms in the afternoon, and one the evening before ----------------------------------------


@pytest.fixture
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


def patio_in_the_monsoon(monsoon, start):
    hours, slab = monsoon
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


def test_a_storm_day_is_no_for_rain_heat_wind_and_the_wetting_before(monsoon):
    verdict = patio_in_the_monsoon(monsoon, "2026-08-05 05:30")

    no = {check.name for check in verdict.checks if check.level is Level.NO}
    assert no >= {"rain", "slab", "wind", "dryness"}
    assert verdict.level is Level.NO


def test_a_slab_that_is_still_wet_has_no_safe_pour_and_no_use_for_a_meter(monsoon):
    verdict = patio_in_the_monsoon(monsoon, "2026-08-05 05:30")

    assert verdict.last_safe_pour is None
    assert verdict.slack_min is None
    assert not any(way.startswith("Meter first") for way in verdict.ways_out)
    assert any("Prepare only" in way for way in verdict.ways_out)


def test_no_cover_is_offered_where_gusts_would_tear_it_off(monsoon):
    verdict = patio_in_the_monsoon(monsoon, "2026-08-05 05:30")

    assert not any("anopy" in way for way in verdict.ways_out)


def test_a_forecast_storm_restarts_the_clock_for_the_day_after(monsoon):
    verdict = patio_in_the_monsoon(monsoon, "2026-08-06 05:30")

    assert named(verdict, "dryness").level is Level.NO
    assert named(verdict, "rain").level is Level.GO


# --- Parts, roofs and words ---------------------------------------------------------------------


def test_an_apron_is_held_to_its_own_rule(evening_showers):
    hours, slab = evening_showers
    driven = replace(
        hours,
        rain_chance_pct=np.full(len(hours), 70.0),
        gust_kmh=np.full(len(hours), 30.0),
    )

    def garage(*parts):
        return judge(
            plan=planned(380, clock(OHIO, "2026-06-18 07:00"), slab),
            card=FAST,
            exposure=Exposure.GARAGE,
            parts=parts,
            hours=driven,
            slab=slab,
            now=clock(OHIO, "2026-06-17 17:30"),
            zone=ZoneInfo(OHIO),
        )

    assert garage().level is Level.GO
    with_apron = garage(Part("the apron", Exposure.APRON))
    assert with_apron.level is Level.NO
    assert "the apron" in with_apron.headline


@pytest.mark.parametrize(
    ("chance_pct", "gust_kmh", "level"),
    [(35, 18, Level.GO), (50, 18, Level.CARE), (35, 30, Level.CARE), (70, 30, Level.NO)],
)
def test_a_roof_takes_the_sting_out_of_a_shower(evening_showers, chance_pct, gust_kmh, level):
    hours, slab = evening_showers
    wet = replace(
        hours,
        rain_chance_pct=np.full(len(hours), float(chance_pct)),
        gust_kmh=np.full(len(hours), float(gust_kmh)),
    )

    verdict = judge(
        plan=planned(380, clock(OHIO, "2026-06-18 07:00"), slab),
        card=FAST,
        exposure=Exposure.PORCH,
        hours=wet,
        slab=slab,
        now=clock(OHIO, "2026-06-17 17:30"),
        zone=ZoneInfo(OHIO),
    )

    assert named(verdict, "rain").level is level


def test_no_sentence_certifies_anything(evening_showers, wet_patio, spring_thaw, desert, monsoon):
    verdicts = [
        patio_before_showers(evening_showers),
        patio_after_rain(wet_patio, "2026-04-16 07:00"),
        garage_in_the_thaw(spring_thaw, "2026-03-13 07:30"),
        garage_in_the_desert(desert, "2026-07-14 05:00", 4),
        patio_in_the_monsoon(monsoon, "2026-08-05 05:30"),
    ]

    for verdict in verdicts:
        said = [verdict.headline, *verdict.ways_out, *(c.sentence for c in verdict.checks)]
        for sentence in said:
            assert sentence.endswith(".")
            assert not any(
                word in sentence.lower().replace("rain-safe", "")
                for word in ("guarantee", "certif", "safe ", "is dry", "is cured")
            )
