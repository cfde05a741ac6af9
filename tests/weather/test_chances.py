"""Rain chances: the period they stand for, where the rain is, and stand-ins marked as such."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from weather.rules.chances import (
    chance_from_amount_pct,
    period_h,
    spells,
    with_derived_chances,
)
from weather.rules.hours import HOUR, Hours

START = datetime(2026, 3, 8, 6, tzinfo=UTC)


def hours(*, chance=(), amount=(), window=1.0):
    count = max(len(chance), len(amount))
    known = Hours.unknown(start=START, count=count)
    filled = {"chance_window_h": np.full(count, window)}
    if chance:
        filled["rain_chance_pct"] = np.array(chance, dtype=float)
    if amount:
        filled["rain_mm"] = np.array(amount, dtype=float)
    return replace(known, **filled)


def test_a_run_longer_than_the_official_period_stands_for_twelve_hours():
    # National Weather Service glossary, "PoP": a period of 12 hours, in places 6.
    assert period_h(np.array([1.0, 6.0, 37.0, np.nan])).tolist() == [1.0, 6.0, 12.0, 1.0]


def test_a_spell_is_narrowed_to_the_hours_that_get_the_rain():
    chance = [60.0] * 12
    amount = [0, 0, 0, 0, 0, 0, 0, 0, 0.5, 0.5, 0.5, 0]

    (spell,) = spells(hours(chance=chance, amount=amount, window=12.0))

    assert (spell.start, spell.end) == (START + 8 * HOUR, START + 11 * HOUR)
    assert (spell.chance_pct, spell.amount_mm, spell.window_h) == (60.0, 1.5, 12.0)


def test_without_amounts_a_spell_keeps_its_whole_period():
    (spell,) = spells(hours(chance=[60.0] * 6, window=6.0))

    assert (spell.start, spell.end) == (START, START + 6 * HOUR)
    assert np.isnan(spell.amount_mm)


def test_unknown_chances_make_no_spell_and_no_dry_one_either():
    assert spells(hours(chance=[float("nan")] * 3)) == []


def test_a_stand_in_is_marked_and_a_stated_chance_is_left_alone():
    given_hours = hours(chance=[80.0, np.nan, np.nan], amount=[0.0, 0.0, np.nan])

    filled = with_derived_chances(given_hours, issued_at=START)

    assert filled.rain_chance_pct[0] == 80.0
    assert filled.chance_derived.tolist() == [False, True, False]
    assert np.isnan(filled.rain_chance_pct[2])


@given(st.lists(st.floats(0, 40), min_size=1, max_size=48), st.floats(0, 240))
def test_a_stand_in_is_never_zero_and_never_certain(amounts, lead_h):
    rain_mm = np.array(amounts)

    chance = chance_from_amount_pct(rain_mm=rain_mm, lead_h=np.full(len(amounts), lead_h))

    assert ((chance >= 5) & (chance <= 85)).all()


def test_far_ahead_a_dry_amount_says_less():
    dry = np.zeros(1)

    near, far = (chance_from_amount_pct(rain_mm=dry, lead_h=np.array([h])) for h in (6.0, 216.0))

    assert near[0] < far[0] < 15
