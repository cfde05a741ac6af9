"""A chance put inside its period: what must hold of it for any forecast."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.weather import replies
from weather.models import hours_of, layers_of
from weather.providers import metno, nws
from weather.rules.hours import HOUR, Hours
from weather.rules.placing import UNSAID_PCT, chance_period, lowered, periods, placed

START = datetime(2026, 6, 18, 0, tzinfo=UTC)
NAN = float("nan")
CHANCES = st.one_of(st.just(NAN), st.integers(0, 20).map(lambda n: 5.0 * n))


def sky(chance, *, amount, window):
    nothing = Hours.unknown(start=START, count=len(chance))
    return replace(
        nothing,
        rain_chance_pct=np.array(chance, dtype=float),
        rain_mm=np.array(amount, dtype=float),
        chance_window_h=np.array(window, dtype=float),
    )


@st.composite
def skies(draw):
    """Some periods of 1, 6 or 12 hours in a row, with any amounts and any words."""
    chance, window = [], []
    for _ in range(draw(st.integers(1, 5))):
        length, value = draw(st.sampled_from([1, 6, 12])), draw(CHANCES)
        chance += [value] * length
        window += [length] * length
    count = len(chance)
    row = {"min_size": count, "max_size": count}
    amount = draw(st.lists(st.sampled_from([NAN, 0.0, 0.0, 0.4]), **row))
    words = draw(st.lists(st.sampled_from([NAN, 0.0, 0.0, 1.0]), **row))
    return sky(chance, amount=amount, window=window), np.array(words)


@given(skies())
def test_only_hours_that_are_dry_by_amount_and_word_are_lowered_and_never_to_nothing(given_sky):
    hours, words = given_sky

    after = placed(hours, says_wet=words)

    changed = lowered(after)
    assert (hours.rain_mm[changed] == 0).all()
    assert (words[changed] == 0).all()
    assert (after.rain_chance_pct[changed] == UNSAID_PCT).all()
    same = ~changed
    assert np.array_equal(after.rain_chance_pct[same], hours.rain_chance_pct[same], equal_nan=True)
    assert np.array_equal(after.written_pct, hours.rain_chance_pct, equal_nan=True)


@given(skies())
def test_the_highest_chance_of_every_period_stays_the_one_written(given_sky):
    hours, words = given_sky

    after = placed(hours, says_wet=words)

    for first, last in periods(hours):
        written = hours.rain_chance_pct[first]
        assert after.rain_chance_pct[first:last].max() == written


@given(skies())
def test_placing_twice_changes_nothing_more(given_sky):
    hours, words = given_sky

    once = placed(hours, says_wet=words)
    twice = placed(replace(once, rain_chance_pct=once.written_pct), says_wet=words)

    assert np.array_equal(once.rain_chance_pct, twice.rain_chance_pct, equal_nan=True)


@given(skies(), st.integers(0, 60))
def test_cutting_the_series_afterwards_changes_nothing(given_sky, cut):
    hours, words = given_sky
    after = placed(hours, says_wet=words)
    middle = START + min(cut, len(hours)) * HOUR

    whole = Hours.unknown(start=START, count=len(hours))
    joined = whole.over(after.between(START, middle)).over(after.between(middle, after.end))

    assert np.array_equal(joined.rain_chance_pct, after.rain_chance_pct, equal_nan=True)
    assert np.array_equal(joined.written_pct, after.written_pct, equal_nan=True)


@given(skies())
def test_a_period_written_in_two_halves_is_never_rosier(given_sky):
    """Each half may be an event of its own, so a half without a wet hour keeps its chance."""
    hours, words = given_sky
    window = hours.chance_window_h
    halves = replace(hours, chance_window_h=np.where(window > 1, window / 2, window))

    whole, split = (placed(each, says_wet=words) for each in (hours, halves))

    known = ~np.isnan(hours.rain_chance_pct)
    assert (split.rain_chance_pct[known] >= whole.rain_chance_pct[known]).all()


@pytest.mark.parametrize("silent", ["amounts", "words"])
def test_without_a_layer_the_whole_period_keeps_its_chance(silent):
    amount, words = [0.0] * 6 + [1.0] * 6, [0.0] * 6 + [1.0] * 6
    if silent == "amounts":
        amount = [NAN] * 12
    else:
        words = [NAN] * 12

    after = placed(sky([60] * 12, amount=amount, window=[12] * 12), says_wet=np.array(words))

    assert (after.rain_chance_pct == 60).all()
    assert after.chance_written_pct is None


def test_the_hours_that_keep_the_chance_are_what_is_said():
    amount, words = [0.0] * 8 + [1.0] * 3 + [0.0], [0.0] * 8 + [1.0] * 3 + [0.0]
    after = placed(sky([60] * 12, amount=amount, window=[12] * 12), says_wet=np.array(words))

    assert chance_period(after, START + 9 * HOUR) == (START + 8 * HOUR, START + 11 * HOUR)
    assert chance_period(after, START) == (START, START + 8 * HOUR)


def test_what_was_written_survives_the_database():
    amount, words = [0.0] * 3 + [1.0] * 3, [0.0] * 3 + [1.0] * 3
    after = placed(sky([60] * 6, amount=amount, window=[6] * 6), says_wet=np.array(words))

    again = hours_of(layers_of(after), start=START, count=6)

    assert again.rain_chance_pct.tolist() == [UNSAID_PCT] * 3 + [60.0] * 3
    assert again.written_pct.tolist() == [60.0] * 6


def test_the_us_grid_says_in_its_weather_layer_where_the_rain_is():
    # Six hours at 60 %, showers named in their last two; then six hours without a word.
    document = replies.grid(
        probabilityOfPrecipitation=replies.layer("percent", (0, "PT12H", 60), (12, "P1DT12H", 0)),
        quantitativePrecipitation=replies.layer("mm", (0, "PT12H", 4.0), (12, "P1DT12H", 0)),
        weather={
            "values": [
                {"validTime": f"{replies.at(0)}/PT4H", "value": [{"weather": None}]},
                {"validTime": f"{replies.at(4)}/PT2H", "value": [{"weather": "rain_showers"}]},
                {"validTime": f"{replies.at(6)}/PT3H", "value": [{"weather": "fog"}]},
            ]
        },
    )

    hours = nws.parse_grid(document, fetched_at=replies.ISSUED)

    chance = hours.rain_chance_pct[:12].tolist()
    assert chance == [UNSAID_PCT] * 4 + [60.0] * 2 + [UNSAID_PCT] * 3 + [60.0] * 3
    # The last three hours have no word at all, which is unknown and not dry.
    assert hours.written_pct[:12].tolist() == [60.0] * 12


def test_norway_says_it_with_symbols():
    def told(symbol, amount):
        return {"symbol": symbol, "amount": amount}

    hours_told = [told("cloudy", 0.0)] * 3 + [told("lightrainshowers_day", 0.3)] * 3
    six = {"details": {"precipitation_amount": 0.9, "probability_of_precipitation": 70.0}}
    steps = []
    for i, each in enumerate(hours_told):
        step = replies.step(i, one=each["amount"])
        step["data"]["next_1_hours"]["summary"] = {"symbol_code": each["symbol"]}
        steps.append(step)
    steps[0]["data"]["next_6_hours"] = six
    steps += [replies.step(i, one=0.0) for i in range(6, 9)]

    hours = metno.parse(replies.metno(*steps), fetched_at=replies.ISSUED)

    assert hours.rain_chance_pct[:6].tolist() == [UNSAID_PCT] * 3 + [70.0] * 3
