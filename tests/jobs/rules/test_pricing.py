"""Prices: area, extras and a least price, to the cent."""

from decimal import Decimal

from jobs.rules.plan import Condition, Work
from jobs.rules.pricing import PriceList, floor_price, job_price

PRICES = PriceList(per_m2=Decimal("75.00"))


def test_a_plain_floor_costs_its_area():
    price = floor_price(work=Work(area_m2=41.81, edge_m=26), prices=PRICES)

    assert [line.words for line in price.lines] == ["Floor"]
    assert price.total == Decimal("3135.75")


def test_every_extra_is_a_line_of_its_own():
    work = Work(
        area_m2=40,
        edge_m=26,
        crack_m=6,
        stem_wall_m=10,
        steps=2,
        spalls=3,
        condition=Condition.THICK,
    )

    price = floor_price(work=work, prices=PRICES)

    amounts = [line.amount for line in price.lines]
    assert amounts == [Decimal(text) for text in ("3000", "880", "120", "250", "120", "45")]


def test_a_small_job_is_brought_up_to_the_least_price():
    price = job_price([(Work(area_m2=8, edge_m=12), PRICES)])

    assert price.total == PRICES.least
    assert len(price.lines) == 2


def test_floors_of_one_job_share_one_least_price():
    floor = Work(area_m2=15, edge_m=16)

    assert job_price([(floor, PRICES), (floor, PRICES)]).total == Decimal("2250.00")


def test_half_a_cent_rounds_up():
    price = floor_price(work=Work(area_m2=0.1, edge_m=1), prices=PriceList(Decimal("0.05")))

    assert price.total == Decimal("0.01")
