"""When a wetted slab would look dry, against the published formula and against experience."""

from datetime import timedelta

import numpy as np
import pytest

from dispatch.rules.drying import evaporation_mm_h, looks_dry_at
from tests.dispatch.rules import days
from tests.jobs.rules.floors import clock

START = clock(days.OHIO, "2026-04-13 00:00")


def one(value):
    return np.array([float(value)])


def test_evaporation_follows_the_formula():
    # Uno, ACI Materials Journal 95 (1998), from memory: E = 5 ((Tc + 18)^2.5 - r (Ta + 18)^2.5)
    # (V + 4) / 10^6 in kg/m2 and hour, by hand at 20 °C, 50 % and no wind: 38^2.5 = 8901.3.
    expected = 5 * (8901.3 - 0.5 * 8901.3) * 4 / 1e6

    found = evaporation_mm_h(air_c=one(20), humidity_pct=one(50))

    assert found[0] == pytest.approx(expected, rel=1e-3)


def test_a_shaded_half_rained_on_until_eleven_looks_dry_the_next_afternoon():
    # A made-up spring day of which somebody noted 3 PM for the half in the shade.
    hours, _ = days.wet_patio()

    at = looks_dry_at(
        start=hours.start,
        wetted=clock(days.CAROLINA, "2026-04-13 23:00"),
        air_c=hours.air_c,
        humidity_pct=hours.humidity_pct,
    )

    assert abs(at - clock(days.CAROLINA, "2026-04-14 15:00")) <= timedelta(hours=2)


def test_unknown_hours_dry_nothing_and_a_day_is_the_most():
    nothing = np.full(60, np.nan)

    at = looks_dry_at(start=START, wetted=START, air_c=nothing, humidity_pct=nothing)

    assert at == START + timedelta(hours=24)


def test_a_wetting_before_the_first_hour_is_not_reckoned():
    dry = np.full(60, 20.0)

    before = START - timedelta(minutes=30)

    assert looks_dry_at(start=START, wetted=before, air_c=dry, humidity_pct=dry) is None
