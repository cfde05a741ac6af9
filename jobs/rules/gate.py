"""Gate hours: when a community or a building lets contractors in, by month and weekday."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from typing import Any

from jobs.rules.clock import say_day

WEEKDAYS = ("Mondays", "Tuesdays", "Wednesdays", "Thursdays", "Fridays", "Saturdays", "Sundays")


@dataclass(frozen=True)
class GateRule:
    """Hours of some weekdays in some months; `months` count from 1, Monday is 0."""

    months: tuple[int, ...]
    weekdays: tuple[int, ...]
    opens: time
    closes: time
    noisy_from: time | None = None
    noisy_until: time | None = None
    generator_from: time | None = None
    on_holidays: bool = False
    list_days: int = 0  # working days before, by which the names must be at the gate


def gate_rules(kept: Sequence[Mapping[str, Any]]) -> tuple[GateRule, ...]:
    """The rules as a site keeps them; raises ValueError with a sentence on what is wrong."""
    return tuple(_rule(number, one) for number, one in enumerate(kept, start=1))


def _rule(number: int, kept: Mapping[str, Any]) -> GateRule:
    try:
        rule = GateRule(
            months=tuple(sorted({int(each) for each in kept.get("months", range(1, 13))})),
            weekdays=tuple(sorted({int(each) for each in kept.get("weekdays", range(7))})),
            opens=time.fromisoformat(kept["opens"]),
            closes=time.fromisoformat(kept["closes"]),
            noisy_from=_clock(kept.get("noisy_from")),
            noisy_until=_clock(kept.get("noisy_until")),
            generator_from=_clock(kept.get("generator_from")),
            on_holidays=bool(kept.get("on_holidays", False)),
            list_days=int(kept.get("list_days", 0)),
        )
    except (KeyError, TypeError, ValueError) as trouble:
        raise ValueError(f"Gate rule {number} cannot be read: {trouble}.") from None
    if not rule.opens < rule.closes:
        raise ValueError(f"Gate rule {number} closes before it opens.")
    if not (set(rule.months) <= set(range(1, 13)) and set(rule.weekdays) <= set(range(7))):
        raise ValueError(f"Gate rule {number} names a month or weekday that there is not.")
    if rule.list_days < 0:
        raise ValueError(f"Gate rule {number} asks for names after the day.")
    return rule


def _clock(text: str | None) -> time | None:
    return time.fromisoformat(text) if text else None


def rule_on(
    rules: Sequence[GateRule], day: date, *, holidays: Collection[date] = ()
) -> GateRule | str | None:
    """The rule of that day; a sentence where nobody is let in; None where there is no gate."""
    if not rules:
        return None
    of_season = [rule for rule in rules if day.month in rule.months]
    if not of_season:
        return f"The gate has no hours for contractors in {day:%B}."
    of_day = [rule for rule in of_season if day.weekday() in rule.weekdays]
    if not of_day:
        return f"The gate lets no contractors in on {WEEKDAYS[day.weekday()]} in {day:%B}."
    if day in holidays and not any(rule.on_holidays for rule in of_day):
        return f"The gate lets no contractors in on holidays, and {say_day(day)} is one."
    return of_day[0]
