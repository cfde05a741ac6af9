"""Writing down who changed what: in the transaction of the change, never later."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from jobs.access import Actor
from jobs.models import AuditEvent, Branch


def record(
    *,
    branch: Branch,
    by: Actor,
    subject: str,
    subject_id: int,
    action: str,
    now: datetime,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
    why: str = "",
    group: str = "",
) -> AuditEvent:
    """Keep one change for ever. `before` and `after` hold plain JSON values; events of
    one change share a `group`.
    """
    kept = event(
        branch=branch,
        by=by,
        subject=subject,
        subject_id=subject_id,
        action=action,
        now=now,
        before=before,
        after=after,
        why=why,
        group=group,
    )
    kept.save(force_insert=True)
    return kept


def record_all(events: Iterable[AuditEvent]) -> None:
    """Keep many changes at once, in one query for some hundreds of them."""
    AuditEvent.objects.bulk_create(list(events))


def event(
    *,
    branch: Branch,
    by: Actor,
    subject: str,
    subject_id: int,
    action: str,
    now: datetime,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
    why: str = "",
    group: str = "",
) -> AuditEvent:
    """The change as `record` keeps it, for `record_all`."""
    return AuditEvent(
        at=now,
        branch=branch,
        actor_kind=by.kind,
        actor=by.user,
        actor_name=by.name[:120],
        subject=subject,
        subject_id=subject_id,
        action=action,
        before=dict(before or {}),
        after=dict(after or {}),
        why=why[:500],
        group=group,
    )
