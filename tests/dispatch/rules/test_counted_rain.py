"""Rain asked of the members of an ensemble: one question for the whole time, never a product."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from dispatch.rules.verdicts import Level
from tests.dispatch.rules.fair import START, fair_sky, judged, slab_to_plan
from tests.dispatch.rules.skies import planned
from weather.rules.hours import HOUR

MEMBERS = 30
PLAN = planned(380, START, slab_to_plan(fair_sky()[1]))


@pytest.fixture(name="fair")
def _fair():
    return fair_sky()


def rain_of(verdict):
    return next(check for check in verdict.checks if check.name == "rain")


def with_members(hours, wet_hours, *, written_pct=0.0):
    """`hours` with 30 members; in `wet_hours` these (count, hours after the pour) have 1 mm."""
    rain, first, given = np.zeros((MEMBERS, len(hours))), hours.index(PLAN.pour), 0
    for count, after in wet_hours:
        rain[given : given + count, first + after] = 1.0
        given += count
    written = np.full(len(hours), written_pct)
    return replace(hours, rain_chance_pct=written, members_mm=rain)


# A share of the 30 stories, against the lines of 15 and 30 %: both sides of each.
@pytest.mark.parametrize(
    ("wet", "level"), [(4, Level.GO), (5, Level.CARE), (8, Level.CARE), (9, Level.NO)]
)
def test_the_share_of_members_is_held_against_the_lines(fair, wet, level):
    hours, slab = fair

    rain = rain_of(judged(with_members(hours, [(wet, 1)]), slab))

    assert rain.level is level
    assert rain.value == pytest.approx(100 * wet / MEMBERS)
    assert "counted over the members of an ensemble" in rain.sentence


def test_showers_of_different_members_add_up_and_are_not_multiplied(fair):
    """Five stories with rain in one hour and five others in the next: ten of thirty."""
    hours, slab = fair

    rain = rain_of(judged(with_members(hours, [(5, 1), (5, 2)]), slab))

    assert rain.level is Level.NO
    assert rain.value == pytest.approx(100 * 10 / 30)


def test_the_same_members_wet_for_hours_are_one_story_each(fair):
    hours, slab = fair
    wet = with_members(hours, [])
    first = wet.index(PLAN.pour) + 1
    wet.members_mm[:4, first : first + 3] = 1.0  # independent hours would make 35 %

    rain = rain_of(judged(wet, slab))

    assert rain.value == pytest.approx(100 * 4 / 30)


def test_what_is_written_for_a_longer_period_does_not_hide_what_members_say(fair):
    """Rain after the floor is rain-safe is nothing to it, whatever the six hours' chance says."""
    hours, slab = fair

    rain = rain_of(judged(with_members(hours, [], written_pct=60.0), slab))

    assert rain.level is Level.GO
    assert rain.value == 0


def test_rain_right_after_the_window_is_near_enough_to_refuse(fair):
    hours, slab = fair
    after = hours.index(PLAN.rain_safe + timedelta(minutes=30)) - hours.index(PLAN.pour)
    calm, stormy = (with_members(hours, [(5, 1), (count, after)]) for count in (0, 20))

    levels = [rain_of(judged(each, slab)).level for each in (calm, stormy)]

    assert levels == [Level.CARE, Level.NO]


def test_members_that_end_too_early_leave_it_to_what_was_written(fair):
    hours, slab = fair
    short = with_members(hours, [], written_pct=40.0)
    short.members_mm[:, hours.index(PLAN.pour + HOUR) :] = np.nan

    rain = rain_of(judged(short, slab))

    assert rain.level is Level.NO
    assert rain.value == 40
