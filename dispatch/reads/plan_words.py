"""Why a plan puts a floor where it does, in words and money: here, and elsewhere."""

from typing import Any

import numpy as np

from dispatch.reads.plan_rows import PlanRows
from dispatch.reads.plan_settled import Placed
from dispatch.rules.planning.candidates import NOWHERE
from dispatch.rules.planning.model import Floats
from jobs.rules.clock import say_day

ELSEWHERE = 4  # other places that are told of


def parts_of(rows: PlanRows, placed: Placed) -> list[list[Any]]:
    """[dollars, why] of each part of what the place costs, dearest first."""
    moving = int(rows.columns.moving[placed.column]) / 100
    rings = bool(rows.columns.rings[placed.column])
    parts = (
        [[round(part.amount, 2), part.why] for part in placed.offer.parts] if placed.offer else []
    )
    if moving:
        why = "the customer has to be rung" if rings else "it changes what the crew was told"
        parts.append([round(moving, 2), why])
    if not placed.offer:
        parts.append([int(rows.columns.cost[placed.column]) / 100, "as it stands"])
    return sorted(parts, key=lambda part: -part[0])


def reasons_of(rows: PlanRows, placed: Placed, duals: Floats) -> list[dict[str, Any]]:
    """The best places it does not get, one a day, and what each would cost more.

    `own` is what the floor itself would pay more there, `wanted` what that crew's day is worth
    to others (the solver's price of it), `more` both together. Dollars.
    """
    if not len(duals):
        return []
    built = rows.built
    columns = np.flatnonzero(rows.columns.floor == placed.floor)
    reduced = built.model.reduced(duals)[columns]
    here = int(np.flatnonzero(columns == placed.column)[0])
    prices = built.slot_price(duals)
    found: list[dict[str, Any]] = []
    seen = {int(rows.columns.day[placed.column])}
    for at in np.argsort(reduced, kind="stable"):
        column = int(columns[at])
        day = int(rows.columns.day[column])
        if day in seen or len(found) == ELSEWHERE:
            continue
        seen.add(day)
        wanted = _wanted(rows, prices, column) / 100
        more = max(0.0, float(reduced[at] - min(0.0, reduced[here]))) / 100
        found.append(_reason(rows, column, own=more - wanted, wanted=wanted, more=more))
    return found


def _wanted(rows: PlanRows, prices: Floats, column: int) -> float:
    """Price (cents) of every crew-day that a column takes."""
    crew = int(rows.columns.crew[column])
    days = [int(rows.columns.day[column]), int(rows.columns.second[column])]
    return float(sum(prices[crew, day] for day in days if day != NOWHERE))


def _reason(
    rows: PlanRows, column: int, *, own: float, wanted: float, more: float
) -> dict[str, Any]:
    day = rows.floors.calendar.days[int(rows.columns.day[column])]
    crew = rows.floors.calendar.staff.crews[int(rows.columns.crew[column])]
    itself = f"${own:,.0f} dearer by itself" if own >= 0 else f"${-own:,.0f} cheaper by itself"
    others = f"that crew's day is worth ${wanted:,.0f} to other floors" if wanted >= 1 else ""
    words = f"{crew} on {say_day(day)}: {itself}"
    words += f", but {others}" if others else ""
    return {
        "crew": crew.pk,
        "day": day.isoformat(),
        "own": round(own, 2),
        "wanted": round(wanted, 2),
        "more": round(more, 2),
        "words": f"{words}. Together ${more:,.0f} more than here.",
    }
