"""What can be measured: each subject's size, with its defaults, and what measures it."""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any

from dispatch.benchmarks import feeds, flat, offers, pictures, plans, refresh, slabs, weeks


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
    "feed": Subject(
        "a poll of a calendar of 400 events, whole and not modified, beside one that is made "
        "anew from the bookings",
        feeds.Size,
        feeds.run,
    ),
    "flat": Subject(
        "requests with 400,000 bookings gone by, beside the same with 4,000",
        flat.Size,
        flat.run,
    ),
    "offers": Subject(
        "the best days for a caller: the prepared arrays and the whole page, beside a plain "
        "walk over the same calendar",
        offers.Size,
        offers.run,
    ),
    "picture": Subject(
        "the drawing of a full week of 40 crews, beside a template",
        pictures.Size,
        pictures.run,
    ),
    "plan": Subject(
        "solving a company's plan and its re-plan after a wet front, beside best insertion",
        plans.Size,
        plans.run,
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
    "week": Subject(
        "the week of a branch with years behind it, beside a plain walk over all its stints",
        weeks.Size,
        weeks.run,
    ),
}
