"""A forecast flutters; the customer of a confirmed day must not. Whatever comes, one turn."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dispatch.rules.findings import Level
from dispatch.rules.watching import DEFAULT_LIMITS, News, Shown, Watched, WatchLimits, after

START = datetime(2026, 6, 10, 12, 0, tzinfo=UTC)
CALL_AT = START - timedelta(hours=13, minutes=30)  # half past five the evening before
HOUR = timedelta(hours=1)


def news(level: Level, *, forecast: int | None, ahead: timedelta, **other: bool) -> News:
    said = {"confirmed": True, "open_floor": True, "decided": False} | other
    return News(
        level=level, forecast=forecast, start=START, call_at=CALL_AT, now=START - ahead, **said
    )


def follow(said: list[News], limits: WatchLimits = DEFAULT_LIMITS) -> list[Watched]:
    """The state after each of them."""
    states = [Watched()]
    for each in said:
        states.append(after(states[-1], each, limits=limits))
    return states


def each_forecast(levels, *, first: timedelta, step: timedelta = 6 * HOUR, **other) -> list[News]:
    """One new forecast after another with those levels."""
    return [
        news(level, forecast=number, ahead=first - number * step, **other)
        for number, level in enumerate(levels)
    ]


@st.composite
def forecasts(draw):
    """Up to forty forecasts in order of time, of any level, some of them seen twice."""
    said = draw(
        st.lists(
            st.tuples(st.sampled_from(list(Level)), st.integers(0, 300), st.booleans()),
            max_size=40,
        )
    )
    said.sort(key=lambda each: -each[1])
    number, found = 0, []
    for level, ahead_h, new in said:
        number += new
        found.append(news(level, forecast=number, ahead=ahead_h * HOUR))
    return found


limits = st.builds(
    WatchLimits,
    watch_days=st.floats(0.5, 10),
    watch_forecasts=st.integers(1, 4),
    watch_quiet_h=st.floats(0, 12),
)


@settings(max_examples=300)
@given(forecasts(), limits)
def test_what_the_customer_sees_turns_at_most_once_and_never_back(said, limit):
    states = follow(said, limit)

    shown = [state.shown for state in states]
    assert sum(a != b for a, b in pairwise(shown)) <= 1
    assert states[-1].turns <= 1
    assert shown == sorted(shown, key=lambda each: each is Shown.WATCH)


@settings(max_examples=300)
@given(forecasts(), limits)
def test_a_watch_begins_only_within_its_days_and_before_the_silence(said, limit):
    for before, heard, then in zip(
        follow(said, limit), said, follow(said, limit)[1:], strict=False
    ):
        if then.shown is not before.shown:
            assert heard.level is Level.NO
            assert START - heard.now <= timedelta(days=limit.watch_days)
            assert heard.now < CALL_AT - timedelta(hours=limit.watch_quiet_h)


@settings(max_examples=300)
@given(forecasts())
def test_a_watch_begins_only_where_two_forecasts_in_a_row_said_no(said):
    counted: dict[int, Level] = {}
    for heard, then in zip(said, follow(said)[1:], strict=True):
        if heard.level is not Level.UNKNOWN:
            counted.setdefault(heard.forecast, heard.level)
        if then.shown is Shown.WATCH:
            assert list(counted.values())[-2:] == [Level.NO, Level.NO]
            return


@given(st.lists(st.sampled_from([Level.GO, Level.CARE]), min_size=1, max_size=20))
def test_a_forecast_that_flips_around_the_line_says_nothing_to_anybody(between):
    flutter = [level for good in between for level in (Level.NO, good)]
    step = timedelta(hours=60) / len(flutter)  # all of them within the three days, before the call

    states = follow(each_forecast(flutter, first=timedelta(hours=71), step=step * 0.9))

    assert states[-1] != Watched()  # they were counted
    assert {state.shown for state in states} == {Shown.CLEAR}


def test_two_forecasts_in_a_row_that_say_no_begin_it_and_no_good_one_ends_it():
    said = each_forecast(
        [Level.NO, Level.NO, Level.GO, Level.GO, Level.NO, Level.NO], first=timedelta(hours=60)
    )

    states = follow(said)

    assert [state.shown.value for state in states] == ["clear", "clear"] + ["watch"] * 5
    assert states[-1].turns == 1
    assert states[2].since == said[1].now


def test_the_same_forecast_judged_again_is_counted_once():
    twice = [news(Level.NO, forecast=7, ahead=timedelta(hours=60 - n)) for n in range(5)]

    assert follow(twice)[-1].shown is Shown.CLEAR


def test_unknown_neither_begins_a_watch_nor_clears_the_count():
    first = timedelta(hours=60)

    unknown = follow(each_forecast([Level.UNKNOWN] * 5, first=first))
    between = follow(each_forecast([Level.NO, Level.UNKNOWN, Level.NO], first=first))

    assert unknown[-1].shown is Shown.CLEAR
    assert between[-1].shown is Shown.WATCH


@pytest.mark.parametrize("other", [{"confirmed": False}, {"open_floor": False}, {"decided": True}])
def test_planned_days_roofed_floors_and_decided_days_are_not_watched(other):
    said = each_forecast([Level.NO] * 5, first=timedelta(hours=60), **other)

    assert follow(said)[-1] == Watched()


@pytest.mark.parametrize("first", [timedelta(days=6), timedelta(hours=15)])
def test_neither_far_ahead_nor_shortly_before_the_call(first):
    said = each_forecast([Level.NO] * 3, first=first, step=HOUR / 2)

    assert follow(said)[-1].shown is Shown.CLEAR
