"""Flake and resin by lot: one lot a floor, part bags to small floors, and what is short."""

from datetime import date

import pytest

from jobs.rules.stock import Lot, Need, reserve, shortages

MONDAY, TUESDAY = date(2026, 9, 14), date(2026, 9, 15)


def need(floor, pounds, day=TUESDAY, what="Granite"):
    return Need(floor, what, float(pounds), day)


def test_a_shop_is_short_of_what_one_lot_does_not_hold():
    # 3,000 sq ft at 0.1 lb and a tenth to spare are 330 lb; 260 lb of the blend are there.
    (shop,) = reserve([need("Shop", 330)], [Lot("Granite", "A1", 260.0)])

    assert shop.held == 260
    assert shop.short == 70


def test_two_lots_are_never_mixed_on_one_floor():
    (floor,) = reserve([need("Garage", 80)], [Lot("Granite", "A1", 50.0), Lot("Granite", "B2", 60)])

    assert {lot.lot for lot in floor.taken} == {"B2"}
    assert floor.short == 20


def test_a_part_bag_goes_to_the_small_floor_first():
    stock = [Lot("Granite", "A1", 12.0, opened=True), Lot("Granite", "A1", 80.0)]

    small, big = reserve([need("Garage", 75), need("Steps", 10)], stock)

    assert small.need.floor == "Steps"
    assert [lot.opened for lot in small.taken] == [True]
    assert big.short == 0


def test_the_sooner_floor_has_the_first_claim():
    first, second = reserve(
        [need("Later", 40), need("Sooner", 50, day=MONDAY)], [Lot("Granite", "A1", 60.0)]
    )

    assert (first.need.floor, first.short) == ("Sooner", 0)
    assert second.short == pytest.approx(30)


def test_what_is_past_its_date_is_not_counted():
    old = Lot("Clear", "P9", 20.0, keeps_until=MONDAY)

    assert reserve([need("Garage", 10, what="Clear")], [old])[0].short == 10
    assert reserve([need("Garage", 10, day=MONDAY, what="Clear")], [old])[0].short == 0


def test_what_goes_off_first_is_used_first():
    lots = [
        Lot("Clear", "new", 20.0, keeps_until=date(2027, 3, 1)),
        Lot("Clear", "old", 20.0, keeps_until=date(2026, 10, 1)),
    ]

    assert reserve([need("Garage", 10, what="Clear")], lots)[0].taken[0].lot == "old"


def test_the_evening_before_lists_tomorrow_alone():
    reserved = reserve([need("Garage", 10, day=MONDAY), need("Shop", 10)], [])

    assert [each.need.floor for each in shortages(reserved, until=MONDAY)] == ["Garage"]


def test_no_lot_is_given_away_twice():
    stock = [Lot("Granite", "A1", 100.0), Lot("Granite", "B2", 35.0)]

    found = reserve([need(str(n), 30) for n in range(6)], stock)

    for lot in stock:
        taken = sum(t.amount for each in found for t in each.taken if t.lot == lot.lot)
        assert taken <= lot.amount
