"""What a floor asks of its suppliers and by when, with their holidays counted."""

from datetime import date
from functools import lru_cache

import holidays

from jobs.rules.cards import Card
from jobs.rules.clock import say_day
from jobs.rules.materials import Materials
from jobs.rules.ordering import OrderLine, orders
from jobs.rules.units import gal_from_l, lb_from_kg

COUNTED_BACK_YEARS = 1


@lru_cache(maxsize=64)
def supplier_closed(country: str, subdivision: str, year: int) -> frozenset[date]:
    """Public holidays of that year and the one before; none for a country not known."""
    try:
        known = holidays.country_holidays(
            country, subdiv=subdivision or None, years=[year - COUNTED_BACK_YEARS, year]
        )
    except (NotImplementedError, KeyError):
        return frozenset()
    return frozenset(known)


def orders_for(
    *, takes: Materials, card: Card, needed_on: date, country: str = "US", subdivision: str = ""
) -> tuple[OrderLine, ...]:
    """Kits and flake for one floor, each with its last day to order."""
    closed = supplier_closed(country, subdivision, needed_on.year)
    return orders(takes=takes, card=card, needed_on=needed_on, closed=closed)


def order_words(line: OrderLine, *, us: bool, today: date) -> str:
    """One line of an order in a sentence."""
    if line.kits:
        size = f"{gal_from_l(line.litres):.1f} gal" if us else f"{line.litres:.1f} L"
        plural = "kit" if line.kits == 1 else "kits"
        amount = f"{line.kits} {plural} for {size}"
    else:
        kg = line.mass_kg
        amount = f"{lb_from_kg(kg):,.0f} lb" if us else f"{kg:,.0f} kg"
    by = f"order by {say_day(line.order_by)}"
    if line.late(today):
        by = f"{by}, which has gone by: ask what is in stock"
    keeps = ""
    if line.not_before is not None and line.not_before > today:
        keeps = f"; not before {say_day(line.not_before)}, or it is too old on the day"
    return f"{line.what}: {amount}, {by}{keeps}."
