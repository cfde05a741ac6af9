"""Free stretches as arrays and the rough search over them, held against a walk gap by gap."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dispatch.rules.free_time import DEPOT, NEVER, FreeTime, Stretch, gaps_between
from dispatch.rules.screening import Asked, Return, Way, longest_free_min, screen

DAY = 24 * 60
OPENS, LATEST = 7 * 60, 18 * 60
SPANS = st.lists(
    st.tuples(st.integers(0, 28 * 4), st.integers(1, 40)).map(
        lambda pair: Stretch(15 * pair[0], 15 * (pair[0] + pair[1]), point=1)
    ),
    max_size=3,
)


def calendar(days: list[list[list[Stretch]]], *, people: int = 2) -> FreeTime:
    """Days of crews with what is taken, in minutes of each day."""
    free = FreeTime.empty(midnights=[DAY * n for n in range(len(days) + 1)], crews=len(days[0]))
    for day, crews in enumerate(days):
        for crew, taken in enumerate(crews):
            moved = [Stretch(s.first + DAY * day, s.until + DAY * day, s.point) for s in taken]
            free.put(day, crew, people=people, taken=moved)
    return free


def asked(days: int, crews: int, **changed) -> Asked:
    """Days from 7 AM to 6 PM, half-hourly, 20 minutes from the depot and 30 from point 1."""
    values = {
        "opens": np.array([DAY * n + OPENS for n in range(days)]),
        "latest": np.array([DAY * n + LATEST for n in range(days)]),
        "step_min": 30,
        "road_min": np.array([20, 30]),
        "road_cost": 1.0,
        "day_cost": np.arange(days) * 10.0,
        "fresh_day_cost": 0.0,
        "idle_cost": 0.0,
        "later_cost": 0.0,
        "prices": np.zeros((days, crews)),
    }
    return Asked(**{**values, **changed})


def way(days: int, *, takes_min: int = 480, cost: float | None = None, people: int = 2) -> Way:
    """So long a job from every half hour."""
    starts = np.array([[DAY * n + OPENS + 30 * k for k in range(48)] for n in range(days)])
    return Way(
        people=people,
        visits=1,
        end=starts + takes_min,
        cost=np.full(starts.shape, 0.0 if cost is None else cost),
    )


@given(taken=SPANS)
def test_gaps_and_what_is_taken_fill_the_day_without_touching(taken):
    gaps = gaps_between(taken, first=0, until=30 * 60)

    free = np.zeros(30 * 60, dtype=int)
    for start, end, _, _ in gaps:
        free[start:end] += 1
    for each in taken:
        free[min(each.first, 30 * 60) : min(each.until, 30 * 60)] += 2
    assert set(free) <= {1, 2, 4, 6}, "free and taken never meet, and nothing is left out"


def test_a_gap_knows_where_the_crew_comes_from_and_goes_to():
    work = [Stretch(480, 600, point=4), Stretch(900, 960, point=NEVER)]

    assert gaps_between(work, first=0, until=1800) == [
        (0, 480, DEPOT, 4),
        (600, 900, 4, DEPOT),
        (960, 1800, DEPOT, DEPOT),
    ]


@settings(max_examples=60, deadline=None)
@given(
    days=st.lists(st.lists(SPANS, min_size=2, max_size=2), min_size=1, max_size=3),
    takes_min=st.integers(30, 660),
)
def test_every_candidate_fits_with_its_roads_and_no_free_whole_day_is_missed(days, takes_min):
    free, question = calendar(days), asked(len(days), 2)

    found = screen(free, question, [way(len(days), takes_min=takes_min)])

    for day, crew, start in zip(found.day, found.crew, found.start, strict=True):
        end = start + takes_min
        assert start >= question.opens[day]
        assert end <= question.latest[day]
        for each in days[day][crew]:
            first, until = each.first + DAY * day, each.until + DAY * day
            before, after = end + 30 <= first, start - 30 >= until
            assert before or after, "the work and its road lie outside what is taken"
    has = set(zip(found.day.tolist(), found.crew.tolist(), strict=True))
    for day, crews in enumerate(days):
        for crew, taken in enumerate(crews):
            if not taken and OPENS + takes_min <= LATEST:
                assert (day, crew) in has


def test_the_cheapest_hour_of_a_day_is_chosen_where_it_fits():
    rain = way(1, takes_min=240)
    rain.cost[0, :4] = 100.0  # before 9 AM

    (start,) = screen(calendar([[[]]]), asked(1, 1), [rain]).start

    assert start == OPENS + 120


def test_a_crew_that_comes_from_a_floor_starts_when_the_road_is_behind_it():
    busy = [Stretch(7 * 60, 11 * 60 + 30, point=1)]

    found = screen(calendar([[busy]]), asked(1, 1), [way(1, takes_min=330)])

    assert found.start.tolist() == [12 * 60]


def test_what_a_crew_day_is_worth_to_others_sends_a_floor_to_another_crew():
    prices = np.array([[80.0, 0.0]])

    found = screen(calendar([[[], []]]), asked(1, 2, prices=prices), [way(1)])

    assert found.crew.tolist() == [1, 0]


@settings(max_examples=40, deadline=None)
@given(days=st.lists(st.lists(SPANS, min_size=3, max_size=3), min_size=1, max_size=2))
def test_more_crews_never_make_the_best_candidate_dearer(days):
    fewer = [crews[:2] for crews in days]
    few = screen(calendar(fewer), asked(len(days), 2), [way(len(days))])

    more = screen(calendar(days), asked(len(days), 3), [way(len(days))])

    assert len(more) >= len(few)
    if len(few):
        assert more.cost[0] <= few.cost[0]


def test_a_second_visit_needs_the_same_crew_free_again():
    back = Return(
        np.array([1, NEVER]), np.array([DAY + OPENS, NEVER]), np.array([DAY + 600, NEVER])
    )
    base = way(2, takes_min=300)
    twice = Way(2, 2, base.end, base.cost, second=back)
    all_day = [Stretch(6 * 60, 19 * 60, point=1)]

    found = screen(calendar([[[], []], [[], all_day]]), asked(2, 2), [twice])

    assert list(zip(found.day.tolist(), found.crew.tolist(), strict=True)) == [(0, 0)]


@pytest.mark.parametrize(("people", "lent", "fits"), [(2, 0, True), (3, 0, False), (3, 1, True)])
def test_a_way_is_for_crews_of_its_size_or_with_somebody_lent(people, lent, fits):
    base = way(1, people=people)
    one = Way(people, 1, base.end, base.cost, lent=lent)

    assert bool(len(screen(calendar([[[]]]), asked(1, 1), [one]))) is fits


def test_the_longest_free_stretch_of_a_day_is_told_within_its_hours():
    busy = [Stretch(10 * 60, 19 * 60, point=1)]

    assert longest_free_min(calendar([[busy]]), asked(1, 1)).tolist() == [[180]]
