"""The catalogue: every system works, and every number says where it comes from."""

from dataclasses import fields
from datetime import UTC, datetime

import pytest

from jobs.rules.cards import Card
from jobs.rules.catalogue import (
    METHACRYLATE,
    MOISTURE_CURE,
    ONE_DAY,
    TWO_DAY,
    WINTER,
    System,
    catalogue,
)
from jobs.rules.cure import sheet_h
from jobs.rules.rates import Rates
from jobs.rules.stages import lay_out
from tests.jobs.rules.floors import floor_of, steady

SYSTEMS = [pytest.param(system, id=system.key) for system in catalogue()]
START = datetime(2026, 5, 4, 12, tzinfo=UTC)
# These are not numbers, or have one source between them.
NO_SOURCE = {"name", "table", "sources", "two_days", "overnight", "mix_a", "mix_b"}


@pytest.mark.parametrize("system", SYSTEMS)
def test_every_number_has_a_source(system: System):
    numbers = {
        field.name
        for field in fields(Card)
        if field.name not in NO_SOURCE and getattr(system.card, field.name) is not None
    }

    assert numbers | {"mix", "energy", "price_per_m2"} <= set(system.card.sources)


@pytest.mark.parametrize("system", SYSTEMS)
def test_every_system_can_be_laid_within_its_limits(system: System):
    card = system.card
    for slab_c in (card.slab_min_c, card.slab_max_c):
        plan = lay_out(
            work=floor_of(450),
            card=card,
            rates=Rates(),
            crew_size=2,
            start=START,
            slab=steady(START, slab_c, hours=24 * 30),
        )

        assert plan.tack_free <= plan.rain_safe
        assert plan.top_end < plan.tack_free
        assert plan.walk_on < plan.drive_on
        assert plan.drive_on >= plan.walk_on


def test_keys_and_names_are_each_used_once():
    assert len({system.key for system in catalogue()}) == len(catalogue())
    assert len({system.card.name for system in catalogue()}) == len(catalogue())


class TestCommonPractice:
    """Trade habits at about 70 °F without one published source."""

    def test_a_fast_base_is_scraped_within_two_hours(self):
        assert 1 <= sheet_h(ONE_DAY.set) <= 2

    def test_feet_after_four_to_six_hours_and_a_car_after_a_day_at_best(self):
        for card in (ONE_DAY, WINTER):
            assert 4 <= sheet_h(card.walk_on) <= 6
            assert sheet_h(card.drive_on) >= 24

    def test_a_base_coat_is_flaked_within_fifteen_to_twenty_minutes(self):
        # A pail gives 10 to 20 minutes at room temperature, of which 0.6 are used for each mix;
        # what was poured first is flaked while the wet edge holds.
        pail_min = 60 * sheet_h(ONE_DAY.working_minutes) / 0.6

        assert 15 <= pail_min <= 20

    def test_an_epoxy_base_waits_overnight(self):
        assert 8 <= sheet_h(TWO_DAY.set) <= 12
        assert TWO_DAY.two_days

    def test_a_fast_clear_is_rain_safe_in_two_to_three_hours(self):
        assert 2 <= sheet_h(ONE_DAY.rain_safe) <= 3

    def test_cars_wait_a_day_on_fast_floors_and_three_on_epoxy(self):
        assert sheet_h(ONE_DAY.drive_on) == 24
        assert 48 <= sheet_h(TWO_DAY.drive_on) <= 72
        assert sheet_h(METHACRYLATE.drive_on) <= 4

    def test_no_base_waits_more_than_a_day_without_abrading(self):
        assert all(system.card.recoat_until_h <= 24 for system in catalogue())

    def test_moisture_cure_stops_in_dry_air(self):
        assert MOISTURE_CURE.humidity_min_grains == 42

    def test_only_the_winter_grade_and_methacrylate_go_below_45_f(self):
        cold = {system.key for system in catalogue() if system.card.slab_min_c < 7}

        assert cold == {"winter-flake", "methacrylate-flake"}

    def test_a_winter_card_is_slower_than_a_published_cold_job(self):
        # concreteconstruction.net: at a slab of 45 °F top after 1.5 h, foot 2 h, car 6 h.
        assert WINTER.set.points[0][1] >= 1.5
        assert WINTER.walk_on.points[0][1] >= 2
        assert WINTER.drive_on.points[0][1] >= 6
