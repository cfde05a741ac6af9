"""The form of a quick answer: what a caller says in the first half minute."""

import uuid
from typing import Any

from django import forms

from dispatch.typed_fields import Typed, count_box, measure_box
from jobs.models import Branch, CoatingSystem
from jobs.models.branches import Units
from jobs.models.customers import CONDITIONS, EXPOSURES
from jobs.rules.units import m2_from_ft2
from jobs.services.describing import Rest, Told

BY_FIELD = {"area_m2": "area"}


class QuickForm(forms.Form):
    """Postal code, area, exposure and system; the rest may wait."""

    use_required_attribute = False

    key = forms.CharField(widget=forms.HiddenInput, max_length=64, required=False)
    postal_code = Typed(
        label="Postal code",
        needed=True,
        widget=forms.TextInput({"inputmode": "numeric", "autofocus": True}),
    )
    latitude = Typed(label="Latitude")
    longitude = Typed(label="Longitude")
    zone = Typed(label="Time zone", help_text="Such as Europe/Berlin.")
    exposure = Typed(
        label="Where it is",
        needed=True,
        widget=forms.Select(choices=[("", "Choose"), *EXPOSURES]),
    )
    condition = Typed(
        label="On the slab today", initial="bare", widget=forms.Select(choices=CONDITIONS)
    )
    steps = count_box(label="Steps")
    system_id = Typed(label="Coating system", empty=None, needed=True, widget=forms.Select())
    customer_name = Typed(label="Name")
    telephone = Typed(label="Telephone", widget=forms.TextInput({"type": "tel"}))

    def __init__(self, *, branch: Branch, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        us = branch.units == Units.US
        self.initial.setdefault("key", uuid.uuid4().hex)
        self.fields["area"] = measure_box(
            us=us,
            convert=m2_from_ft2,
            label=f"Area in {'sq ft' if us else 'm²'}",
            needed=True,
            empty=None,
        )
        sold = CoatingSystem.objects.of_branch(branch).filter(sold=True)
        systems = [(str(system.pk), system.name) for system in sold]
        chosen = self.fields["system_id"]
        chosen.widget.choices = [("", "Choose"), *systems]
        assert isinstance(chosen, Typed)  # noqa: S101  for the type checker
        chosen.read = _number
        if len(systems) == 1:
            self.initial.setdefault("system_id", systems[0][0])
        by_hand = branch.country != "US"
        for name in ("latitude", "longitude", "zone"):
            self.fields[name].required = by_hand
            if not by_hand:
                del self.fields[name]
        self.fields["postal_code"].required = not by_hand
        places = ["postal_code", "latitude", "longitude", "zone"]
        self.order_fields([*places, "area", "exposure", "system_id", "condition", "steps"])

    def told(self) -> Told:
        """What could be read; the rest as if it had been left empty."""
        values = {name: value for name, value in self.cleaned_data.items() if name != "key"}
        area_m2 = values.pop("area", None)
        asked: dict[str, Any] = {"exposure": "", "system_id": None} | values
        return Told(**asked, area_m2=area_m2)

    def tell(self, problems: dict[str, str]) -> None:
        """Put each sentence at its field, unless it could not even be read."""
        for field, sentence in problems.items():
            name = BY_FIELD.get(field, field)
            if name not in self.fields:
                self.add_error(None, sentence)
            elif name not in self.errors:
                self.add_error(name, sentence)


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 19 else 0


class RestForm(forms.Form):
    """Name, street and what else was not asked while the caller was on the line."""

    use_required_attribute = False

    customer_name = Typed(label="Name", needed=True)
    street = Typed(label="Street and number", needed=True)
    telephone = Typed(label="Telephone", widget=forms.TextInput({"type": "tel"}))
    email = Typed(label="E-mail", widget=forms.TextInput({"inputmode": "email"}))
    color = Typed(label="Color or blend")
    notes = Typed(label="Notes", widget=forms.Textarea({"rows": 3}))

    def rest(self) -> Rest:
        """What could be read."""
        return Rest(**{"customer_name": "", "street": "", **self.cleaned_data})

    def tell(self, problems: dict[str, str]) -> None:
        """Put each sentence at its field."""
        for field, sentence in problems.items():
            self.add_error(field if field in self.fields else None, sentence)
