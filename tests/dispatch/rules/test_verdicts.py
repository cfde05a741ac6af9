"""Garages, aprons and roofs: the slab and not the air is held against the dew point.

What is right on each day is common practice of floor coaters.
"""

from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dispatch.rules.verdicts import Level, Part, judge
from tests.dispatch.rules.days import (
    OHIO,
    evening_showers,
    garage_in_the_desert,
    garage_in_the_thaw,
    named,
    patio_after_rain,
    patio_before_showers,
    patio_in_the_monsoon,
    spring_thaw,
)
from tests.dispatch.rules.skies import planned
from tests.jobs.rules.floors import FAST, clock
from weather.rules.exposures import Exposure


def test_a_dry_warm_day_is_no_where_the_slab_is_below_the_dew_point():
    verdict = garage_in_the_thaw("2026-03-11 07:30")

    assert verdict.level is Level.NO
    found = named(verdict, "dew")
    assert found.level is Level.NO
    assert verdict.headline.startswith("Slab 8.5 °C is 5.6 °C below")
    assert found.value == pytest.approx(8.5 - 14.1)
    assert "Slab 8.5 °C is 5.6 °C below the dew point 14.1 °C" in found.sentence


def test_rain_plays_no_part_in_a_closed_garage():
    verdict = garage_in_the_thaw("2026-03-11 07:30")

    assert not any(check.name == "rain" for check in verdict.checks)


def test_two_days_later_the_same_garage_may_be_coated():
    verdict = garage_in_the_thaw("2026-03-13 07:30")

    assert verdict.level in {Level.GO, Level.CARE}
    assert named(verdict, "dew").value == pytest.approx(11.4)


def test_an_unknown_slab_is_never_go():
    verdict = garage_in_the_thaw("2026-03-13 07:30", slab=None)

    assert verdict.level is Level.UNKNOWN
    assert "not known" in verdict.headline


def test_a_weak_slab_is_judged_on_its_cold_side_and_asks_for_a_meter():
    _, held = spring_thaw()
    weak = replace(held, cold_c=held.mid_c - 3, weak=True)

    verdict = garage_in_the_thaw("2026-03-13 07:30", slab=weak)

    assert verdict.level is Level.CARE
    assert named(verdict, "dew").value == pytest.approx(8.4)
    assert any(way.startswith("Meter first") for way in verdict.ways_out)


def test_the_usual_start_is_no_on_a_slab_that_is_too_hot():
    verdict = garage_in_the_desert("2026-07-14 07:30", 2)

    assert verdict.level is Level.NO
    found = named(verdict, "slab")
    assert found.level is Level.NO
    assert "too hot" in found.sentence
    assert any("Start earlier" in way for way in verdict.ways_out)


def test_four_people_at_dawn_are_done_before_the_heat():
    verdict = garage_in_the_desert("2026-07-14 05:00", 4)

    assert verdict.level is Level.CARE
    assert any("smaller batches" in way for way in verdict.ways_out)
    assert "slab too hot" in verdict.binds


def test_wind_and_rain_after_the_top_do_not_matter_indoors():
    verdict = garage_in_the_desert("2026-07-14 05:00", 4)

    assert {check.name for check in verdict.reasons} <= {"slab"}


def test_an_apron_is_held_to_its_own_rule():
    hours, slab = evening_showers()
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
def test_a_roof_takes_the_sting_out_of_a_shower(chance_pct, gust_kmh, level):
    hours, slab = evening_showers()
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


def test_no_sentence_certifies_anything():
    verdicts = [
        patio_before_showers(),
        patio_after_rain("2026-04-16 07:00"),
        garage_in_the_thaw("2026-03-13 07:30"),
        garage_in_the_desert("2026-07-14 05:00", 4),
        patio_in_the_monsoon("2026-08-05 05:30"),
    ]

    for verdict in verdicts:
        said = [verdict.headline, *verdict.ways_out, *(c.sentence for c in verdict.checks)]
        for sentence in said:
            assert sentence.endswith(".")
            assert not any(
                word in sentence.lower().replace("rain-safe", "")
                for word in ("guarantee", "certif", "safe ", "is dry", "is cured")
            )
