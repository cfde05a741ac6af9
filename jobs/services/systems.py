"""The coating systems that a branch sells: their cards and prices, changed by its owner."""

import hashlib
import json
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from jobs import audit
from jobs.access import Actor
from jobs.models import Branch, CoatingSystem
from jobs.refusals import Invalid, NotFound, Stale
from jobs.rules.card_json import card_to_json
from jobs.rules.cards import Card
from jobs.text import one_line
from jobs.writing import run_write

MOST_PRICE = Decimal(100_000)


@dataclass(frozen=True)
class SystemWanted:
    """A system as it shall be. Prices in the branch's money, by m² and for the smallest floor."""

    card: Card
    price_per_m2: Decimal
    smallest_price: Decimal
    sold: bool


def seen(system: CoatingSystem) -> str:
    """What a page saw of a system, so that two people do not write over each other."""
    kept = [system.name, system.card_json, str(system.price_per_m2), str(system.smallest_price)]
    text = json.dumps([*kept, system.sold], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


@run_write
def add_system(*, branch: Branch, wanted: SystemWanted, by: Actor, now: datetime) -> CoatingSystem:
    """A system more. Raises Invalid if its name or price cannot be."""
    system = CoatingSystem(branch=branch)
    _fill(system, wanted)
    system.save()
    _record(system, by=by, now=now, action="add", before={})
    return system


@run_write
def change_system(
    *, branch: Branch, system_id: int, was: str, wanted: SystemWanted, by: Actor, now: datetime
) -> CoatingSystem:
    """Change a system; what is booked keeps its promises and is judged by the new card.

    Raises NotFound, Stale if it changed since it was `seen`, Invalid.
    """
    wanted_row = CoatingSystem.objects.of_branch(branch).filter(pk=system_id)
    system: CoatingSystem | None = wanted_row.select_for_update().first()
    if system is None:
        raise NotFound("There is no such coating system in this branch.")
    if seen(system) != was:
        raise Stale("Somebody changed this system meanwhile. Please open it again.")
    before = _values(system)
    _fill(system, wanted)
    system.save()
    _record(system, by=by, now=now, action="change", before=before)
    return system


def _fill(system: CoatingSystem, wanted: SystemWanted) -> None:
    name = one_line(wanted.card.name, most=80)
    problems = {}
    others = CoatingSystem.objects.filter(branch=system.branch, name=name).exclude(pk=system.pk)
    if not name:
        problems["name"] = "Please name the system."
    elif others.exists():
        problems["name"] = f"There is already a system called {name}."
    for field in ("price_per_m2", "smallest_price"):
        if not 0 <= getattr(wanted, field) <= MOST_PRICE:
            problems[field] = f"A price lies between 0 and {MOST_PRICE:,}."
    if problems:
        raise Invalid(problems)
    system.name = name
    system.card_json = card_to_json(wanted.card) | {"name": name}
    system.price_per_m2 = wanted.price_per_m2
    system.smallest_price = wanted.smallest_price
    system.sold = wanted.sold


def _values(system: CoatingSystem) -> dict[str, object]:
    prices = {name: str(getattr(system, name)) for name in ("price_per_m2", "smallest_price")}
    return {**system.card_json, **prices, "sold": system.sold}


def _record(
    system: CoatingSystem, *, by: Actor, now: datetime, action: str, before: dict[str, object]
) -> None:
    after = _values(system)
    changed = {key for key, value in after.items() if before.get(key) != value}
    audit.record(
        branch=system.branch,
        by=by,
        subject="system",
        subject_id=system.pk,
        action=action,
        now=now,
        before={key: before[key] for key in sorted(changed & set(before))},
        after={key: after[key] for key in sorted(changed)},
    )
