"""Measures are judged again with them done, by what a careful office would decide: common practice.

Each day is built from the hours that somebody wrote down for it.
"""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from dispatch.rules.measures.instead import instead
from dispatch.rules.measures.ranking import ranked, smallest
from dispatch.rules.verdicts import Dryness, Level, PartDryness
from jobs.rules.plan import StageKind
from tests.dispatch.rules import days
from tests.dispatch.rules.floors_on_days import (
    garage_in_the_desert,
    measures,
    patio_in_the_monsoon,
    situation,
    times_at,
    washed_patio,
)
from tests.dispatch.rules.skies import Row, sky
from tests.jobs.rules.floors import EPOXY_BASE, FAST, clock
from weather.rules.exposures import Exposure

QUARTER = timedelta(minutes=15)


def test_four_people_set_up_quietly_grind_at_the_first_loud_hour_and_beat_the_heat():
    asked = garage_in_the_desert(spare_hands=2, spare_until=clock(days.ARIZONA, "2026-07-14 11:00"))

    found = measures(asked)["second_crew"]

    stages = {stage.kind: stage for stage in found.plan.visits[0].stages}
    assert stages[StageKind.SET_UP].start == clock(days.ARIZONA, "2026-07-14 05:00")
    assert stages[StageKind.GRIND].start == clock(days.ARIZONA, "2026-07-14 06:00")
    assert abs(found.plan.pour - clock(days.ARIZONA, "2026-07-14 07:16")) < QUARTER
    assert abs(found.plan.top_end - clock(days.ARIZONA, "2026-07-14 09:40")) < QUARTER
    assert found.level is Level.CARE
    assert "set up quietly, grind from 6 AM" in found.title


def test_nobody_grinds_before_the_noisy_hours_in_any_measure():
    asked = garage_in_the_desert(spare_hands=2)

    for measure in ranked(asked, asked.judged()):
        for visit in measure.plan.visits if measure.plan else ():
            loud = [
                stage.start.astimezone(asked.times.zone)
                for stage in visit.stages
                if stage.kind.noisy
            ]
            assert all(at.hour >= 6 for at in loud), measure.title


def test_hands_that_are_needed_elsewhere_too_soon_are_not_sent():
    asked = garage_in_the_desert(spare_hands=2, spare_until=clock(days.ARIZONA, "2026-07-14 09:00"))

    assert "second_crew" not in measures(asked)


def test_two_people_need_two_mornings_in_the_heat():
    found = measures(garage_in_the_desert())["two_mornings"]

    first, second = found.plan.visits
    assert abs(found.plan.pour - clock(days.ARIZONA, "2026-07-14 08:30")) < QUARTER
    assert found.plan.top_end <= clock(days.ARIZONA, "2026-07-15 08:30")
    assert second.start == clock(days.ARIZONA, "2026-07-15 06:00")
    assert first.end <= clock(days.ARIZONA, "2026-07-14 13:00")
    assert found.level is Level.CARE
    assert found.cost > 0


def test_a_warm_slab_asks_for_half_size_batches_with_their_time():
    asked = garage_in_the_desert("2026-07-14 05:00", crew_size=4)

    found = measures(asked)["batches"]

    assert found.level is Level.CARE
    assert found.minutes == 30
    assert "half-size" in found.title
    assert "min on a slab of" in found.limits


def test_a_car_waits_a_day_after_the_top_even_in_the_heat():
    outcome = garage_in_the_desert("2026-07-14 05:00", crew_size=4).judged()

    assert outcome.plan.drive_on >= outcome.plan.top_end + timedelta(hours=24)


def test_a_cover_does_not_help_where_gusts_tear_it_off():
    found = measures(patio_in_the_monsoon())["canopy"]

    assert found.level is Level.NO
    assert "canopy does not stand gusts" in " ".join(
        check.sentence
        for check in patio_in_the_monsoon(covers=frozenset({"canopy"})).judged().verdict.checks
    )


def test_the_patio_waits_for_the_first_dawn_two_days_after_the_storm():
    found = measures(patio_in_the_monsoon())["move"]

    ground, coated = found.plan.visits
    assert ground.start.astimezone(patio_in_the_monsoon().times.zone).day == 7
    assert abs(coated.start - clock(days.ARIZONA, "2026-08-08 05:15")) <= QUARTER
    assert found.plan.slab_at_pour_c == 28
    assert abs(found.plan.top_end - clock(days.ARIZONA, "2026-08-08 08:20")) <= 2 * QUARTER
    assert found.plan.slab_at_top_c <= FAST.slab_max_c
    assert found.level is Level.CARE
    assert found.title.startswith("Move to Sat Aug 8")


def test_nothing_makes_the_storm_day_itself_possible():
    asked = patio_in_the_monsoon()

    assert smallest(ranked(asked, asked.judged())) == ()


@pytest.mark.parametrize("start", ["2026-04-14 08:00", "2026-04-15 08:00"])
def test_a_wet_patio_moves_to_the_first_day_that_is_dry_in_one_line(start):
    found = measures(washed_patio(start))["move"]

    assert found.level is Level.GO
    assert found.title == "Move to Thu Apr 16, start at 7 AM."
    assert abs(found.plan.pour - clock(days.CAROLINA, "2026-04-16 09:39")) < QUARTER
    assert abs(found.plan.rain_safe - clock(days.CAROLINA, "2026-04-16 18:57")) < QUARTER
    assert found.sentence.count(".") == found.sentence.count(". ") + 1


def test_the_afternoon_two_days_early_is_care_and_metered_on_the_half_that_dried_last():
    found = measures(washed_patio("2026-04-15 08:00"))["start"]
    outcome = found.plan

    assert found.level is Level.CARE
    assert outcome.pour >= clock(days.CAROLINA, "2026-04-15 15:00")
    assert "meter it first" in found.because
    afternoon = measures(washed_patio("2026-04-15 12:30"))["meter"]
    assert afternoon.title.startswith("Meter first on the shaded half")


def test_a_garage_that_sweats_moves_to_the_dry_cold_day():
    asked = situation(
        440,
        "2026-03-11 07:30",
        days.spring_thaw(),
        days.MISSOURI,
        Exposure.GARAGE,
        now="2026-03-10 17:00",
        other_days=(date(2026, 3, 12), date(2026, 3, 13)),
    )

    found = measures(asked)["move"]

    assert found.level in {Level.GO, Level.CARE}
    assert found.title.startswith("Move to Fri Mar 13")


def fair_day(**row):
    given = {"chance_pct": 5, "gust_kmh": 10, "slab_c": 22} | row
    rows = {"2026-06-07 00:00": Row(22, 50, 11, **given)}
    return sky(days.OHIO, rows, issued="2026-06-09 16:00", until="2026-06-14 00:00")


def test_a_canopy_within_its_gusts_turns_a_shower_into_care():
    asked = situation(
        200,
        "2026-06-10 07:30",
        fair_day(chance_pct=45),
        days.OHIO,
        Exposure.OPEN,
        now="2026-06-09 18:00",
    )

    found = measures(asked)["canopy"]

    assert asked.judged().verdict.level is Level.NO
    assert found.level in {Level.CARE, Level.NO}
    assert found.minutes > 0


def test_a_curtain_keeps_driven_rain_off_a_porch():
    asked = situation(
        200,
        "2026-06-10 07:30",
        fair_day(chance_pct=70, gust_kmh=30),
        days.OHIO,
        Exposure.PORCH,
        now="2026-06-09 18:00",
    )

    found = measures(asked)["curtain"]

    assert asked.judged().verdict.level is Level.NO
    assert found.level is Level.GO
    assert "25 mph" in found.limits


def test_nothing_is_looked_for_where_nothing_is_wrong_but_how_to_lose_only_a_trip():
    asked = situation(
        200, "2026-06-10 07:30", fair_day(), days.OHIO, Exposure.GARAGE, now="2026-06-09 18:00"
    )

    assert set(measures(asked)) == {"prepare"}
    assert measures(asked)["prepare"].level is None


def test_measures_lie_best_first_and_what_does_not_help_comes_last():
    asked = garage_in_the_desert(spare_hands=2)

    found = ranked(asked, asked.judged())

    helps = [each.helps for each in found]
    assert helps == sorted(helps, reverse=True)
    assert found[-1].level in {Level.NO, Level.UNKNOWN}
    least = smallest(found)
    assert [each.cost for each in least] == sorted(each.cost for each in least)


class Heated:
    """A cold slab that warms by two degrees for every twelve hours of heat, and no more."""

    def __init__(self, slab):
        self.slab = slab

    def __call__(self, exposure, *, door_open, heaters):
        warmer = sum((each.end - each.start) / timedelta(hours=12) for each in heaters)
        mid = self.slab.mid_c + min(8.0, 2 * warmer)
        return replace(self.slab, mid_c=mid, cold_c=mid, warm_c=mid)


def test_vented_heat_is_brought_and_fetched_as_stints_of_their_own():
    hours, slab = fair_day(slab_c=6)
    hours = replace(hours, dew_c=np.full(len(hours), -4.0))
    asked = situation(
        400,
        "2026-06-10 07:30",
        (hours, slab),
        days.OHIO,
        Exposure.GARAGE,
        now="2026-06-09 18:00",
        slabs=Heated(slab),
        heatable=True,
        times=times_at(days.OHIO),
    )

    found = measures(asked)

    assert found["heat"].helps
    bring, fetch = found["heat"].extras
    assert bring.at < found["heat"].plan.pour < found["heat"].plan.top_end < fetch.at
    assert bring.minutes > 0
    assert "grains of water" in found["unvented"].limits


def test_an_unvented_heater_takes_the_spread_away_that_its_heat_gives():
    hours, slab = fair_day(slab_c=12)
    asked = situation(
        400,
        "2026-06-10 07:30",
        (hours, slab),
        days.OHIO,
        Exposure.GARAGE,
        now="2026-06-09 18:00",
        slabs=Heated(slab),
        heatable=True,
    )

    found = measures(asked)

    assert asked.judged().verdict.level is Level.NO
    assert found["heat"].helps
    assert not found["unvented"].helps


def test_a_slab_too_cold_to_be_laid_out_at_all_may_be_heated():
    hours, slab = fair_day(slab_c=3)
    hours = replace(hours, dew_c=np.full(len(hours), -4.0))
    asked = situation(
        400,
        "2026-06-10 07:30",
        (hours, slab),
        days.OHIO,
        Exposure.GARAGE,
        now="2026-06-09 18:00",
        slabs=Heated(slab),
        heatable=True,
    )

    found = ranked(asked, None)

    assert found[0].kind == "heat"
    assert found[0].helps


def pool_deck(start="2026-05-04 07:30"):
    """600 sq ft in two days, the second of which is wet until 4 PM."""
    rows = {
        "2026-05-01 00:00": Row(24, 60, 17, 5, 0, 8, 25),
        "2026-05-05 06:00": Row(23, 90, 17, 90, 1.7, 8, 24),
        "2026-05-05 13:00": Row(24, 60, 17, 8, 0, 8, 25),
    }
    zone = "America/New_York"
    return situation(
        600,
        start,
        sky(zone, rows, issued="2026-05-03 16:00", until="2026-05-14 00:00"),
        zone,
        Exposure.POOL_DECK,
        now="2026-05-03 18:00",
        card=EPOXY_BASE,
        dryness=Dryness((PartDryness(),)),
        other_days=(date(2026, 5, 6), date(2026, 5, 7)),
    )


def test_a_pair_of_days_is_refused_for_the_second_and_tells_its_deadline_by_the_clock():
    verdict = pool_deck().judged().verdict

    assert verdict.level is Level.NO
    deadline = days.named(verdict, "recoat")
    assert abs(deadline.at - clock("America/New_York", "2026-05-05 13:00")) < QUARTER
    assert "must by Tue" in deadline.sentence


def test_the_base_may_be_laid_and_the_top_come_a_day_later_abraded():
    found = measures(pool_deck())["later_top"]

    assert found.level in {Level.GO, Level.CARE}
    assert "abrade first, 1.8 h" in found.title
    # 1.8 h of two people.
    assert found.minutes == 216
    top = found.plan.visits[1]
    assert top.start.date() == date(2026, 5, 6)
    assert found.plan.abraded


def test_or_both_days_move_to_the_first_pair_that_is_dry():
    found = measures(pool_deck())["move"]

    assert found.plan.visits[0].start.date() == date(2026, 5, 7)
    assert not found.plan.abraded


def test_the_day_after_the_rain_is_no_first_day():
    verdict = pool_deck("2026-05-06 07:30").judged().verdict

    assert days.named(verdict, "dryness").level is Level.NO


def test_only_floors_that_can_be_coated_take_a_refused_day():
    refused = patio_in_the_monsoon()
    dawn = garage_in_the_desert("2026-07-14 05:00", crew_size=4)
    late = garage_in_the_desert("2026-07-14 10:00")

    found = instead([(1, refused), (2, dawn), (3, late)])

    assert [each.key for each in found] == [2]
