"""Filters say values as a branch reads them, and never make a figure of what is not known."""

from datetime import UTC, date, datetime
from decimal import Decimal
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from django.template import engines

from dispatch.templatetags import slab
from jobs.rules.plan import StageKind

NAN = float("nan")
OHIO = ZoneInfo("America/New_York")


# NIST Special Publication 811, appendix B: 1 ft = 0.3048 m, 1 lb = 0.45359237 kg,
# 1 gal (US) = 3.785411784 l, 1 mi = 1.609344 km, 1 in = 25.4 mm, t(°F) = 1.8 t(°C) + 32.
@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (slab.area(41.8063, "us"), "450 sq ft"),
        (slab.area(41.8063, "metric"), "41.8 m²"),
        (slab.length(6.096, "us"), "20 ft"),
        (slab.length(["a", "b"]), 2),
        (slab.temperature(20, "us"), "68 °F"),
        (slab.temperature(-5.2, "metric"), "−5.2 °C"),
        (slab.temperature(-17.8, "us"), "0 °F"),
        (slab.spread(3, "us"), "5.4 °F"),
        (slab.rain(25.4, "us"), "1.00 in"),
        (slab.wind(40, "us"), "25 mph"),
        (slab.volume(37.85411784, "us"), "10.0 gal"),
        (slab.mass(34.0194, "us"), "75 lb"),
        (slab.distance(16.09344, "us"), "10 mi"),
        (slab.money(Decimal("1250.00")), "$1,250"),
        (slab.money(Decimal("-3.5")), "−$3.50"),
        (slab.hours(6.25), "6 h 15 min"),
        (slab.hours(0), "0 min"),
        (slab.hours(0.9999), "1 h"),
    ],
)
def test_values_are_said_in_the_units_of_the_reader(said, expected):
    assert said == expected


@pytest.mark.parametrize("nothing", [None, NAN])
@pytest.mark.parametrize(
    "filter_",
    [slab.area, slab.length, slab.temperature, slab.spread, slab.rain, slab.wind, slab.chance,
     slab.money, slab.hours],
)  # fmt: skip
def test_what_is_not_known_is_never_a_figure(filter_, nothing):
    assert filter_(nothing) == "unknown"


def test_a_branch_decides_its_units_and_its_clock():
    branch = SimpleNamespace(units="metric", tz=OHIO)

    assert slab.temperature(20, branch) == "20.0 °C"
    assert slab.clock(datetime(2026, 6, 9, 17, 11, tzinfo=UTC), branch) == "1:11 PM"


def test_an_instant_is_said_in_the_zone_of_the_site():
    instant = datetime(2026, 6, 10, 2, 30, tzinfo=UTC)

    assert slab.moment(instant, OHIO) == "Tue Jun 9, 10:30 PM"
    assert slab.local_day(instant, "America/New_York") == "Tue Jun 9"
    assert slab.local_day(date(2026, 6, 10), OHIO) == "Wed Jun 10"


def test_every_stage_has_words():
    assert {kind.value for kind in StageKind} == set(slab.STAGE_WORDS)
    assert slab.stage(StageKind.TOP) == "top coat"


def test_a_verdict_is_a_mark_and_a_word_and_an_odd_level_is_unknown():
    template = engines["django"].from_string('{% include "dispatch/_verdict.html" %}')

    assert 'data-level="care"' in template.render({"level": "care"})
    odd = template.render({"level": "<b>"})
    assert 'data-level="unknown"' in odd
    assert "Unknown" in odd
    assert "<svg" in odd


@pytest.mark.parametrize(
    ("minutes", "words"),
    [
        (176, "2 h 56 min after the planned pour"),
        (60, "1 h after the planned pour"),
        (0, "at the planned pour"),
        (-254, "4 h 14 min before the planned pour"),
    ],
)
def test_slack_is_said_from_the_planned_pour(minutes, words):
    assert slab.slack(minutes) == words
