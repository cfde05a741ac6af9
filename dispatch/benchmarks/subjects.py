"""What can be measured: each subject's size, with its defaults, and what measures it."""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any

from dispatch.benchmarks import offers


@dataclass(frozen=True)
class Subject:
    """`size` is a frozen dataclass of whole numbers; `run` takes one and answers plain values."""

    words: str
    size: Callable[..., Any]
    run: Callable[[Any], dict[str, Any]]

    def numbers(self) -> dict[str, int]:
        """What may be set about its size, with the defaults."""
        usual = self.size()
        return {each.name: getattr(usual, each.name) for each in fields(usual)}


SUBJECTS = {
    "offers": Subject(
        "the best days for a caller: the prepared arrays and the whole page, beside a plain "
        "walk over the same calendar",
        offers.Size,
        offers.run,
    ),
}
