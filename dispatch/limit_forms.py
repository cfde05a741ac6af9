"""The form of a branch's limits: its own values, the default beside each."""

from typing import Any

from django import forms

from dispatch.rules.limit_boxes import BOXES, DEFAULTS, GROUPS, told, unit_of
from dispatch.services.limits import own_values
from dispatch.typed_fields import Typed
from jobs.models import Branch
from jobs.models.branches import Units


class LimitsForm(forms.Form):
    """One box for each limit; empty means the default. The service reads what is typed."""

    use_required_attribute = False

    def __init__(self, *args: Any, branch: Branch, **kwargs: Any) -> None:
        us = branch.units == Units.US
        own = own_values(branch)
        kwargs["initial"] = {name: told(BOXES[name], own[name], us=us) for name in own}
        super().__init__(*args, **kwargs)
        for name, box in BOXES.items():
            default = told(box, DEFAULTS[name], us=us)
            self.fields[name] = Typed(
                label=box.label,
                needed=True,  # an empty box is an answer too, so none is marked
                help_text=f"default: {default} {unit_of(box, us=us)}".strip(),
                widget=forms.TextInput(
                    {"inputmode": "decimal", "autocomplete": "off", "placeholder": default}
                ),
            )

    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The boxes under their headings."""
        return [(title, [self[box.name] for box in boxes]) for title, boxes in GROUPS]
