"""Misses, false alarms and the line that cost and loss suggest, counted by hand."""

from datetime import UTC, datetime

import pytest

from dispatch.rules.called import (
    FEWEST,
    Case,
    Lead,
    act_above,
    alarm_of,
    bands,
    suggestion,
    tallies,
)
from dispatch.rules.findings import Level

DAY = datetime(2026, 6, 2, 13, 0, tzinfo=UTC)


def case(
    alarm=False, spoiled=False, *, exposure="under the sky", lead=Lead.EVENING, chance_pct=None
):
    return Case("Ada Fields", DAY, exposure, lead, alarm, spoiled, chance_pct)


# Finley's tornado forecasts of 1884 are the textbook example of such a table: 28 hits, 72 false
# alarms, 23 misses, 2680 right. Murphy, A. H. (1996), The Finley affair, Weather and Forecasting
# 11, 3-20 (table 1).
FINLEY = {(True, True): 28, (True, False): 72, (False, True): 23, (False, False): 2680}


def test_the_four_counts_are_those_of_the_published_table():
    cases = [case(*said) for said, times in FINLEY.items() for _ in range(times)]

    (row,) = tallies(cases)

    assert (row.hits, row.false_alarms, row.misses, row.right) == (28, 72, 23, 2680)
    assert (row.known, row.unknown) == (2803, 0)


def test_what_was_not_said_or_not_measured_is_unknown_and_never_right():
    (row,) = tallies([case(alarm=None, spoiled=True), case(spoiled=None), case(True, None)])

    assert row.unknown == 3
    assert row.known == 0


def test_exposures_and_leads_are_counted_apart_and_in_order():
    rows = tallies(
        [
            case(True, True, exposure="under the sky", lead=Lead.FINAL_CALL),
            case(False, True, exposure="under a roof", lead=Lead.THREE_DAYS),
            case(True, False, exposure="under the sky", lead=Lead.MORNING),
            case(False, True, exposure="under the sky", lead=Lead.MORNING),
        ]
    )

    assert [(row.exposure, row.lead) for row in rows] == [
        ("under a roof", "three days before"),
        ("under the sky", "morning"),
        ("under the sky", "final call"),
    ]
    assert [(row.hits, row.misses, row.false_alarms) for row in rows] == [
        (0, 1, 0),
        (0, 1, 1),
        (1, 0, 0),
    ]


@pytest.mark.parametrize(
    ("level", "alarm"),
    [
        (Level.GO, False),
        (Level.CARE, False),
        (Level.NO, True),
        (Level.UNKNOWN, None),
        (None, None),
    ],
)
def test_only_no_is_an_alarm_and_unknown_is_neither(level, alarm):
    assert alarm_of(level) is alarm


def test_a_chance_on_the_edge_belongs_to_the_band_above_and_one_lead_is_counted():
    cases = [
        case(spoiled=True, chance_pct=30.0),
        case(spoiled=False, chance_pct=29.9),
        case(spoiled=True, chance_pct=100.0),
        case(spoiled=True, chance_pct=40.0, lead=Lead.MORNING),
        case(spoiled=None, chance_pct=40.0),
    ]

    found = {(band.from_pct, band.to_pct): (band.cases, band.fell) for band in bands(cases)}

    assert found == {(0, 15): (0, 0), (15, 30): (1, 0), (30, 50): (1, 1), (50, 100): (1, 1)}


def test_a_share_is_given_from_ten_cases_on():
    few = bands([case(spoiled=True, chance_pct=40.0)] * (FEWEST - 1))
    enough = bands([case(spoiled=True, chance_pct=40.0)] * FEWEST)

    assert few[2].share is None
    assert enough[2].share == 1.0


def test_it_pays_to_act_above_cost_over_loss():
    # Murphy (1977): protect where p > C / L. Moving at 350 against 3500 is one in ten.
    assert act_above(move_cost=350, ruined_cost=3500) == pytest.approx(0.1)
    assert act_above(move_cost=500, ruined_cost=400) == 1.0
    with pytest.raises(ValueError, match="above zero"):
        act_above(move_cost=0, ruined_cost=400)


@pytest.mark.parametrize("chance", [0.05, 0.099, 0.101, 0.3, 0.9])
def test_the_line_is_the_cheaper_of_moving_and_risking(chance):
    # Expected expense: C if one moves, p * L if one does not (Richardson 2000, section 2).
    move, ruined = 350.0, 3500.0

    assert (chance * ruined > move) is (chance > act_above(move_cost=move, ruined_cost=ruined))


def test_the_suggestion_names_the_lowest_band_in_which_it_fell_often_enough():
    cases = [case(spoiled=n < 1, chance_pct=10.0) for n in range(20)]  # 1 of 20: below 1 in 10
    cases += [case(spoiled=n < 3, chance_pct=20.0) for n in range(15)]  # 3 of 15: above
    cases += [case(spoiled=n < 8, chance_pct=40.0) for n in range(10)]

    said = suggestion(move_cost=350, ruined_cost=3500, now_pct=30, found=bands(cases))

    assert said.ratio_pct == pytest.approx(10)
    assert "more than 10 of 100" in said.sentence
    assert "forecast of 15 % on (3 of 15 days); the limit is set to 30 %" in said.sentence


def test_too_few_days_suggest_nothing():
    cases = [case(spoiled=True, chance_pct=40.0)] * (FEWEST - 1)

    said = suggestion(move_cost=350, ruined_cost=3500, now_pct=30, found=bands(cases))

    assert "Too few days" in said.sentence
    assert said.now_pct == 30
