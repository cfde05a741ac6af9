"""What lies in the depot: lots come in, are used up, and are counted again."""

from datetime import date, datetime
from math import isfinite

from jobs import audit, idempotency
from jobs.access import Actor
from jobs.models import Branch, StockKind, StockLot
from jobs.refusals import Invalid, NotFound, Stale
from jobs.text import one_line
from jobs.writing import run_write

BLEND_MOST, LOT_MOST = 80, 60
MOST = 50_000.0  # kg or litres: more than a depot holds of one lot


@run_write
def add_lot(
    *,
    branch: Branch,
    kind: str,
    blend: str,
    lot: str,
    amount: float | None,
    by: Actor,
    now: datetime,
    opened: bool = False,
    keeps_until: date | None = None,
    key: str = "",
) -> StockLot:
    """One lot that came in, in kg of flake or litres of resin. Raises Invalid.

    A repeat with the same `key` gets the same lot; two lots may well look alike.
    """
    asked = ("add stock", branch.pk, kind, blend, lot, amount, opened, keeps_until)
    answered = idempotency.answered(by=by, key=key, what=asked)
    if answered is not None:
        made: StockLot = StockLot.objects.of_branch(branch).get(pk=answered)
        return made
    blend, lot = one_line(blend, most=BLEND_MOST + 1), one_line(lot, most=LOT_MOST + 1)
    problems = _problems(kind=kind, blend=blend, lot=lot, amount=amount)
    if problems or amount is None:
        raise Invalid(problems)
    row = StockLot.objects.create(
        branch=branch,
        kind=kind,
        blend=blend,
        lot=lot,
        amount=amount,
        opened=opened,
        keeps_until=keeps_until,
        changed_at=now,
    )
    _note(row, action="add stock", by=by, now=now)
    idempotency.keep(by=by, key=key, what=asked, subject="stock", subject_id=row.pk, now=now)
    return row


def _problems(*, kind: str, blend: str, lot: str, amount: float | None) -> dict[str, str]:
    problems = {}
    if kind not in StockKind.values:
        problems["kind"] = "Say what it is: flake, base resin or top resin."
    if not blend or len(blend) > BLEND_MOST:
        problems["blend"] = f"Type the blend or the system, {BLEND_MOST} characters at most."
    if not lot or len(lot) > LOT_MOST:
        problems["lot"] = "Type the lot's number: two lots differ in color and are never mixed."
    if amount is None or not (isfinite(amount) and 0 < amount <= MOST):
        problems["amount"] = "Type how much there is of it."
    return problems


@run_write
def count_lot(
    *,
    branch: Branch,
    lot_id: int,
    version: int,
    amount: float | None,
    opened: bool,
    by: Actor,
    now: datetime,
) -> StockLot:
    """What is left of a lot, as somebody counted it; 0 is used up. Raises Invalid, Stale."""
    if amount is None or not (isfinite(amount) and 0 <= amount <= MOST):
        raise Invalid({"amount": "Type how much is left; 0 if it is used up."})
    row: StockLot | None = StockLot.objects.of_branch(branch).filter(pk=lot_id).first()
    if row is None:
        raise NotFound("There is no such lot in this branch.")
    changed = StockLot.objects.filter(pk=row.pk, version=version).update(
        amount=amount, opened=opened, changed_at=now, version=version + 1
    )
    if not changed:
        raise Stale("Somebody counted this lot meanwhile. Please look again.")
    before = row.amount
    row.refresh_from_db()
    _note(row, action="count stock", by=by, now=now, before=before)
    return row


def _note(
    row: StockLot, *, action: str, by: Actor, now: datetime, before: float | None = None
) -> None:
    audit.record(
        branch=row.branch,
        by=by,
        subject="stock",
        subject_id=row.pk,
        action=action,
        now=now,
        before={} if before is None else {"amount": before},
        after={"blend": row.blend, "lot": row.lot, "amount": row.amount, "opened": row.opened},
    )
