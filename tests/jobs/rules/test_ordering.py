"""Kits, shelf life and the last day to order, with a supplier's closed days counted."""

from dataclasses import replace
from datetime import date
from math import ceil

import pytest

from jobs.rules.catalogue import ONE_DAY
from jobs.rules.materials import materials
from jobs.rules.ordering import kits, not_before, order_by, orders
from jobs.rules.plan import StageKind
from jobs.rules.rates import Rates
from jobs.rules.trailer import ALWAYS, gear
from jobs.rules.units import l_from_gal
from tests.jobs.rules.floors import floor_of

THANKSGIVING = date(2026, 11, 26)
MONDAY = date(2026, 11, 30)
TAKES = materials(
    work=floor_of(450),
    card=ONE_DAY,
    rates=Rates(),
    crew_size=2,
    slab_at_pour_c=18,
    slab_at_top_c=18,
)


def test_weekends_and_holidays_do_not_count():
    # Monday: Friday is the last working day before it, Thursday is closed, then Wednesday.
    assert order_by(needed_on=MONDAY, working_days=0) == date(2026, 11, 27)
    assert order_by(needed_on=MONDAY, working_days=1) == date(2026, 11, 26)
    assert order_by(needed_on=MONDAY, working_days=1, closed={THANKSGIVING}) == date(2026, 11, 25)


def test_a_supplier_who_ships_on_saturdays():
    assert order_by(needed_on=MONDAY, working_days=0, weekdays=range(6)) == date(2026, 11, 28)


def test_one_more_closed_day_never_makes_the_order_later():
    for closed in range(1, 20):
        day = date(2026, 11, 30 - closed)
        assert order_by(needed_on=MONDAY, working_days=5, closed={day}) <= order_by(
            needed_on=MONDAY, working_days=5
        )


@pytest.mark.parametrize("asked", [{"working_days": -1}, {"working_days": 1, "weekdays": ()}])
def test_a_supplier_who_never_works_is_refused(asked):
    with pytest.raises(ValueError, match="works on some day"):
        order_by(needed_on=MONDAY, **asked)


def test_whole_kits():
    three = l_from_gal(3.0)
    assert kits(three, kit_l=three) == 1
    assert kits(l_from_gal(3.1), kit_l=three) == 2
    assert kits(0.0, kit_l=three) == 0


def test_the_size_of_a_kit_is_the_cards():
    small = replace(ONE_DAY, kit_l=l_from_gal(1.0))

    few, many = (orders(takes=TAKES, card=card, needed_on=MONDAY)[0] for card in (ONE_DAY, small))

    assert few.kits < many.kits == ceil(many.litres / l_from_gal(1.0))


def test_six_months_of_shelf_life_leave_a_fortnight_for_the_rain():
    assert not_before(needed_on=date(2026, 11, 30), shelf_life_days=180) == date(2026, 6, 17)


def test_a_double_garage_asks_for_kits_and_flake():
    base, top, flake = orders(takes=TAKES, card=ONE_DAY, needed_on=MONDAY, closed={THANKSGIVING})

    # 3.04 gal with waste: two kits of three gallons.
    assert (base.kits, top.kits) == (2, 2)
    assert flake.mass_kg == TAKES.flake_order_kg
    assert flake.order_by < base.order_by < MONDAY
    assert base.late(date(2026, 11, 28))
    assert not base.late(base.order_by)


class TestTheTrailer:
    def test_a_day_of_preparing_takes_no_rollers(self):
        things = gear({StageKind.SET_UP, StageKind.GRIND, StageKind.VACUUM}, flake=True)

        assert any("dust collector" in thing for thing in things)
        assert not any("rollers" in thing or "Flake" in thing for thing in things)

    def test_the_day_of_the_top_coat_takes_no_grinder(self):
        things = gear({StageKind.SCRAPE, StageKind.TOP}, flake=True)

        assert any("scrapers" in thing for thing in things)
        assert not any("dust collector" in thing or "Flake in" in thing for thing in things)

    def test_a_base_past_its_window_takes_the_sander(self):
        assert any("sander" in t for t in gear({StageKind.ABRADE, StageKind.TOP}, flake=False))

    def test_meters_are_always_on_it_and_nothing_is_there_twice(self):
        things = gear(set(StageKind), flake=True, open_air=True)

        assert set(ALWAYS) <= set(things)
        assert len(things) == len(set(things))
        assert any("canopy" in thing for thing in things)
