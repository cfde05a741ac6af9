"""The slab that promises rest on: common practice, nobody promises a car on a lagging slab."""

from datetime import UTC, datetime, timedelta

import numpy as np

from jobs.rules.catalogue import ONE_DAY
from jobs.rules.promises import promised_on
from tests.jobs.rules.floors import FAST, steady
from weather.rules.hours import HOUR, Hours

START = datetime(2026, 10, 15, 12, tzinfo=UTC)
SLAB = steady(START, 15, hours=48)


def hours(air_c):
    made = Hours.unknown(start=START - 3 * HOUR, count=24)
    made.air_c[:] = air_c
    return made


def test_colder_air_counts_on_a_card_by_steps_and_warmer_air_does_not():
    cold = promised_on(card=FAST, slab=SLAB, hours=hours(4.0))

    assert (cold.mid_c[:21] == 4).all()
    assert (cold.mid_c[21:] == 15).all()  # beyond the hours nothing is known of the air
    assert (promised_on(card=FAST, slab=SLAB, hours=hours(25.0)).mid_c == 15).all()


def test_unknown_air_leaves_the_slab_and_an_unknown_slab_stays_unknown():
    assert (promised_on(card=FAST, slab=SLAB, hours=hours(np.nan)).mid_c == 15).all()

    gap = steady(START, np.nan, hours=48)
    assert np.isnan(promised_on(card=FAST, slab=gap, hours=hours(4.0)).mid_c).all()


def test_a_curve_a_house_and_a_heated_room_keep_to_the_slab():
    span = (START, START + timedelta(hours=10))

    assert (promised_on(card=ONE_DAY, slab=SLAB, hours=hours(4.0)).mid_c == 15).all()
    assert (promised_on(card=FAST, slab=SLAB, hours=hours(4.0), indoors=True).mid_c == 15).all()
    heated = promised_on(card=FAST, slab=SLAB, hours=hours(4.0), heated=[span])
    assert (heated.mid_c[:10] == 15).all()
    assert heated.mid_c[10] == 4
