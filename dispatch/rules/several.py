"""Several floors in one go: the worst verdict is shown, with the earliest last pour of any."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

from dispatch.rules.verdicts import Verdict


def worst_of(verdicts: Sequence[Verdict]) -> Verdict:
    """The verdict on floors that one crew pours in one go; there is at least one."""
    worst = max(verdicts, key=lambda verdict: verdict.level.severity)
    pours = [each for each in verdicts if each.last_safe_pour is not None]
    if not pours:
        return worst
    first = min(pours, key=_last_pour)
    return replace(
        worst,
        last_safe_pour=first.last_safe_pour,
        binds=first.binds,
        slack_min=first.slack_min,
    )


def _last_pour(verdict: Verdict) -> datetime:
    return verdict.last_safe_pour or datetime.max.replace(tzinfo=UTC)
