"""What the office types to take in floors. Forms read values; services say what is wrong.

So the page, the file and the API refuse with the same sentences. A field of a form is named
like the field of `NewJob` or `NewFloor` it fills, without the unit, which the branch sets.
"""

import uuid
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import partial
from typing import Any

from django import forms

from dispatch.typed_fields import Typed, count_box, measure_box, picker
from jobs.models import Branch, DayWish
from jobs.models.branches import Units
from jobs.models.customers import CONDITIONS, EXPOSURES, OTHER_WATER
from jobs.rules.backlog_text import MOST_BYTES
from jobs.rules.new_jobs import NewFloor, NewJob
from jobs.rules.typed import read_count, read_day, read_days, read_moment
from jobs.rules.units import m2_from_ft2, m_from_ft
from jobs.services import intake
from jobs.services.checking import Desk

FLOORS = 3  # on one page; an order with more is two orders
FLOOR_FIELDS = {
    "area_m2": "area",
    "edge_m": "edge",
    "crack_m": "cracks",
    "stem_wall_m": "stem_wall",
    "way_in_m": "way_in",
}
UNIT_FIELDS = {name: field for field, name in FLOOR_FIELDS.items()}


class OrderForm(forms.Form):
    """Customer, address, system and the customer's conditions."""

    use_required_attribute = False  # the page says everything that is missing at once

    key = forms.CharField(widget=forms.HiddenInput, max_length=64, required=False)
    customer_name = Typed(label="Name", needed=True)
    telephone = Typed(
        label="Telephone",
        needed=True,
        help_text="A telephone number or an e-mail address is needed; best are both.",
        widget=forms.TextInput({"type": "tel"}),
    )
    email = Typed(label="E-mail", widget=forms.TextInput({"inputmode": "email"}))
    street = Typed(label="Street and number", needed=True)
    postal_code = Typed(label="Postal code", needed=True)
    town = Typed(label="Town", help_text="Taken from the postal code if left empty.")
    region = Typed(label="State or region")
    latitude = Typed(label="Latitude", help_text="In degrees, such as 33.521. North is above zero.")
    longitude = Typed(
        label="Longitude", help_text="In degrees, such as -86.802. West is below zero."
    )
    zone = Typed(label="Time zone", help_text="Such as America/Chicago.")
    access = Typed(label="Way in", help_text="Gate, key, where the trailer stands.")
    power = Typed(label="Power", help_text="Which socket, how many amps, how far away.")
    only_way_in = forms.BooleanField(
        label="The floor is the only way into the house", required=False
    )
    volts = Typed(
        label="Volts of the best outlet", empty=None, read=read_count, help_text="Such as 240."
    )
    amps = Typed(label="Amps of its fuse", empty=None, read=read_count, help_text="Such as 30.")
    system_id = Typed(label="Coating system", empty=None, needed=True, widget=forms.Select())
    color = Typed(label="Color or blend")
    day_wish = Typed(
        label="How much the day matters",
        needed=True,
        initial=DayWish.ANY.value,
        widget=forms.RadioSelect(choices=DayWish.choices),
    )
    wished_day = Typed(label="Preferred day", empty=None, widget=picker("date"))
    impossible_days = Typed(label="Days that do not work", empty=())
    car_needed_by = Typed(
        label="Car needed back by",
        empty=None,
        widget=picker("datetime-local"),
        help_text="By the clock at the site.",
    )
    can_come_soon = forms.BooleanField(
        label="Can take a day at short notice when one falls free", required=False
    )
    notes = Typed(label="Notes", widget=forms.Textarea({"rows": 3}))

    def __init__(self, *, branch: Branch, desk: Desk, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        us = desk.us
        self.initial.setdefault("key", uuid.uuid4().hex)
        systems = [(str(pk), system.name) for pk, system in desk.systems.items()]
        self._set("system_id", read=_system_number)
        self.fields["system_id"].widget.choices = [("", "Choose a system"), *systems]
        self._set("wished_day", read=partial(read_day, us=us))
        self._set("car_needed_by", read=partial(read_moment, us=us))
        self._set("impossible_days", read=partial(read_days, us=us))
        shown = (
            "6/18/2026, 6/22/2026 to 6/26/2026" if us else "2026-06-18, 2026-06-22 to 2026-06-26"
        )
        self.fields["impossible_days"].help_text = f"Such as {shown}."
        self.fields["way_in"] = measure_box(
            us=us,
            convert=m_from_ft,
            label=f"Narrowest way in, {'ft' if us else 'm'}",
            empty=None,
            help_text="Left empty, the smallest grinder is reckoned with.",
        )
        if branch.country != "US":
            self.fields["postal_code"].required = False
            for name in ("town", "latitude", "longitude", "zone"):
                self.fields[name].required = True
            self.fields["town"].help_text = ""

    def _set(self, name: str, *, read: Callable[[str], object]) -> None:
        field = self.fields[name]
        assert isinstance(field, Typed)  # noqa: S101  for the type checker
        field.read = read

    def values(self) -> dict[str, Any]:
        """What could be read, by the fields of `NewJob`."""
        values = {name: value for name, value in self.cleaned_data.items() if name != "key"}
        return {UNIT_FIELDS.get(name, name): value for name, value in values.items()}


def _system_number(text: str) -> int:
    """The key of a system; whatever is none of the list is none of the branch either."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 19 else 0


class FloorForm(forms.Form):
    """One surface, in the units of the branch."""

    use_required_attribute = False

    name = Typed(label="What it is called", help_text="Such as Garage.")
    exposure = Typed(
        label="Where it is",
        needed=True,
        widget=forms.Select(choices=[("", "Choose"), *EXPOSURES]),
    )
    condition = Typed(
        label="On the slab today",
        needed=True,
        initial="bare",
        widget=forms.Select(choices=CONDITIONS),
    )
    steps = count_box(label="Steps")
    spalls = count_box(label="Pits and spalls to fill")
    bays = Typed(
        label="Bays between joints",
        empty=1,
        read=read_count,
        help_text="Only for large floors: they are coated bay by bay.",
    )
    porous = forms.BooleanField(label="Block or rough concrete", required=False)
    other_water = forms.MultipleChoiceField(
        label="Other water that reaches it",
        choices=OTHER_WATER,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="What was seen there, besides the rain that falls on it.",
    )
    poured_on = Typed(
        label="Concrete poured on",
        empty=None,
        widget=picker("date"),
        help_text="Only for new concrete.",
    )

    def __init__(self, *, us: bool, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        unit = "ft" if us else "m"
        length = partial(measure_box, us=us, convert=m_from_ft)
        self.fields |= {
            "area": measure_box(
                us=us,
                convert=m2_from_ft2,
                label=f"Area in {'sq ft' if us else 'm²'}",
                needed=True,
                empty=None,
            ),
            "edge": length(
                label=f"Edge in {unit}",
                empty=None,
                help_text="All around. Left empty, that of a square is assumed.",
            ),
            "cracks": length(label=f"Cracks in {unit}", empty=0.0),
            "stem_wall": length(label=f"Stem wall in {unit}", empty=0.0),
        }
        poured_on = self.fields["poured_on"]
        assert isinstance(poured_on, Typed)  # noqa: S101  for the type checker
        poured_on.read = partial(read_day, us=us)
        self.order_fields(
            ["name", "exposure", "area", "edge", "condition", "cracks", "steps", "stem_wall"]
        )

    def has_changed(self) -> bool:
        """Whether somebody typed anything; bare concrete is chosen from the start."""
        return self.is_bound and bool(set(self.changed_data) - {"condition"})

    def floor(self) -> NewFloor:
        """What could be read; the rest as if it had been left empty."""
        values = {UNIT_FIELDS.get(name, name): value for name, value in self.cleaned_data.items()}
        values["other_water"] = tuple(values.get("other_water", ()))
        return NewFloor(**{"exposure": "", "area_m2": None, **values})


class IntakeForms:
    """The forms of one order: itself, its first floor, and more floors that may stay empty."""

    def __init__(
        self, *, branch: Branch, now: datetime, data: Mapping[str, Any] | None = None
    ) -> None:
        self.branch, self.now = branch, now
        desk = Desk.of(branch, now=now)
        self.has_systems = bool(desk.systems)
        self.order = OrderForm(branch=branch, desk=desk, data=data)
        self.floors = [
            FloorForm(
                us=branch.units == Units.US,
                data=data,
                prefix=f"floor{number}",
                empty_permitted=number > 0,
            )
            for number in range(FLOORS)
        ]

    def is_valid(self) -> bool:
        """Whether the order can be taken in; otherwise every field at fault says why."""
        self.order.full_clean()
        for form in self.used_floors():
            form.full_clean()
        self.tell(intake.problems_of(branch=self.branch, new=self.new_job(), now=self.now))
        return not self.errors()

    def used_floors(self) -> list[FloorForm]:
        """The first floor, and the others if something was typed there."""
        return [form for form in self.floors if not form.empty_permitted or form.has_changed()]

    def new_job(self) -> NewJob:
        """The order as far as it could be read."""
        asked: dict[str, Any] = {"customer_name": "", "street": "", "system_id": None}
        asked |= self.order.values()
        return NewJob(**asked, floors=tuple(form.floor() for form in self.used_floors()))

    def key(self) -> str:
        """The key that makes sending this page twice harmless."""
        return str(self.order.cleaned_data.get("key", ""))

    def new_key(self) -> None:
        """Let the page be sent as another order."""
        self.order.data = {name: self.order.data[name] for name in self.order.data}
        self.order.data["key"] = uuid.uuid4().hex

    def tell(self, problems: Mapping[str, str]) -> None:
        """Put each sentence at its field, unless what was typed there could not even be read."""
        for field, sentence in problems.items():
            form: forms.Form = self.order
            name: str | None = FLOOR_FIELDS.get(field, field)
            if field.startswith("floors."):
                _, number, name = field.split(".")
                form = self.used_floors()[int(number)]
                name = FLOOR_FIELDS.get(name, name)
            if name not in form.fields:
                name = None
            if name is None or name not in form.errors:
                form.add_error(name, sentence)

    def errors(self) -> list[tuple[str, str]]:
        """All that is wrong, from top to bottom: (id of the box, sentence)."""
        return [
            (form[name].id_for_label if name in form.fields else "", str(sentence))
            for form in (self.order, *self.used_floors())
            for name, sentences in form.errors.items()
            for sentence in sentences
        ]


class BacklogForm(forms.Form):
    """A file, or its text; what is wrong with it, the service says by line and column."""

    file = forms.FileField(
        label="CSV file",
        required=False,
        allow_empty_file=True,
        widget=forms.FileInput({"accept": ".csv,text/csv"}),
    )
    text = Typed(
        label="Or paste its text",
        strip=False,
        widget=forms.Textarea({"rows": 8, "spellcheck": "false", "wrap": "off"}),
    )

    def content(self) -> bytes:
        """The bytes of the file, else of the text; a little over the limit is enough to refuse."""
        upload = self.cleaned_data.get("file")
        if upload:
            return bytes(upload.read(MOST_BYTES + 1))
        return str(self.cleaned_data["text"]).encode(errors="replace")
