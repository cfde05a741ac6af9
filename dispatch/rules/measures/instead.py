"""Instead: floors that do not mind the day on which another one cannot be coated."""

from collections.abc import Iterable
from dataclasses import dataclass

from dispatch.rules.findings import Level
from dispatch.rules.measures.situation import Outcome, Situation
from dispatch.rules.measures.starts import badness
from jobs.rules.refusals import CannotPlan

MOST = 3


@dataclass(frozen=True)
class Instead:
    """A floor that could take the day, with what the forecast says of it."""

    key: int
    outcome: Outcome


def instead(waiting: Iterable[tuple[int, Situation]]) -> tuple[Instead, ...]:
    """Those of `waiting` (a key and the floor on that day) that can be coated, best first."""
    found = []
    for key, situation in waiting:
        try:
            outcome = situation.allowed()
        except CannotPlan:
            continue
        if outcome.verdict.level in {Level.GO, Level.CARE}:
            found.append(Instead(key, outcome))
    return tuple(sorted(found, key=lambda each: badness(each.outcome))[:MOST])
