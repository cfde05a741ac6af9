"""Price of a floor: by area, with extras and a least price. Money in the branch's currency."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from jobs.rules.plan import Condition, Work

CENT = Decimal("0.01")
NOTHING = Decimal(0)


@dataclass(frozen=True)
class PriceList:
    """What a branch asks. Extras are made-up figures to start with; every branch sets its own."""

    per_m2: Decimal
    least: Decimal = Decimal("1500.00")
    per_step: Decimal = Decimal("60.00")
    per_stem_wall_m: Decimal = Decimal("25.00")
    per_crack_m: Decimal = Decimal("20.00")
    per_spall: Decimal = Decimal("15.00")
    sealer_per_m2: Decimal = Decimal("8.00")
    thick_per_m2: Decimal = Decimal("22.00")

    def condition_per_m2(self, condition: Condition) -> Decimal:
        """What the state of the slab adds to each m²."""
        extras = {Condition.SEALER: self.sealer_per_m2, Condition.THICK: self.thick_per_m2}
        return extras.get(condition, NOTHING)


@dataclass(frozen=True)
class PriceLine:
    """One line of a price, in words and money."""

    words: str
    amount: Decimal


@dataclass(frozen=True)
class Price:
    """A price by its lines, each rounded to the cent."""

    lines: tuple[PriceLine, ...]

    @property
    def total(self) -> Decimal:
        """What the customer pays."""
        return sum((line.amount for line in self.lines), NOTHING)


def floor_price(*, work: Work, prices: PriceList) -> Price:
    """The price of one floor; lines that come to nothing are left out."""
    parts: tuple[tuple[str, float, Decimal], ...] = (
        ("Floor", work.area_m2, prices.per_m2),
        ("Removing what is on it", work.area_m2, prices.condition_per_m2(work.condition)),
        ("Steps", work.steps, prices.per_step),
        ("Stem walls", work.stem_wall_m, prices.per_stem_wall_m),
        ("Cracks", work.crack_m, prices.per_crack_m),
        ("Pits", work.spalls, prices.per_spall),
    )
    lines = [PriceLine(words, _money(amount, each)) for words, amount, each in parts]
    return Price(tuple(line for line in lines if line.amount))


def job_price(floors: Sequence[tuple[Work, PriceList]]) -> Price:
    """The price of all floors of one job, brought up to the highest least price among them."""
    lines = [
        line for work, prices in floors for line in floor_price(work=work, prices=prices).lines
    ]
    least = max((prices.least for _, prices in floors), default=NOTHING)
    missing = least - Price(tuple(lines)).total
    if missing > 0:
        lines.append(PriceLine("Up to the least price of a visit", _cents(missing)))
    return Price(tuple(lines))


def _money(amount: float, each: Decimal) -> Decimal:
    # Measures are floats; their text is the number a person typed or converted.
    return _cents(Decimal(repr(float(amount))) * each)


def _cents(money: Decimal) -> Decimal:
    return money.quantize(CENT, rounding=ROUND_HALF_UP)
