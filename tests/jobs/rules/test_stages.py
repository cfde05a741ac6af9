"""Stages on the clock: known days worked through by hand on two planning cards.

The planning cards and rates are those of `floors.py`: times by steps of slab temperature,
labour by the 100 sq ft. What each day comes to was worked out on paper from those figures.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from jobs.rules.catalogue import METHACRYLATE, MOISTURE_CURE, ONE_DAY
from jobs.rules.plan import Plan, StageKind, Work
from jobs.rules.refusals import CannotPlan, NeedsTwo, TooCold, Unknown
from jobs.rules.stages import (
    LateHands,
    elapsed_h,
    hands_on_h,
    lay_out,
    pour_to_rain_safe_h,
    prepare_h,
)
from tests.jobs.rules.floors import (
    EPOXY_BASE,
    FAST,
    PLANNING_RATES,
    clock,
    floor_of,
    slab_from,
    slab_of,
    steady,
)
from weather.rules.hours import SlabHours

MINUTE = timedelta(minutes=1)


def planned(
    work: Work, start: datetime, slab: SlabHours, *, crew_size: int = 2, **more: object
) -> Plan:
    """A plan on the fast planning card."""
    asked = {"card": FAST, "rates": PLANNING_RATES, **more}
    return lay_out(work=work, crew_size=crew_size, start=start, slab=slab, **asked)


def at(instant: datetime | None, zone_text: datetime) -> bool:
    """Both name the same minute, rounded to the nearest."""
    assert instant is not None
    return abs(instant - zone_text) <= 0.51 * MINUTE


class TestAPatioInOhio:
    ZONE = "America/New_York"

    @pytest.fixture
    def plan(self) -> Plan:
        day = "2026-06-18 "
        rows = {6: 18, 9: 23, 10: 25, 12: 29, 15: 31, 18: 28, 21: 24}
        slab = slab_from(
            {clock(self.ZONE, f"{day}{hour:02}:00"): float(c) for hour, c in rows.items()}
        )
        return planned(floor_of(380), clock(self.ZONE, day + "07:00"), slab)

    def test_the_wet_window_runs_from_pour_to_rain_safe(self, plan):
        assert at(plan.pour, clock(self.ZONE, "2026-06-18 10:05"))
        assert at(plan.top_end, clock(self.ZONE, "2026-06-18 13:22"))
        assert at(plan.end, clock(self.ZONE, "2026-06-18 13:52"))
        assert at(plan.rain_safe, clock(self.ZONE, "2026-06-18 17:22"))

    def test_the_latest_pour_before_rain_at_six(self, plan):
        risk = clock(self.ZONE, "2026-06-18 18:00")

        latest = risk - timedelta(hours=pour_to_rain_safe_h(plan))

        assert at(latest, clock(self.ZONE, "2026-06-18 10:43"))

    def test_walk_on_comes_the_same_evening(self, plan):
        assert at(plan.walk_on, clock(self.ZONE, "2026-06-18 21:22"))

    def test_stages_follow_one_another_without_a_gap(self, plan):
        stages = plan.visits[0].stages

        assert [stage.kind for stage in stages] == [
            StageKind.SET_UP,
            StageKind.MASK,
            StageKind.GRIND,
            StageKind.BASE,
            StageKind.SET,
            StageKind.SCRAPE,
            StageKind.TOP,
            StageKind.PACK,
        ]
        assert all(a.end == b.start for a, b in pairwise(stages))
        assert [stage.hands for stage in stages if stage.kind.wait] == [0]


class TestAPatioInRaleigh:
    ZONE = "America/New_York"
    SLAB = {
        "2026-04-15 06:00": 12.0,
        "2026-04-15 12:00": 20.0,
        "2026-04-15 18:00": 19.0,
        "2026-04-16 06:00": 13.0,
        "2026-04-16 09:00": 20.0,
        "2026-04-16 12:00": 22.0,
        "2026-04-16 20:00": 18.0,
    }

    @pytest.fixture
    def slab(self) -> SlabHours:
        return slab_from({clock(self.ZONE, text): c for text, c in self.SLAB.items()})

    def test_thursday_from_seven(self, slab):
        plan = planned(floor_of(300), clock(self.ZONE, "2026-04-16 07:00"), slab)

        assert at(plan.pour, clock(self.ZONE, "2026-04-16 09:39"))
        assert at(plan.rain_safe, clock(self.ZONE, "2026-04-16 18:57"))
        latest = clock(self.ZONE, "2026-04-16 20:00") - timedelta(hours=pour_to_rain_safe_h(plan))
        assert at(latest, clock(self.ZONE, "2026-04-16 10:42"))

    def test_wednesday_with_a_pour_at_three_is_tacky_until_after_midnight(self, slab):
        prepare = timedelta(hours=prepare_h(work=floor_of(300), rates=PLANNING_RATES, crew_size=2))
        start = clock(self.ZONE, "2026-04-15 15:00") - prepare

        plan = planned(floor_of(300), start, slab)

        assert at(plan.pour, clock(self.ZONE, "2026-04-15 15:00"))
        assert at(plan.end, clock(self.ZONE, "2026-04-15 18:48"))
        assert at(plan.tack_free, clock(self.ZONE, "2026-04-16 00:18"))


def test_a_cold_garage_in_kansas_takes_until_half_past_four():
    zone = "America/Chicago"
    start = clock(zone, "2026-03-13 07:30")
    slab = slab_of(start, [10] * 5 + [11] * 100)

    plan = planned(floor_of(440), start, slab)

    assert at(plan.pour, clock(zone, "2026-03-13 10:55"))
    assert abs(plan.top_end - clock(zone, "2026-03-13 16:34")) <= MINUTE


class TestASmallPorchInNashville:
    ZONE = "America/Chicago"
    PORCH = floor_of(90, steps=2)

    @pytest.fixture
    def plan(self) -> Plan:
        start = clock(self.ZONE, "2026-05-22 12:15")
        return planned(self.PORCH, start, steady(start, 22))

    def test_it_takes_six_hours_and_not_a_share_of_a_big_floor(self, plan):
        assert elapsed_h(plan) == pytest.approx(6.0)
        assert at(plan.pour, clock(self.ZONE, "2026-05-22 14:45"))
        assert at(plan.top_end, clock(self.ZONE, "2026-05-22 17:45"))
        assert at(plan.end, clock(self.ZONE, "2026-05-22 18:15"))

    def test_the_idle_wait_is_apart_from_the_hands_on_hours(self, plan):
        hands = hands_on_h(work=self.PORCH, card=FAST, rates=PLANNING_RATES, crew_size=2)

        assert elapsed_h(plan) - hands == pytest.approx(1.5)

    def test_the_door_is_out_of_use_until_early_next_morning(self, plan):
        assert at(plan.walk_on, clock(self.ZONE, "2026-05-23 05:45"))


class TestABigShopInBoise:
    START = clock("America/Boise", "2026-09-15 07:00")
    SHOP = floor_of(3000)

    def test_four_people_take_twenty_and_three_quarter_hours_in_sequence(self):
        plan = planned(self.SHOP, self.START, steady(self.START, 17), crew_size=4)

        assert elapsed_h(plan) == pytest.approx(20.75)

    def test_one_crew_takes_thirty_eight_hours(self):
        plan = planned(self.SHOP, self.START, steady(self.START, 17))

        assert elapsed_h(plan) == pytest.approx(38.0)

    def test_four_people_prepare_the_floor_in_one_day(self):
        hours = prepare_h(work=self.SHOP, rates=PLANNING_RATES, crew_size=4)

        assert hours == pytest.approx(9.25)

    def test_cars_stay_off_for_two_days_after_the_top(self):
        plan = planned(
            self.SHOP,
            self.START,
            steady(self.START, 17),
            crew_size=4,
            second_start=clock("America/Boise", "2026-09-16 07:00"),
            split_after=StageKind.VERTICALS,
        )

        # Wednesday evening and 48 hours make Friday evening.
        assert plan.drive_on == plan.top_end + timedelta(hours=48)
        assert plan.drive_on > clock("America/Boise", "2026-09-18 17:00")


class TestAGarageInPhoenix:
    ZONE = "America/Phoenix"
    GARAGE = floor_of(460)

    @pytest.fixture
    def slab(self) -> SlabHours:
        rows = {5: 31, 8: 31.5, 10: 32.5, 11: 33, 13: 35}
        return slab_from({clock(self.ZONE, f"2026-07-14 {h:02}:00"): c for h, c in rows.items()})

    def test_four_people_from_five_pour_at_a_quarter_past_seven(self, slab):
        plan = planned(self.GARAGE, clock(self.ZONE, "2026-07-14 05:00"), slab, crew_size=4)

        assert at(plan.pour, clock(self.ZONE, "2026-07-14 07:16"))
        assert at(plan.top_end, clock(self.ZONE, "2026-07-14 09:39"))
        assert plan.slab_at_pour_c == 31

    def test_nothing_noisy_happens_before_six(self, slab):
        plan = planned(self.GARAGE, clock(self.ZONE, "2026-07-14 05:00"), slab, crew_size=4)

        noisy = [stage.start for stage in plan.visits[0].stages if stage.kind.noisy]
        assert min(noisy) >= clock(self.ZONE, "2026-07-14 06:00")

    def test_the_usual_start_pours_on_a_slab_past_the_limit(self, slab):
        plan = planned(self.GARAGE, clock(self.ZONE, "2026-07-14 07:30"), slab)

        assert at(plan.pour, clock(self.ZONE, "2026-07-14 11:02"))
        assert plan.slab_at_pour_c == 33
        assert plan.slab_at_pour_c > FAST.slab_max_c

    def test_two_mornings_base_on_the_first_and_top_on_the_second(self, slab):
        plan = planned(
            self.GARAGE,
            clock(self.ZONE, "2026-07-14 05:00"),
            slab,
            second_start=clock(self.ZONE, "2026-07-15 05:30"),
        )

        assert at(plan.pour, clock(self.ZONE, "2026-07-14 08:32"))
        assert plan.top_end < clock(self.ZONE, "2026-07-15 08:30")
        assert not plan.abraded
        assert [stage.kind for stage in plan.visits[0].stages][-2:] == [
            StageKind.BASE,
            StageKind.PACK,
        ]

    def test_no_car_for_a_day_after_the_top(self, slab):
        plan = planned(self.GARAGE, clock(self.ZONE, "2026-07-14 05:00"), slab, crew_size=4)

        assert plan.drive_on == plan.top_end + timedelta(hours=24)


class TestAColdNightInSpokane:
    ZONE = "America/Los_Angeles"
    AIR = {
        "2026-10-15 07:00": 15.0,
        "2026-10-15 15:00": 13.0,
        "2026-10-15 21:00": 6.0,
        "2026-10-16 06:00": 2.0,
        "2026-10-16 15:00": 11.0,
        "2026-10-17 06:00": 1.0,
    }

    def plan(self, *, kept_above_c: float = -50.0) -> Plan:
        start = clock(self.ZONE, "2026-10-15 07:00")
        air = {clock(self.ZONE, text): max(kept_above_c, c) for text, c in self.AIR.items()}
        return planned(floor_of(430), start, steady(start, 15), cold_slab=slab_from(air))

    def test_the_top_is_finished_three_minutes_before_three(self):
        assert at(self.plan().top_end, clock(self.ZONE, "2026-10-15 14:57"))

    def test_a_cold_night_makes_drive_on_sunday(self):
        plan = self.plan()

        assert at(plan.drive_on, clock(self.ZONE, "2026-10-18 14:57"))
        assert plan.drive_on_slab_c < 10
        assert "72 hours" in plan.drive_on_basis

    def test_a_heated_garage_makes_it_saturday_and_never_friday(self):
        assert at(self.plan(kept_above_c=10).drive_on, clock(self.ZONE, "2026-10-17 14:57"))


class TestTwoDays:
    START = clock("America/New_York", "2026-05-04 07:30")
    DECK = floor_of(600)

    def plan(self, second: str | None = None) -> Plan:
        return planned(
            self.DECK,
            self.START,
            steady(self.START, 24),
            card=EPOXY_BASE,
            second_start=clock("America/New_York", second) if second else None,
        )

    def test_the_recoat_window_is_two_clock_times(self):
        plan = self.plan()

        assert at(plan.base_end, clock("America/New_York", "2026-05-04 13:00"))
        assert at(plan.recoat_from, clock("America/New_York", "2026-05-04 23:00"))
        assert at(plan.recoat_until, clock("America/New_York", "2026-05-05 13:00"))
        assert at(plan.base_rain_safe, clock("America/New_York", "2026-05-04 21:00"))

    def test_without_a_second_start_the_crew_returns_a_day_later(self):
        plan = self.plan()

        assert len(plan.visits) == 2
        assert plan.visits[1].start == self.START + timedelta(hours=24)

    def test_past_the_window_the_base_is_abraded(self):
        in_time, late = self.plan("2026-05-05 07:30"), self.plan("2026-05-06 07:30")

        assert not in_time.abraded
        assert late.abraded
        assert elapsed_h(late) - elapsed_h(in_time) == pytest.approx(1.8)

    def test_a_base_that_is_not_ready_makes_the_second_visit_wait(self):
        plan = self.plan("2026-05-04 22:00")

        first = plan.visits[1].stages[0]
        assert (first.kind, first.hands) == (StageKind.SET, 0)
        assert first.end == plan.recoat_from

    def test_nobody_comes_back_before_having_left(self):
        with pytest.raises(CannotPlan, match="before the first one has ended"):
            self.plan("2026-05-04 12:00")

    def test_a_system_of_two_days_is_not_split_again(self):
        with pytest.raises(CannotPlan, match="two days"):
            planned(
                self.DECK,
                self.START,
                steady(self.START, 24),
                card=EPOXY_BASE,
                split_after=StageKind.VERTICALS,
            )


def test_a_split_after_preparing_coats_on_the_second_visit():
    zone = "America/Phoenix"
    friday = clock(zone, "2026-08-07 17:00")

    plan = planned(
        floor_of(350),
        friday,
        steady(friday, 28),
        second_start=clock(zone, "2026-08-08 05:15"),
        split_after=StageKind.VERTICALS,
    )

    assert at(plan.pour, clock(zone, "2026-08-08 05:15"))
    assert abs(plan.top_end - clock(zone, "2026-08-08 08:20")) <= 2 * MINUTE
    assert abs(plan.rain_safe - clock(zone, "2026-08-08 12:20")) <= 2 * MINUTE
    assert plan.base_rain_safe is None


class TestAHelperWhoComesLater:
    ZONE = "America/Chicago"

    def plan(self, joined: str) -> Plan:
        start = clock(self.ZONE, "2026-05-06 07:00")
        late = LateHands(clock(self.ZONE, f"2026-05-06 {joined}"))
        return planned(floor_of(440), start, steady(start, 20), late=late)

    def test_one_person_grinds_at_half_speed_until_ten(self):
        plan = self.plan("10:00")

        assert at(plan.pour, clock(self.ZONE, "2026-05-06 11:25"))
        grinding = [s for s in plan.visits[0].stages if s.kind is StageKind.GRIND]
        assert [stage.hands for stage in grinding] == [1, 2]

    def test_the_base_waits_for_the_second_person(self):
        plan = self.plan("15:00")

        assert at(plan.pour, clock(self.ZONE, "2026-05-06 15:00"))
        assert next(s for s in plan.visits[0].stages if s.kind.wait).end == plan.pour


class TestRefusals:
    START = datetime(2026, 5, 4, 12, tzinfo=UTC)
    FLOOR = floor_of(450)

    def test_nobody_lays_resin_alone(self):
        with pytest.raises(NeedsTwo):
            planned(self.FLOOR, self.START, steady(self.START, 20), crew_size=1)

    def test_one_person_may_prepare_at_half_the_speed(self):
        alone = prepare_h(work=self.FLOOR, rates=PLANNING_RATES, crew_size=1)
        both = prepare_h(work=self.FLOOR, rates=PLANNING_RATES, crew_size=2)

        assert alone - 1.0 == pytest.approx(2 * (both - 1.0))

    def test_an_unknown_slab_at_the_pour_is_refused(self):
        gap = np.full(100, 20.0)
        gap[3] = np.nan

        with pytest.raises(Unknown, match="base goes down"):
            planned(self.FLOOR, self.START, slab_of(self.START, gap))

    def test_an_unknown_hour_in_the_wait_is_refused_on_a_curve(self):
        gap = np.full(100, 20.0)
        gap[5] = np.nan  # the base of this floor sets from 16:45 to 18:15

        with pytest.raises(Unknown, match="does not set"):
            planned(self.FLOOR, self.START, slab_of(self.START, gap), card=ONE_DAY)

    def test_a_slab_colder_than_the_card_is_refused(self):
        with pytest.raises(TooCold, match="no time below 5 °C"):
            planned(self.FLOOR, self.START, steady(self.START, 4))

    def test_a_forecast_that_ends_leaves_the_promises_open(self):
        plan = planned(self.FLOOR, self.START, steady(self.START, 20, hours=12), card=ONE_DAY)

        assert plan.rain_safe is None or plan.rain_safe <= self.START + timedelta(hours=12)
        assert plan.drive_on is None
        assert "end before the coat is hard" in plan.drive_on_basis


class TestPromises:
    START = datetime(2026, 5, 4, 12, tzinfo=UTC)
    FLOOR = floor_of(450)

    def test_a_hot_slab_never_beats_the_data_sheet(self):
        plan = planned(self.FLOOR, self.START, steady(self.START, 31), card=ONE_DAY)

        assert plan.drive_on == plan.top_end + timedelta(hours=24)

    def test_a_cool_slab_takes_longer_than_the_data_sheet(self):
        plan = planned(self.FLOOR, self.START, steady(self.START, 12), card=ONE_DAY)

        assert plan.drive_on > plan.top_end + timedelta(hours=48)
        assert "12 °C (54 °F)" in plan.drive_on_basis

    def test_the_cold_side_bounds_walk_on_and_drive_on_alone(self):
        slab, cold = steady(self.START, 20), steady(self.START, 12)

        warm = planned(self.FLOOR, self.START, slab, card=ONE_DAY)
        careful = planned(self.FLOOR, self.START, slab, card=ONE_DAY, cold_slab=cold)

        assert careful.rain_safe == warm.rain_safe
        assert careful.walk_on > warm.walk_on
        assert careful.drive_on > warm.drive_on

    def test_no_date_on_a_slab_colder_than_the_card_promises_for(self):
        card = replace(ONE_DAY, drive_on_min_c=14)

        plan = planned(self.FLOOR, self.START, steady(self.START, 12), card=card)

        assert plan.drive_on is None
        assert "no date under 14 °C" in plan.drive_on_basis

    def test_a_step_card_gives_no_date_below_its_rows(self):
        slab, cold = steady(self.START, 8), steady(self.START, -15)

        plan = planned(self.FLOOR, self.START, slab, cold_slab=cold)

        assert plan.drive_on is None
        assert "too cold for the card" in plan.drive_on_basis

    def test_a_fast_system_needs_no_whole_day_of_forecast(self):
        plan = planned(self.FLOOR, self.START, steady(self.START, 5, hours=14), card=METHACRYLATE)

        assert plan.drive_on == plan.top_end + timedelta(hours=4)

    def test_a_floor_without_flake_is_not_scraped(self):
        plan = planned(self.FLOOR, self.START, steady(self.START, 20), card=MOISTURE_CURE)

        kinds = {stage.kind for visit in plan.visits for stage in visit.stages}
        assert StageKind.SCRAPE not in kinds

    def test_dry_air_stalls_a_coat_that_cures_on_moisture(self):
        slab = steady(self.START, 20)
        damp, dry = np.full(len(slab), 60.0), np.full(len(slab), 60.0)
        dry[8:20] = 30.0

        usual = planned(self.FLOOR, self.START, slab, card=MOISTURE_CURE, grains=damp)
        stalled = planned(self.FLOOR, self.START, slab, card=MOISTURE_CURE, grains=dry)

        assert stalled.recoat_from > usual.recoat_from + timedelta(hours=10)
