"""Rain between the lines, periods, nights, air, floors of two days, clocks and words."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dispatch.rules.verdicts import Dryness, Level, PartDryness, Thresholds, judge
from dispatch.rules.words import Words, plain, span
from jobs.rules.stages import lay_out
from tests.dispatch.rules.fair import START, ZONE, fair_sky, judged, level_of
from tests.dispatch.rules.skies import Row, changed, planned, sky, without
from tests.jobs.rules.floors import EPOXY_BASE, FAST, PLANNING_RATES, clock, floor_of
from weather.rules.exposures import Exposure
from weather.rules.hours import HOUR, floor_hour
from weather.rules.placing import chance_period, placed


@pytest.fixture(name="fair")
def _fair():
    return fair_sky()


def with_chances(hours, by_clock):
    positions = {hours.index(clock(ZONE, at)): value for at, value in by_clock.items()}
    return changed(hours, rain_chance_pct=positions)


def test_twenty_per_cent_is_care_with_half_an_hour_before_thirty(fair):
    hours, slab = fair
    plan = planned(380, START, slab)  # rain-safe at 7:52 PM

    wet = with_chances(hours, {"2026-06-18 19:00": 20})
    near = with_chances(hours, {"2026-06-18 19:00": 20, "2026-06-18 20:00": 30})
    far = with_chances(hours, {"2026-06-18 19:00": 20, "2026-06-18 21:00": 30})

    assert level_of(judged(wet, slab, plan=plan), "rain") is Level.CARE
    assert level_of(judged(near, slab, plan=plan), "rain") is Level.NO
    assert level_of(judged(far, slab, plan=plan), "rain") is Level.CARE


def test_an_unknown_hour_is_no_slack(fair):
    hours, slab = fair
    wet = with_chances(hours, {"2026-06-18 19:00": 20})
    gap = without(wet, clock(ZONE, "2026-06-18 20:00"), "rain_chance_pct")

    assert level_of(judged(gap, slab), "rain") is Level.UNKNOWN


@pytest.mark.parametrize(
    ("amounts_mm", "level"),
    [((0.1, 0.05), Level.GO), ((0.1, 0.1), Level.CARE), ((0.5,), Level.NO)],
)
def test_amounts_count_beside_chances(fair, amounts_mm, level):
    hours, slab = fair
    first = hours.index(clock(ZONE, "2026-06-18 14:00"))
    wet = changed(hours, rain_mm={first + i: mm for i, mm in enumerate(amounts_mm)})

    assert level_of(judged(wet, slab), "rain") is level


def test_hours_at_fifteen_per_cent_are_never_multiplied(fair):
    hours, slab = fair
    drizzle = replace(hours, rain_chance_pct=np.full(len(hours), 14.0))

    verdict = judged(drizzle, slab)

    assert verdict.level is Level.GO
    assert next(c for c in verdict.checks if c.name == "rain").value == 14


def test_a_chance_for_six_hours_counts_for_each_and_names_no_hour(fair):
    hours, slab = fair
    start = hours.index(clock(ZONE, "2026-06-18 14:00"))
    chance, window = hours.rain_chance_pct.copy(), hours.chance_window_h.copy()
    chance[start : start + 12] = 40
    window[start : start + 12] = 6
    wide = replace(hours, rain_chance_pct=chance, chance_window_h=window)

    verdict = judged(wide, slab)

    assert verdict.level is Level.NO
    assert "Rain 40 % between 2 PM and 8 PM" in verdict.headline
    # Two periods with the same chance stay two.
    second = chance_period(wide, clock(ZONE, "2026-06-18 21:00"))
    assert second == (clock(ZONE, "2026-06-18 20:00"), clock(ZONE, "2026-06-19 02:00"))


def put_somewhere(hours, *, chance_pct, since, wet):
    """`hours` with a chance written for a period of six hours, of which `wet` may get it."""
    at, count = hours.index(since), len(hours)
    chance, window = hours.rain_chance_pct.copy(), hours.chance_window_h.copy()
    chance[at : at + 6], window[at : at + 6] = chance_pct, 6
    amount, words = np.zeros(count), np.zeros(count)
    amount[wet], words[wet] = 0.3, 1
    written = replace(hours, rain_chance_pct=chance, chance_window_h=window, rain_mm=amount)
    return placed(written, says_wet=words)


def test_a_chance_put_behind_the_window_is_care_and_says_where_it_was_put(fair):
    """The floor is rain-safe by then: no refusal, but no clear go either."""
    hours, slab = fair
    safe = planned(380, START, slab).rain_safe
    start = floor_hour(safe) - 2 * HOUR
    last = hours.index(start) + 5
    late = put_somewhere(
        hours,
        chance_pct=60,
        since=start,
        wet=slice(last, last + 1),
    )
    whole = replace(late, rain_chance_pct=late.written_pct, chance_written_pct=None)

    verdict = judged(late, slab, plan=planned(380, START, slab))

    rain = next(check for check in verdict.checks if check.name == "rain")
    assert rain.level is Level.CARE
    assert rain.value == 14
    assert rain.sentence.startswith("Rain 60 % of ")
    assert "by amounts and weather, so 14 % at most until" in rain.sentence
    assert level_of(judged(whole, slab, plan=planned(380, START, slab)), "rain") is Level.NO


def test_a_chance_put_into_the_window_names_its_hours(fair):
    hours, slab = fair
    first = hours.index(START) + 2
    wet = put_somewhere(hours, chance_pct=60, since=START, wet=slice(first, first + 2))

    verdict = judged(wet, slab)

    start, end = chance_period(wet, wet.hour(first))
    assert (start, end) == (wet.hour(first), wet.hour(first + 2))
    rain = next(check for check in verdict.checks if check.name == "rain")
    assert rain.level is Level.NO
    assert rain.sentence.startswith("Rain 60 % between ")


def test_a_likely_shower_before_the_pour_asks_for_a_look(fair):
    hours, slab = fair
    wet = with_chances(hours, {"2026-06-18 03:00": 40})

    verdict = judged(wet, slab)

    assert level_of(verdict, "dryness") is Level.CARE
    assert level_of(verdict, "rain") is Level.GO


def test_a_night_that_stops_the_cure_is_care(fair):
    hours, slab = fair
    cold = slab.mid_c.copy()
    cold[slab.index(clock(ZONE, "2026-06-19 01:00"))] = 3.0

    verdict = judged(hours, replace(slab, mid_c=cold), plan=planned(380, START, slab))

    assert level_of(verdict, "night") is Level.CARE
    assert "Promise a later drive-on." in verdict.ways_out


def test_a_floor_without_a_drive_on_is_not_go(fair):
    hours, slab = fair
    plan = replace(planned(380, START, slab), drive_on=None, drive_on_basis="no date given")

    assert judged(hours, slab, plan=plan).level is Level.CARE


def test_a_slab_that_falls_below_the_least_before_the_base_has_set_is_no(fair):
    hours, slab = fair
    plan = planned(380, START, slab)
    falling = slab.mid_c.copy()
    falling[slab.index(plan.pour) + 1] = 4.0

    verdict = judged(hours, replace(slab, mid_c=falling), plan=plan)

    assert level_of(verdict, "slab") is Level.NO
    told = [check.sentence for check in verdict.checks if check.name == "slab"]
    assert "before the base has set" in told[0]


def test_air_is_held_to_the_card_where_the_card_names_it(fair):
    hours, slab = fair

    assert judged(hours, slab, card=replace(FAST, air_min_c=21)).level is Level.NO
    assert judged(hours, slab, card=replace(FAST, air_max_c=19)).level is Level.NO
    assert judged(hours, slab, card=replace(FAST, air_min_c=10, air_max_c=30)).level is Level.GO


def test_a_system_that_cures_by_water_needs_water_in_the_air(fair):
    hours, slab = fair
    # Supplier pages give 42 grains per lb as the least; that is a dew point of 6.5 °C.
    card = replace(FAST, humidity_min_grains=42)
    dry = replace(hours, dew_c=np.full(len(hours), 5.0))

    assert level_of(judged(hours, slab, card=card), "dry air") is Level.GO
    assert level_of(judged(dry, slab, card=card), "dry air") is Level.NO


def test_gusts_count_more_while_flake_flies(fair):
    hours, slab = fair
    plan = planned(380, START, slab)
    early = changed(hours, gust_kmh={hours.index(plan.pour): 30})
    late = changed(hours, gust_kmh={hours.index(plan.top_end): 30})

    assert level_of(judged(early, slab), "wind") is Level.NO
    assert level_of(judged(late, slab), "wind") is Level.CARE


@pytest.fixture
def wet_tuesday():
    """Fair but for a Tuesday of rain."""
    rows = {
        "2026-05-02 00:00": Row(24, 60, 16, 5, 0, 8, 25),
        "2026-05-05 06:00": Row(23, 90, 17, 90, 1.7, 8, 24),
        "2026-05-05 13:00": Row(24, 60, 17, 5, 0, 8, 25),
    }
    return sky("America/New_York", rows, issued="2026-05-03 16:00", until="2026-05-14 00:00")


def deck(wet_tuesday, start, second):
    hours, slab = wet_tuesday
    plan = lay_out(
        work=floor_of(600),
        card=EPOXY_BASE,
        rates=PLANNING_RATES,
        crew_size=2,
        start=clock(ZONE, start),
        second_start=clock(ZONE, second),
        slab=slab,
    )
    return judge(
        plan=plan,
        card=EPOXY_BASE,
        exposure=Exposure.POOL_DECK,
        hours=hours,
        slab=slab,
        now=clock(ZONE, "2026-05-03 18:00"),
        zone=ZoneInfo(ZONE),
        dryness=Dryness((PartDryness(),)),
    )


def test_two_days_are_one_verdict(wet_tuesday):
    verdict = deck(wet_tuesday, "2026-05-04 07:30", "2026-05-05 07:30")

    assert verdict.level is Level.NO
    assert level_of(verdict, "rain") is Level.NO


def test_a_base_that_is_safe_may_be_rained_on_and_abraded(wet_tuesday):
    verdict = deck(wet_tuesday, "2026-05-04 07:30", "2026-05-06 07:30")

    assert level_of(verdict, "rain") is Level.GO
    # The base must be safe by itself before Tuesday's rain.
    assert verdict.last_safe_pour is not None
    assert "from Tue 6 AM" in verdict.binds


def test_the_day_after_the_rain_is_refused_for_dryness(wet_tuesday):
    verdict = deck(wet_tuesday, "2026-05-06 07:30", "2026-05-07 07:30")

    assert level_of(verdict, "dryness") is Level.NO


def test_the_night_the_clocks_change_is_an_hour_shorter():
    zone = ZoneInfo("America/New_York")
    rows = {"2026-03-05 00:00": Row(20, 50, 9.3, 5, 0, 8, 20)}
    hours, slab = sky(ZONE, rows, issued="2026-03-07 15:00", until="2026-03-12 00:00")
    # 1:30 AM to 3:30 AM on the clock is one hour on 8 March 2026 (US Energy Policy Act of
    # 2005: the second Sunday of March).
    closes = datetime(2026, 3, 8, 3, 30, tzinfo=zone)
    plan = planned(380, clock(ZONE, "2026-03-07 18:00"), slab)
    local = replace(
        plan, pour=plan.pour.astimezone(zone), rain_safe=plan.rain_safe.astimezone(zone)
    )

    verdict = judge(
        plan=local,
        card=FAST,
        exposure=Exposure.OPEN,
        hours=hours,
        slab=slab,
        now=clock(ZONE, "2026-03-07 16:00"),
        zone=zone,
        dryness=Dryness((PartDryness(),)),
        day_end=closes,
    )

    left = closes.astimezone(UTC) - plan.visits[-1].end
    assert verdict.slack_min == pytest.approx(left.total_seconds() / 60, abs=1)


def test_a_time_without_a_zone_is_refused(fair):
    hours, slab = fair

    with pytest.raises(ValueError, match="zone"):
        judged(hours, slab, now=datetime(2026, 6, 17, 17, 30))


def test_lead_is_a_second_mark_and_does_not_change_the_level(fair):
    hours, slab = fair
    plan = planned(380, START, slab)

    marks = {}
    for days in (1, 3, 6):
        now = START - timedelta(days=days)
        fresh = replace(hours, issued_at=now)
        known = Dryness((PartDryness(wetted_at=now - timedelta(days=6)),))
        # The fair days are held from the 15th on, so earlier nows rest on what was noted.
        marks[days] = judged(fresh, slab, plan=plan, now=now, dryness=known)

    assert [marks[days].firmness for days in (1, 3, 6)] == ["firm", "likely", "watch"]
    assert {verdict.level for verdict in marks.values()} == {Level.GO}


def test_words_follow_the_units_and_the_zone():
    us = Words(zone=ZoneInfo(ZONE), units="us", day=START.date())
    metric = Words(zone=ZoneInfo(ZONE), units="metric", day=START.date())

    # 3 °C of spread are 5.4 °F: a difference takes no offset (NIST SP 811, B.9).
    assert (us.difference(3), metric.difference(3)) == ("5.4 °F", "3 °C")
    assert (us.temperature(20), metric.temperature(20)) == ("68 °F", "20 °C")
    assert (us.wind(40), metric.wind(40)) == ("25 mph", "40 km/h")
    assert (us.rain(25.4), metric.rain(0.5)) == ("1.00 in", "0.5 mm")
    assert us.clock(clock(ZONE, "2026-06-18 00:05")) == "12:05 AM"
    assert us.clock(clock(ZONE, "2026-06-19 12:00")) == "Fri 12 PM"
    assert metric.clock(clock(ZONE, "2026-07-19 12:00")) == "Jul 19 12:00"
    assert (plain(10.04), plain(-1.44)) == ("10", "-1.4")
    assert [span(timedelta(hours=h)) for h in (1, 30, 150)] == ["60 min", "30 h", "6 days"]
    with pytest.raises(ValueError, match="units"):
        Words(zone=ZoneInfo(ZONE), units="imperial", day=START.date())


def test_thresholds_are_the_branchs_own(fair):
    hours, slab = fair
    wet = replace(hours, rain_chance_pct=np.full(len(hours), 25.0))

    assert judged(wet, slab).level is Level.CARE
    assert judged(wet, slab, thresholds=Thresholds(rain_no_pct=20)).level is Level.NO
