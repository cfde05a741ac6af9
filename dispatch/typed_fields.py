"""Boxes of forms that are read by the rules of the jobs: a page refuses like a file."""

from collections.abc import Callable
from typing import Any

from django import forms

from jobs.rules.typed import Unreadable, read_count, read_number


class Typed(forms.CharField):
    """A box whose text is read by `read`; a sentence of its own where that cannot be.

    `needed` only marks the label: whether something is missing, the service says.
    """

    def __init__(
        self,
        *,
        read: Callable[[str], object] = str,
        empty: object = "",
        needed: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(**{"required": needed, **kwargs})
        self.read = read
        self.empty = empty
        # A NUL and other controls are dropped when the text is cleaned.
        self.validators = []

    def clean(self, value: Any) -> Any:
        text = self.to_python(value)
        if not text:
            return self.empty
        try:
            return self.read(text)
        except Unreadable as trouble:
            raise forms.ValidationError(str(trouble)) from None


def measure_box(*, us: bool, convert: Callable[[float], float], **kwargs: Any) -> Typed:
    """A box for a measure, kept in metric."""

    def read(text: str) -> float:
        number = read_number(text, us=us)
        return convert(number) if us else number

    widget = forms.TextInput({"inputmode": "decimal", "autocomplete": "off"})
    return Typed(read=read, widget=widget, **kwargs)


def count_box(**kwargs: Any) -> Typed:
    widget = forms.TextInput({"inputmode": "numeric", "autocomplete": "off"})
    return Typed(read=read_count, empty=0, widget=widget, **kwargs)


def picker(kind: str) -> forms.TextInput:
    """The browser's own picker of days or moments; without one it is a box like any other."""
    return forms.TextInput({"type": kind})
