"""What must hold of cure whatever the slab does."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.rules.cards import CureTime, Table
from jobs.rules.cure import (
    equivalent_age_h,
    hours_at,
    maturity_nurse_saul,
    mean_c,
    reached,
    row_h,
    sheet_h,
    spans_of,
)
from jobs.rules.refusals import TooCold
from jobs.rules.stages import lay_out
from tests.jobs.rules.floors import FAST, PLANNING_RATES, floor_of, slab_of, steady
from weather.rules.hours import SlabHours

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
ONE_ROW = CureTime(((21.1, 3.0),), energy_kj_mol=45)
ROWS = CureTime(((5, 9), (10, 6), (20, 3), (25, 2)))

slab_c = st.floats(min_value=-5, max_value=45)
series_c = st.lists(slab_c, min_size=24, max_size=72)
minutes = st.integers(min_value=0, max_value=6 * 60)


def ready(
    slab: SlabHours, *, time: CureTime = ONE_ROW, since: datetime = NOON, stop_c: float = 0.0
) -> datetime | None:
    """When the event comes on a curve card."""
    return reached(
        time=time,
        table=Table.CURVE,
        since=since,
        slab=slab,
        stop_c=stop_c,
        slab_at_pour_c=float("nan"),
    )


class TestWhatIsNotKnown:
    def test_a_series_that_ends_first_gives_no_time(self):
        assert ready(steady(NOON, 21.1, hours=2)) is None

    def test_a_series_that_ends_with_the_event_gives_it(self):
        found = ready(steady(NOON, 21.1, hours=3))

        assert abs(found - (NOON + 3 * HOUR)) < timedelta(milliseconds=1)

    def test_an_unknown_hour_in_between_gives_no_time(self):
        assert ready(slab_of(NOON, [21.1, np.nan, 21.1, 21.1, 21.1])) is None

    @pytest.mark.parametrize("unknown_hour", [0, 6])
    def test_an_unknown_hour_before_or_after_does_no_harm(self, unknown_hour):
        values = np.full(10, 21.1)
        values[unknown_hour] = np.nan

        assert ready(slab_of(NOON, values), since=NOON + 2 * HOUR) is not None

    @pytest.mark.parametrize("hours", [-1, 10, 11])
    def test_a_moment_outside_the_series_gives_no_time(self, hours):
        assert ready(steady(NOON, 21.1, hours=10), since=NOON + hours * HOUR) is None

    def test_a_step_card_needs_to_know_the_slab_at_the_pour(self):
        unknown = reached(
            time=ROWS,
            table=Table.STEP,
            since=NOON,
            slab=steady(NOON, 20),
            stop_c=0,
            slab_at_pour_c=float("nan"),
        )

        assert unknown is None


class TestTheTable:
    def test_a_crossing_inside_an_hour_is_found_inside_it(self):
        found = ready(steady(NOON, 21.1), since=NOON + timedelta(minutes=20))

        assert abs(found - (NOON + timedelta(hours=3, minutes=20))) < timedelta(seconds=1)

    def test_nothing_is_gained_below_the_stop(self):
        night = [21.1, 21.1] + [4.9] * 10 + [21.1] * 5

        found = ready(slab_of(NOON, night), stop_c=5)

        assert abs(found - (NOON + 13 * HOUR)) < timedelta(seconds=1)

    def test_warmer_than_the_last_row_is_never_faster_without_an_energy(self):
        assert hours_at(ROWS, np.array([25.0, 40.0])) == pytest.approx([2, 2])

    def test_colder_than_the_first_row_never_gets_there_without_an_energy(self):
        assert hours_at(ROWS, np.array([4.9])) == pytest.approx([np.inf])

    def test_an_energy_reaches_beyond_the_rows(self):
        law = CureTime(ROWS.points, energy_kj_mol=45)

        cold, warm = hours_at(law, np.array([0.0, 30.0]))

        assert cold > 9
        assert warm < 2

    @pytest.mark.parametrize(
        ("at_c", "hours"), [(5, 9), (9.9, 9), (10, 6), (19, 6), (25, 2), (40, 2)]
    )
    def test_a_step_is_the_row_at_or_below(self, at_c, hours):
        assert row_h(ROWS, at_c) == hours

    def test_a_step_refuses_what_is_colder_than_its_rows(self):
        with pytest.raises(TooCold, match=r"4 °C \(39 °F\).*no time below 5 °C \(41 °F\)"):
            row_h(ROWS, 4)

    def test_the_sheet_speaks_of_70_f(self):
        assert sheet_h(ONE_ROW) == 3
        assert 2 < sheet_h(ROWS) < 3
        assert sheet_h(CureTime(((25, 2), (30, 1)))) == 2


class TestWhateverTheSlabDoes:
    @given(series=series_c, warmer_c=st.floats(min_value=0, max_value=10), late=minutes)
    def test_a_warmer_slab_is_never_later(self, series, warmer_c, late):
        since = NOON + timedelta(minutes=late)

        for time in (ONE_ROW, ROWS):
            cool = ready(slab_of(NOON, series), time=time, since=since)
            warm = ready(slab_of(NOON, np.array(series) + warmer_c), time=time, since=since)
            if cool is not None:
                assert warm is not None
                assert warm <= cool + timedelta(milliseconds=1)

    @given(series=series_c, earlier=minutes, later=minutes)
    def test_who_finishes_later_is_never_ready_earlier(self, series, earlier, later):
        first, second = sorted((earlier, later))
        slab = slab_of(NOON, series)

        before = ready(slab, since=NOON + timedelta(minutes=first))
        after = ready(slab, since=NOON + timedelta(minutes=second))

        if after is not None:
            assert before is not None
            assert before <= after + timedelta(milliseconds=1)

    @given(
        spans=st.lists(st.tuples(st.floats(0.1, 5), slab_c), min_size=1, max_size=10),
        share=st.floats(0.01, 0.99),
    )
    def test_splitting_a_span_changes_nothing(self, spans, share):
        split = [(hours * part, at_c) for hours, at_c in spans for part in (share, 1 - share)]

        whole_h = equivalent_age_h(spans, energy_kj_mol=50, reference_c=21.1)
        parts_h = equivalent_age_h(split, energy_kj_mol=50, reference_c=21.1)

        assert parts_h == pytest.approx(whole_h)
        assert maturity_nurse_saul(split, datum_c=0) == pytest.approx(
            maturity_nurse_saul(spans, datum_c=0)
        )

    @given(series=series_c, late=minutes)
    def test_the_time_found_is_worth_the_hours_of_the_sheet(self, series, late):
        since = NOON + timedelta(minutes=late)
        slab = slab_of(NOON, series)

        found = ready(slab, since=since, stop_c=-50)

        if found is not None:
            spans = spans_of(slab, since, found)
            aged_h = equivalent_age_h(spans, energy_kj_mol=45, reference_c=21.1)
            assert aged_h == pytest.approx(3.0, rel=1e-6)

    @given(series=series_c, late=minutes)
    def test_the_mean_lies_between_the_coldest_and_the_warmest(self, series, late):
        since = NOON + timedelta(minutes=late)

        mean = mean_c(slab_of(NOON, series), since, since + 6 * HOUR)

        assert min(series) - 1e-9 <= mean <= max(series) + 1e-9
        spans = spans_of(slab_of(NOON, series), since, since + 6 * HOUR)
        assert mean == pytest.approx(sum(hours * at_c for hours, at_c in spans) / 6, abs=1e-6)

    @given(areas=st.tuples(st.floats(5, 400), st.floats(5, 400)), at_c=st.floats(5, 32))
    def test_more_area_is_never_shorter(self, areas, at_c):
        small, large = (
            lay_out(
                work=floor_of(area),
                card=FAST,
                rates=PLANNING_RATES,
                crew_size=2,
                start=NOON,
                slab=steady(NOON, at_c),
            )
            for area in sorted(areas)
        )

        assert small.end <= large.end
        assert small.rain_safe <= large.rain_safe


# The nights on which the clocks of New York change in 2026, and one on which they do not.
@pytest.mark.parametrize("day", ["2026-03-07", "2026-10-31", "2026-05-04"])
def test_a_change_of_clocks_alters_no_elapsed_hour(day):
    start = datetime.fromisoformat(f"{day} 17:00").replace(tzinfo=ZoneInfo("America/New_York"))
    series = [12 + 6 * np.sin(i / 4) for i in range(60)]
    plain = datetime(2026, 6, 1, 17, tzinfo=UTC)

    def elapsed(begin: datetime) -> list[timedelta]:
        law = CureTime(((21.1, 8.0),), energy_kj_mol=45)
        slab = slab_of(begin.astimezone(UTC), series)
        plan = lay_out(
            work=floor_of(450),
            card=FAST,
            rates=PLANNING_RATES,
            crew_size=2,
            start=begin,
            slab=slab,
        )
        found = ready(slab, time=law, since=begin)
        instants = [plan.pour, plan.end, plan.rain_safe, plan.walk_on, plan.drive_on, found]
        return [instant - begin.astimezone(UTC) for instant in instants]

    assert elapsed(start) == elapsed(plain)
