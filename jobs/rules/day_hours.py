"""The hours of one day at one site: when work and noise may begin and must end."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, time

from jobs.rules.gate import GateRule, rule_on

ALL_DAY = time(23, 59)


@dataclass(frozen=True)
class Starts:
    """When a branch lets its crews begin; defaults are choices."""

    step_min: int = 30  # one start offered every so often within the hours
    hot_from_c: float = 30.0  # a day whose air gets this warm begins early
    margin_min: int = 60  # kept before the hour at which a room opens again


@dataclass(frozen=True)
class OwnHours:
    """What a branch or a site says of every day; None where it says nothing."""

    opens: time | None = None
    closes: time | None = None
    noisy_from: time | None = None
    noisy_until: time | None = None


@dataclass(frozen=True)
class DayHours:
    """Wall clock times of one day; `closed` is a sentence where nobody may work."""

    opens: time
    closes: time
    noisy_from: time
    noisy_until: time
    generator_from: time | None = None
    list_days: int = 0
    closed: str = ""


def hours_of(
    day: date,
    *,
    branch: OwnHours,
    site: OwnHours,
    gate: Sequence[GateRule] = (),
    holidays: Collection[date] = (),
    early_from: time | None = None,
    hot: bool = False,
) -> DayHours:
    """The tightest of branch, site and gate for that day.

    On a hot day the crew may be there from `early_from`, before the branch opens and inside
    the quiet hours: it sets up quietly, and the noise still waits for its hour. A site or a
    gate that opens later has the last word.
    """
    opens = branch.opens or time(0)
    if hot and early_from is not None:
        opens = min(opens, early_from)
    whole = DayHours(
        opens=max(opens, site.opens or time(0)),
        closes=min(branch.closes or ALL_DAY, site.closes or ALL_DAY),
        noisy_from=site.noisy_from or branch.noisy_from or time(0),
        noisy_until=site.noisy_until or branch.noisy_until or ALL_DAY,
    )
    rule = rule_on(gate, day, holidays=holidays)
    if isinstance(rule, str):
        return replace(whole, closed=rule)
    return whole if rule is None else _through(whole, rule)


def _through(whole: DayHours, rule: GateRule) -> DayHours:
    return replace(
        whole,
        opens=max(whole.opens, rule.opens),
        closes=min(whole.closes, rule.closes),
        noisy_from=max(whole.noisy_from, rule.noisy_from or time(0)),
        noisy_until=min(whole.noisy_until, rule.noisy_until or ALL_DAY),
        generator_from=rule.generator_from,
        list_days=rule.list_days,
    )
