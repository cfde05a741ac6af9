"""The branch's own table of wet days by month, for days that no forecast reaches."""

from collections.abc import Mapping
from datetime import datetime

from jobs import audit
from jobs.access import Actor
from jobs.models import Branch
from jobs.refusals import Refusal
from jobs.writing import run_write


def read_table(typed: Mapping[str, str]) -> dict[str, int]:
    """Month ("1" to "12") to wet days in a hundred; an empty box leaves its month out."""
    table = {}
    for number in range(1, 13):
        text = typed.get(str(number), "").strip().rstrip("%").strip()
        if not text:
            continue
        if not (text.isascii() and text.isdigit() and len(text) <= 3 and int(text) <= 100):
            raise Refusal(
                f"Wet days in a hundred are a whole number from 0 to 100, not {text[:20]!r}.",
                field=f"month-{number}",
            )
        table[str(number)] = int(text)
    return table


@run_write
def set_wet_months(
    *, branch: Branch, typed: Mapping[str, str], by: Actor, now: datetime
) -> dict[str, int]:
    """Keep the table for `branch`; who changed it and from what stands in the audit."""
    table = read_table(typed)
    held = Branch.objects.select_for_update().get(pk=branch.pk)
    before = dict(held.wet_months)
    if table != before:
        Branch.objects.filter(pk=branch.pk).update(wet_months=table)
        audit.record(
            branch=branch,
            by=by,
            subject="branch",
            subject_id=branch.pk,
            action="changed the wet months",
            now=now,
            before=before,
            after=table,
        )
    return table
