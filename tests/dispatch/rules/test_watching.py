"""The weather watch: however a forecast flutters, what a customer sees turns once at most."""

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from dispatch.rules.findings import Level
from dispatch.rules.watching import DEFAULT_LIMITS, News, Shown, Watched, after
from tests.jobs.rules.floors import clock

START = clock("America/Denver", "2026-06-10 07:00")
CALL_AT = clock("America/Denver", "2026-06-09 17:30")
HOUR = timedelta(hours=1)

levels = st.sampled_from(list(Level))
# One verdict an hour on one forecast after another; the same forecast is often judged again.
flutter = st.lists(st.tuples(levels, st.booleans()), min_size=1, max_size=140)


def news(level: Level, forecast: int | None, *, ahead_h: float, **given) -> News:
    """A verdict so many hours before the start of a confirmed floor under the sky."""
    said = News(
        level=level, forecast=forecast, start=START, call_at=CALL_AT,
        now=START - ahead_h * HOUR, confirmed=True, open_floor=True, decided=False,
    )  # fmt: skip
    return replace(said, **given)


def played(verdicts, **given) -> list[tuple[News, Watched]]:
    """The state after each of the verdicts; the last comes an hour before the start."""
    state, forecast, found = Watched(), 0, []
    for number, (level, is_new) in enumerate(verdicts):
        forecast += is_new
        said = news(level, forecast, ahead_h=len(verdicts) - number, **given)
        state = after(state, said)
        found.append((said, state))
    return found


@given(flutter)
@example([(level, True) for level in (Level.NO, Level.GO) * 60])
@example([(level, True) for level in (Level.NO, Level.NO, Level.GO, Level.GO) * 30])
def test_what_the_customer_sees_turns_at_most_once_and_never_back(verdicts):
    states = [Watched()] + [state for _, state in played(verdicts)]

    turned = [(one.shown, two.shown) for one, two in pairwise(states) if one.shown != two.shown]
    assert turned in ([], [(Shown.CLEAR, Shown.WATCH)])
    assert states[-1].turns == len(turned)


@given(flutter)
def test_it_turns_only_where_two_forecasts_in_a_row_said_no(verdicts):
    told = played(verdicts)
    counted: dict[int, Level] = {}
    for said, state in told:
        if said.level is not Level.UNKNOWN:
            counted.setdefault(said.forecast, said.level)
        if state.shown is Shown.WATCH:
            break
    else:
        return

    assert list(counted.values())[-DEFAULT_LIMITS.watch_forecasts :] == [Level.NO, Level.NO]


@given(flutter)
def test_it_turns_neither_too_early_to_mean_something_nor_just_before_the_final_call(verdicts):
    for (_, before), (said, state) in pairwise([(None, Watched()), *played(verdicts)]):
        if state.shown is not before.shown:
            assert START - said.now <= timedelta(days=3)
            assert said.now < CALL_AT - 2 * HOUR


@pytest.mark.parametrize("of", [{"confirmed": False}, {"open_floor": False}, {"decided": True}])
def test_a_planned_day_a_roofed_floor_and_a_decided_day_are_never_turned(of):
    worst = [(Level.NO, True)] * 100

    assert played(worst)[-1][1].shown is Shown.WATCH
    assert played(worst, **of)[-1][1] == Watched()


def test_a_forecast_that_flips_around_the_line_turns_nothing():
    flips = [(level, True) for level in (Level.NO, Level.CARE) * 50]

    assert all(state.shown is Shown.CLEAR for _, state in played(flips))


def test_the_same_forecast_judged_again_and_an_unknown_one_say_nothing_new():
    same = [(Level.NO, True)] + [(Level.NO, False)] * 60
    unknown = [(Level.UNKNOWN, True)] * 60

    assert played(same)[-1][1].shown is Shown.CLEAR
    assert played(unknown)[-1][1].shown is Shown.CLEAR
