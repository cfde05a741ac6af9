"""Stock: flake and resin by blend and lot, reserved for floors, and what is short.

A floor is laid from one lot, for two lots of a blend differ in colour. Part bags go to small
floors first: a big floor would only leave another part bag behind (common practice).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date


@dataclass(frozen=True)
class Lot:
    """What lies in the depot of one lot of one blend; `opened` is a part bag or part pail."""

    what: str
    lot: str
    amount: float  # kg of flake, litres of resin
    keeps_until: date | None = None
    opened: bool = False


@dataclass(frozen=True)
class Need:
    """What one floor takes of one blend on a day, in the unit of its lots."""

    floor: str
    what: str
    amount: float
    day: date


@dataclass(frozen=True)
class Reserved:
    """A floor's share of the stock: from which lots, and how much of it is not there."""

    need: Need
    taken: tuple[Lot, ...]
    short: float

    @property
    def held(self) -> float:
        """How much is put aside."""
        return sum(lot.amount for lot in self.taken)


def reserve(needs: Sequence[Need], stock: Sequence[Lot]) -> tuple[Reserved, ...]:
    """Put stock aside for floors, soonest first and of one day the smallest first.

    A lot past its date on the day of the floor is not counted. Where no single lot holds the
    whole floor, the fullest is put aside and the rest is short: that has to come as one lot.
    """
    left = list(stock)
    found = []
    for need in sorted(needs, key=lambda each: (each.day, each.amount)):
        reserved = _reserve(need, left)
        for taken in reserved.taken:
            index = next(i for i, lot in enumerate(left) if _same(lot, taken))
            left[index] = replace(left[index], amount=left[index].amount - taken.amount)
        found.append(reserved)
    return tuple(found)


def shortages(reserved: Sequence[Reserved], *, until: date) -> tuple[Reserved, ...]:
    """What is short for floors up to that day: the list of the evening before."""
    return tuple(each for each in reserved if each.short > 0 and each.need.day <= until)


def _reserve(need: Need, stock: Sequence[Lot]) -> Reserved:
    names = dict.fromkeys(lot.lot for lot in stock if _fit(lot, need))
    best: Reserved | None = None
    for name in names:
        offered = _from_lot(need, [lot for lot in stock if _fit(lot, need) and lot.lot == name])
        if best is None or _rank(offered) < _rank(best):
            best = offered
    return best or Reserved(need, (), need.amount)


def _from_lot(need: Need, pieces: Sequence[Lot]) -> Reserved:
    """From one lot, part bags before whole ones."""
    wanted, taken = need.amount, []
    for piece in sorted(pieces, key=lambda lot: (not lot.opened, lot.amount)):
        amount = min(wanted, piece.amount)
        if amount > 0:
            taken.append(replace(piece, amount=amount))
            wanted -= amount
    return Reserved(need, tuple(taken), max(0.0, wanted))


def _rank(reserved: Reserved) -> tuple[float, bool, date]:
    """Least short, then from a part bag, then the lot that goes off first."""
    dates = [lot.keeps_until for lot in reserved.taken if lot.keeps_until]
    return (
        reserved.short,
        not any(lot.opened for lot in reserved.taken),
        min(dates, default=date.max),
    )


def _fit(lot: Lot, need: Need) -> bool:
    fresh = lot.keeps_until is None or lot.keeps_until >= need.day
    return lot.what == need.what and lot.amount > 0 and fresh


def _same(lot: Lot, taken: Lot) -> bool:
    return replace(lot, amount=0.0) == replace(taken, amount=0.0) and lot.amount >= taken.amount
