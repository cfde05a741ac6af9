"""Limits and costs that a branch sets itself; everything else keeps its default."""

import hashlib
import json
from collections.abc import Mapping
from datetime import datetime

from django.db.models import F

from dispatch.rules.limit_boxes import BOXES, THRESHOLDS, BadLimits, read_limits
from jobs import audit
from jobs.access import Actor
from jobs.models import Branch
from jobs.models.branches import Units
from jobs.refusals import Invalid, Stale
from jobs.writing import run_write


def own_values(branch: Branch) -> dict[str, float]:
    """What the branch has set itself, by name, in metric."""
    kept = {**branch.costs, **branch.thresholds}
    return {name: value for name, value in kept.items() if name in BOXES}


def seen(branch: Branch) -> str:
    """What a page saw, so that two people do not write over each other."""
    text = json.dumps([branch.thresholds, branch.costs], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


@run_write
def set_limits(
    *, branch: Branch, typed: Mapping[str, str], was: str, by: Actor, now: datetime
) -> Branch:
    """Keep the boxes as typed; an empty one goes back to its default.

    The next round judges by them. Raises Stale, and Invalid with a sentence for each box.
    """
    row: Branch = Branch.objects.select_for_update().get(pk=branch.pk)
    if was != seen(row):
        raise Stale("Somebody has changed the limits meanwhile. Please look at them again.")
    before = own_values(row)
    try:
        own = read_limits(typed, kept=before, us=row.units == Units.US)
    except BadLimits as wrong:
        raise Invalid(wrong.problems) from None
    if own == before:
        return row
    # What has no box here is kept as it is.
    limits = {name: each for name, each in row.thresholds.items() if name not in BOXES}
    costs = {name: each for name, each in row.costs.items() if name not in BOXES}
    for name, value in own.items():
        (limits if name in THRESHOLDS else costs)[name] = value
    row.thresholds, row.costs = limits, costs
    row.save(update_fields=["thresholds", "costs"])
    Branch.objects.filter(pk=row.pk).update(calendar_version=F("calendar_version") + 1)
    changed = {name for name in before.keys() | own.keys() if before.get(name) != own.get(name)}
    audit.record(
        branch=row, by=by, subject="branch", subject_id=row.pk, action="set limits", now=now,
        before={name: before.get(name) for name in sorted(changed)},
        after={name: own.get(name) for name in sorted(changed)},
    )  # fmt: skip
    return row
