"""A backlog brought as a file: all of its rows become waiting jobs, or none does."""

import hashlib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime

from jobs import audit, idempotency
from jobs.access import Actor
from jobs.models import ActorKind, AuditEvent, Branch
from jobs.refusals import Invalid, Refusal
from jobs.rules.backlog_rows import BacklogRow, column_of, read_backlog
from jobs.rules.backlog_text import VALUE_MOST, RowProblem, Unusable, read_text
from jobs.services.checking import CheckedJob, Desk
from jobs.services.intake import lock, write
from jobs.writing import run_write


class BacklogRefused(Refusal):
    """Nothing was taken in; `problems` has the line, the column and the reason of each fault."""

    code = "backlog_refused"
    status = 422

    def __init__(self, problems: list[RowProblem]) -> None:
        things = "one thing is" if len(problems) == 1 else f"{len(problems):,} things are"
        super().__init__(f"Nothing was taken in: {things} not right in this file.", field="file")
        self.problems = problems


@dataclass(frozen=True)
class Imported:
    """How many floors now wait because of a file; `again` if it had been brought before."""

    count: int
    again: bool = False


def check_backlog(*, branch: Branch, data: bytes, now: datetime) -> list[CheckedJob]:
    """The orders of a file as they would be taken in; raises BacklogRefused. Writes nothing."""
    desk = Desk.of(branch, now=now)
    names = {system.name.casefold(): system.pk for system in desk.systems.values()}
    sold = ", ".join(system.name for system in desk.systems.values()) or "none yet"
    backlog = read_backlog(data, us=desk.us)
    problems = list(backlog.problems)
    orders: list[CheckedJob] = []
    for row in backlog.rows:
        named = replace(row.new, system_id=names.get(row.system.casefold()))
        try:
            orders.append(desk.check(named))
        except Invalid as refusal:
            problems += _told(row, refusal.problems, sold=sold)
    if problems:
        raise BacklogRefused(sorted(problems, key=lambda problem: problem.line))
    return orders


def take_in_backlog(*, branch: Branch, data: bytes, by: Actor, now: datetime) -> Imported:
    """Waiting jobs for every row of a file; bringing the same file again changes nothing.

    Raises BacklogRefused with everything that is wrong, and then nothing is written.
    """
    digest = digest_of(data)
    before = _brought(branch, digest)
    if before is not None:
        return before
    # Reading and checking thousands of rows takes seconds; the write lock is not held for it.
    orders = check_backlog(branch=branch, data=data, now=now)
    return _write(branch=branch, orders=orders, digest=digest, by=by, now=now)


def digest_of(data: bytes) -> str:
    """What tells one file from another: its text, however its lines end."""
    with suppress(Unusable):  # which will be refused in a moment, with the reason
        data = read_text(data).strip().encode()
    return hashlib.sha256(data).hexdigest()


@run_write
def _write(
    *, branch: Branch, orders: list[CheckedJob], digest: str, by: Actor, now: datetime
) -> Imported:
    lock(branch)
    before = _brought(branch, digest)  # somebody may have brought it while we read it
    if before is not None:
        return before
    jobs = write(branch, orders, by=by, now=now)
    event = audit.record(
        branch=branch, by=by, subject="branch", subject_id=branch.pk, action="import backlog",
        now=now, after={"jobs": len(jobs), "digest": digest},
    )  # fmt: skip
    idempotency.keep(
        by=_owner(branch), key=digest, what="backlog", subject="audit", subject_id=event.pk, now=now
    )
    return Imported(count=len(jobs))


def _brought(branch: Branch, digest: str) -> Imported | None:
    event = idempotency.answered(by=_owner(branch), key=digest, what="backlog")
    if event is None:
        return None
    return Imported(count=AuditEvent.objects.get(pk=event).after["jobs"], again=True)


def _owner(branch: Branch) -> Actor:
    """A file belongs to the branch, whoever of it brings it."""
    return Actor(kind=ActorKind.SYSTEM, name=f"backlog of branch {branch.pk}")


def _told(row: BacklogRow, problems: Mapping[str, str], *, sold: str) -> Iterator[RowProblem]:
    """Problems of an order by the columns of its row, without those that were said already."""
    for field, sentence in problems.items():
        column = column_of(field)
        if column in row.bad:
            continue
        if column == "system":
            reason = f"There is no such coating system in this branch; it has: {sold}."
            yield RowProblem(row.line, column, reason, row.system[:VALUE_MOST])
        else:
            yield RowProblem(row.line, column, sentence)
