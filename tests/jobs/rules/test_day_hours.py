"""Hours of a day at a site: the gate by month and weekday, quiet hours, early starts in heat."""

from datetime import date, time

import pytest

from jobs.rules.day_hours import OwnHours, hours_of
from jobs.rules.gate import gate_rules, rule_on

# A gated community of the desert, in plain values: from October to April 7 AM to 5:30 PM, in
# summer from 6 AM, Monday to Friday, generators from 8 AM (common practice).
WEEK = [0, 1, 2, 3, 4]
WINTER = {
    "months": [10, 11, 12, 1, 2, 3, 4],
    "weekdays": WEEK,
    "opens": "07:00",
    "closes": "17:30",
    "generator_from": "08:00",
    "list_days": 1,
}
SUMMER = WINTER | {"months": [5, 6, 7, 8, 9], "opens": "06:00"}
GATE = gate_rules([WINTER, SUMMER])
BRANCH = OwnHours(time(5), time(20), time(7), time(19))


def on(day: date, **given):
    """The hours of a day behind that gate."""
    return hours_of(day, branch=BRANCH, site=OwnHours(), gate=GATE, **given)


def test_the_gate_opens_at_seven_in_october_and_at_six_in_july():
    october, july = on(date(2026, 10, 23)), on(date(2026, 7, 24))

    assert (october.opens, october.closes) == (time(7), time(17, 30))
    assert july.opens == time(6)
    assert october.generator_from == time(8)


def test_nobody_is_let_in_on_a_saturday_or_a_holiday_and_the_sentence_says_why():
    saturday, veterans = date(2026, 10, 24), date(2026, 11, 11)

    assert "no contractors in on Saturdays" in on(saturday).closed
    assert "on holidays, and Wed Nov 11 is one" in on(veterans, holidays={veterans}).closed
    assert on(veterans).closed == ""


def test_a_season_without_a_rule_is_closed_and_a_site_without_a_gate_is_not():
    only_summer = gate_rules([SUMMER])

    assert "no hours for contractors in October" in str(rule_on(only_summer, date(2026, 10, 1)))
    assert rule_on((), date(2026, 10, 1)) is None


def test_heat_lets_a_crew_come_before_opening_but_noise_keeps_its_hour():
    day = date(2026, 7, 24)
    usual = OwnHours(time(7), time(18), time(7, 30), time(19))
    given = {"branch": usual, "site": OwnHours(), "early_from": time(5)}

    hot, mild = hours_of(day, hot=True, **given), hours_of(day, hot=False, **given)

    assert (hot.opens, mild.opens) == (time(5), time(7))
    assert hot.noisy_from == mild.noisy_from == time(7, 30)
    behind_the_gate = hours_of(day, hot=True, gate=GATE, **given)
    assert behind_the_gate.opens == time(6)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"opens": "18:00"}, "closes before it opens"),
        ({"opens": "soon"}, "cannot be read"),
        ({"weekdays": [7]}, "weekday that there is not"),
        ({"months": [0]}, "month or weekday that there is not"),
        ({"list_days": -1}, "names after the day"),
    ],
)
def test_a_rule_that_makes_no_sense_is_refused_with_a_sentence(changed, sentence):
    with pytest.raises(ValueError, match=sentence):
        gate_rules([WINTER | changed])
