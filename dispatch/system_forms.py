"""The form of a coating system: its card box by box, and its prices, in the branch's units."""

from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django import forms

from dispatch.typed_fields import Typed
from jobs.models import Branch, CoatingSystem
from jobs.models.branches import Units
from jobs.refusals import Invalid
from jobs.rules.card_boxes import BOXES, GROUPS, TABLES, BadBoxes, Kind, read_card, shown, unit_of
from jobs.rules.typed import read_number
from jobs.rules.units import M2_PER_FT2
from jobs.services.systems import SystemWanted

CENT = Decimal("0.01")


class SystemForm(forms.Form):
    """One system of a branch, or a copy of one that shall become another."""

    use_required_attribute = False

    name = Typed(label="Name", needed=True)
    table = Typed(label="How the times are read", widget=forms.Select(choices=TABLES))
    two_days = forms.BooleanField(label="The top coat goes down another day", required=False)
    overnight = forms.BooleanField(label="The broadcast base may wait overnight", required=False)
    sold = forms.BooleanField(label="Is sold: can be chosen for new floors", required=False)
    source = Typed(
        label="Where the numbers come from",
        help_text="The data sheet's title and date. It overrides every number here.",
    )

    def __init__(self, *args: Any, system: CoatingSystem, branch: Branch, **kwargs: Any) -> None:
        self.system, self.us = system, branch.units == Units.US
        self.texts = {**shown(system.card, us=self.us), **self._prices()}
        card = system.card
        kwargs["initial"] = self.texts | {
            "name": system.name,
            "table": card.table.value,
            "two_days": card.two_days,
            "overnight": card.overnight,
            "sold": system.sold,
            "source": card.sources.get("card", ""),
        }
        super().__init__(*args, **kwargs)
        area = "sq ft" if self.us else "m²"
        self.fields["price_per_m2"] = self._number(f"Price by {area}")
        self.fields["smallest_price"] = self._number("Price of the smallest floor")
        for box in BOXES.values():
            lines = box.kind in (Kind.TIMES, Kind.MINUTES)
            self.fields[box.name] = Typed(
                label=box.label,
                needed=not box.may_be_empty,
                help_text=unit_of(box, us=self.us),
                widget=forms.Textarea({"rows": 3}) if lines else _decimal(),
            )

    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The boxes of the card under their headings."""
        return [(title, [self[box.name] for box in boxes]) for title, boxes in GROUPS]

    def wanted(self) -> SystemWanted:
        """The system as typed. Raises Invalid with a sentence for every box at fault."""
        typed = self.cleaned_data
        try:
            card = read_card(
                {name: typed[name] for name in BOXES},
                kept=self.system.card,
                name=typed["name"],
                table=typed["table"],
                two_days=typed["two_days"],
                overnight=typed["overnight"],
                source=typed["source"],
                us=self.us,
            )
        except BadBoxes as wrong:
            raise Invalid(wrong.problems) from None
        return SystemWanted(
            card=card,
            price_per_m2=self._price("price_per_m2", by_area=True),
            smallest_price=self._price("smallest_price", by_area=False),
            sold=typed["sold"],
        )

    def _prices(self) -> dict[str, str]:
        by_area = self.system.price_per_m2 * self._area()
        return {
            "price_per_m2": f"{by_area:.2f}",
            "smallest_price": f"{self.system.smallest_price:.2f}",
        }

    def _price(self, name: str, *, by_area: bool) -> Decimal:
        typed = self.cleaned_data[name]
        if typed is None:
            raise Invalid({name: "Please fill this in."})
        if f"{typed:.2f}" == self.texts[name]:
            return Decimal(getattr(self.system, name))
        price = Decimal(str(typed)) / (self._area() if by_area else 1)
        return price.quantize(CENT, rounding=ROUND_HALF_UP)

    def _area(self) -> Decimal:
        return Decimal(str(M2_PER_FT2)) if self.us else Decimal(1)

    def _number(self, label: str) -> Typed:
        def read(text: str) -> float:
            return read_number(text, us=self.us)

        return Typed(label=label, needed=True, empty=None, read=read, widget=_decimal())


def _decimal() -> forms.TextInput:
    return forms.TextInput({"inputmode": "decimal", "autocomplete": "off"})
