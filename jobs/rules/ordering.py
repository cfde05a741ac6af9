"""Ordering: whole kits, the last day to order them, and the first that still keeps.

A supplier packs and ships on its working days only, so a date counts those days and no
others.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

from jobs.rules.cards import Card
from jobs.rules.materials import Materials

# Working days from order to door: resin 2 to 5 (dangerous goods, none on weekends), a blend of
# flake 3 to 10. Common practice.
RESIN_DAYS, FLAKE_DAYS = 5, 10
# A kit is not laid on its last day: a floor that is moved for rain wants it next week.
SPARE_DAYS = 14
FURTHEST_BACK_DAYS = 120
DAY = timedelta(days=1)


@dataclass(frozen=True)
class OrderLine:
    """One thing to order. `litres` and `kits` of resin, or `mass_kg` of flake."""

    what: str
    kits: int
    litres: float
    mass_kg: float
    order_by: date
    not_before: date | None  # ordered sooner, it is past its shelf life on the day

    def late(self, today: date) -> bool:
        """Whether the last day to order it has gone by."""
        return today > self.order_by


def kits(litres: float, *, kit_l: float) -> int:
    """Whole kits that hold so many litres; an opened side of a kit does not keep."""
    if kit_l <= 0:
        raise ValueError("a kit must hold something")
    return ceil(litres / kit_l - 1e-9)


def order_by(
    *,
    needed_on: date,
    working_days: int,
    closed: Collection[date] = (),
    weekdays: Collection[int] = (0, 1, 2, 3, 4),
) -> date:
    """The last day to order what must be here before `needed_on` begins.

    `working_days` of the supplier lie between the order and that day; days in `closed` and
    weekdays (Monday is 0) it does not work do not count, and it takes no order on them.
    """
    if working_days < 0 or not weekdays:
        raise ValueError("a supplier works on some day and takes no less than no time")
    day, left = needed_on, working_days
    for _ in range(FURTHEST_BACK_DAYS):
        day -= DAY
        if day.weekday() not in weekdays or day in closed:
            continue
        if left == 0:
            return day
        left -= 1
    raise ValueError("the supplier is closed for months before that day")


def not_before(*, needed_on: date, shelf_life_days: int) -> date:
    """The first day on which a kit may come in and still keep until the floor, with a reserve."""
    return needed_on - timedelta(days=max(0, shelf_life_days - SPARE_DAYS))


def orders(
    *,
    takes: Materials,
    card: Card,
    needed_on: date,
    closed: Collection[date] = (),
) -> tuple[OrderLine, ...]:
    """What one floor asks of its suppliers: resin in kits of the card's size, and flake."""
    resin_by = order_by(needed_on=needed_on, working_days=RESIN_DAYS, closed=closed)
    keeps = not_before(needed_on=needed_on, shelf_life_days=card.shelf_life_days)
    lines = [
        OrderLine(name, kits(coat.litres, kit_l=card.kit_l), coat.litres, 0.0, resin_by, keeps)
        for name, coat in (("Base", takes.base), ("Top", takes.top))
    ]
    if takes.flake_order_kg > 0:
        flake_by = order_by(needed_on=needed_on, working_days=FLAKE_DAYS, closed=closed)
        lines.append(OrderLine("Flake", 0, 0.0, takes.flake_order_kg, flake_by, None))
    return tuple(lines)
