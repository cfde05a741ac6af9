"""What can be measured: each subject's size, with its defaults, and what measures it."""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any

from dispatch.benchmarks import offers, refresh, slabs


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
    "refresh": Subject(
        "what a new forecast costs a place and a floor, beside a place for every site, a row an "
        "hour and verdicts at every tick",
        refresh.Size,
        refresh.run,
    ),
    "slabs": Subject(
        "the slab of a floor, alone and among a hundred, beside layers solved anew each hour",
        slabs.Size,
        slabs.run,
    ),
}
