"""A branch's rates: taking over what its own days have taught, or leaving that again."""

from collections.abc import Mapping
from datetime import datetime

from jobs import audit
from jobs.access import Actor
from jobs.models import Branch
from jobs.refusals import Invalid
from jobs.rules.learning import BELIEVED, PARTS
from jobs.writing import run_write

LEARNT = "learnt"


@run_write
def use_learnt(*, branch_id: int, factors: Mapping[str, float], by: Actor, now: datetime) -> Branch:
    """Reckon with these factors from now on; with none, with the branch's own rates again.

    Nothing that is booked changes by it. Raises Invalid.
    """
    wrong = [part for part, factor in factors.items() if not _usable(part, factor)]
    if wrong:
        raise Invalid(dict.fromkeys(sorted(wrong), "This factor cannot be used."))
    branch = Branch.objects.select_for_update().get(pk=branch_id)
    before = branch.rates.get(LEARNT, {})
    kept = {name: value for name, value in branch.rates.items() if name != LEARNT}
    after = {part: round(factor, 4) for part, factor in factors.items()}
    branch.rates = {**kept, LEARNT: after} if after else kept
    branch.calendar_version += 1
    branch.save(update_fields=["rates", "calendar_version"])
    audit.record(
        branch=branch,
        by=by,
        subject="branch",
        subject_id=branch.pk,
        action="learnt rates",
        now=now,
        before={LEARNT: before},
        after={LEARNT: after},
    )
    return branch


def _usable(part: str, factor: float) -> bool:
    return part in PARTS and 1 / BELIEVED <= factor <= BELIEVED
