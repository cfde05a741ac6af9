"""The final call: a named person decides about tomorrow's floor, once, and with a reason where
it goes against the verdict or against what was decided before."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any

from dispatch.models import (
    Booking,
    BookingState,
    FinalCall,
    Notice,
    NoticeKind,
    NoticeState,
    PromiseLevel,
    Stint,
    StintState,
    StoredVerdict,
)
from dispatch.rules.asking import Ask
from dispatch.rules.final_call import LABELS, Decision, overrules
from dispatch.rules.final_words import customer_final
from dispatch.rules.findings import Level
from dispatch.services import bookings, notices
from dispatch.services.changing import CannotChange, open_booking
from jobs import audit
from jobs.access import Actor
from jobs.models import ActorKind, Branch, FinalCallDuty, Membership
from jobs.refusals import Invalid, NotFound
from jobs.rules.clock import say_day
from jobs.writing import run_write

WHY_LETTERS = 500


@run_write
def decide(
    *,
    branch: Branch,
    stint_id: int,
    version: int,
    decision: Decision,
    by: Actor,
    now: datetime,
    why: str = "",
    measure: str = "",
) -> FinalCall:
    """Keep what `by` decides about a stint of today or tomorrow, with the verdict it rests on.

    Pressing the same again changes nothing while the verdict is the same. Raises NotFound,
    Stale, CannotChange, and Invalid where a reason is needed.
    """
    stint, booking = _locked(branch, stint_id, version)
    day = stint.start.astimezone(branch.tz).date()
    _check(stint, booking, day=day, by=by, today=branch.today(now))
    if decision is Decision.MOVE:
        raise CannotChange("A move needs the day it goes to.")
    return _keep(
        stint, booking, day=day, decision=decision, by=by, now=now, why=why, measure=measure
    )


@run_write
def move_away(
    *,
    branch: Branch,
    stint_id: int,
    version: int,
    ask: Ask,
    by: Actor,
    now: datetime,
    why: str = "",
) -> Booking:
    """Move the floor to the day asked for and keep that the final call did so, both or neither.

    Without a reason of its own the verdict's is kept. Raises what `decide` and `bookings.move` do.
    """
    stint, booking = _locked(branch, stint_id, version)
    day = stint.start.astimezone(branch.tz).date()
    _check(stint, booking, day=day, by=by, today=branch.today(now))
    verdict = StoredVerdict.objects.filter(stint=stint, latest=True).first()
    before = _latest(stint, day)
    changes = before is not None and before.decision != Decision.MOVE
    _need_reason(before if changes else None, Decision.MOVE, verdict, why)
    why = why.strip() or (verdict.headline if verdict else "")
    moved = bookings.move_within(
        branch=branch, booking_id=booking.pk, version=version, now=now, by=by,
        ask=replace(ask, why=why[:WHY_LETTERS]),
    )  # fmt: skip
    _write(
        stint, day=day, decision=Decision.MOVE, by=by, now=now, why=why, measure="",
        verdict=verdict, before=before,
    )  # fmt: skip
    return moved


@run_write
def name_people(
    *,
    branch: Branch,
    owner_id: int | None,
    deputy_id: int | None,
    call_at: time,
    check_at: time,
    by: Actor,
    now: datetime,
) -> Branch:
    """Who takes the final call, who stands in, and at which hours. Raises NotFound, Invalid."""
    if owner_id is not None and owner_id == deputy_id:
        raise Invalid({"deputy": "Somebody else must stand in."})
    before = _duties(branch)
    found = {each.pk: each for each in Membership.objects.filter(branch=branch)}
    if any(pk is not None and pk not in found for pk in (owner_id, deputy_id)):
        raise NotFound("There is no such person in this branch.")
    Membership.objects.filter(branch=branch).update(final_call=FinalCallDuty.NONE)
    for pk, duty in ((owner_id, FinalCallDuty.OWNER), (deputy_id, FinalCallDuty.DEPUTY)):
        if pk is None:
            continue
        Membership.objects.filter(branch=branch, pk=pk).update(final_call=duty)
    branch.final_call_at, branch.morning_check_at = call_at, check_at
    branch.save(update_fields=["final_call_at", "morning_check_at"])
    audit.record(
        branch=branch, by=by, subject="branch", subject_id=branch.pk, action="name final call",
        now=now, before=before, after=_duties(branch),
    )  # fmt: skip
    return branch


def _duties(branch: Branch) -> dict[str, Any]:
    people = Membership.objects.filter(branch=branch).exclude(final_call="").order_by("pk")
    return {
        "people": {each.final_call: each.pk for each in people},
        "call_at": branch.final_call_at.isoformat(),
        "check_at": branch.morning_check_at.isoformat(),
    }


def _stint(branch: Branch, stint_id: int) -> Stint:
    found = Stint.objects.of_branch(branch).select_related("booking").filter(pk=stint_id).first()
    if found is None:
        raise NotFound("There is no such stint in this branch.")
    stint: Stint = found
    return stint


def _locked(branch: Branch, stint_id: int, version: int) -> tuple[Stint, Booking]:
    """The stint as it is behind the lock on its booking, so that two deciders wait in line."""
    booking = open_booking(branch, _stint(branch, stint_id).booking_id, version)
    return _stint(branch, stint_id), booking


def _only_people(by: Actor) -> None:
    if by.kind != ActorKind.USER or by.user is None:
        raise CannotChange("The final call is a person's: nothing decides it by itself.")


def _check(stint: Stint, booking: Booking, *, day: date, by: Actor, today: date) -> None:
    _only_people(by)
    customer = booking.job.customer
    if stint.state != StintState.PLANNED:
        raise CannotChange(f"The work for {customer} is {stint.get_state_display().lower()}.")
    if booking.state == BookingState.HELD:
        raise CannotChange(f"The day is only held for {customer}: book it or let it go.")
    if day < today:
        raise CannotChange(f"The day of {customer} is over.")
    if day > today + timedelta(days=1):
        eve = say_day(day - timedelta(days=1))
        raise CannotChange(f"The final call for {customer} is on {eve}; until then it may turn.")


def _latest(stint: Stint, day: date) -> FinalCall | None:
    found: FinalCall | None = FinalCall.objects.filter(stint=stint, day=day, latest=True).first()
    return found


def _keep(
    stint: Stint,
    booking: Booking,
    *,
    day: date,
    decision: Decision,
    by: Actor,
    now: datetime,
    why: str,
    measure: str,
) -> FinalCall:
    verdict = StoredVerdict.objects.filter(stint=stint, latest=True).first()
    before = _latest(stint, day)
    changes = before is not None and before.decision != decision
    if before is not None and not changes and before.verdict_id == (verdict and verdict.pk):
        return before
    _need_reason(before if changes else None, decision, verdict, why)
    call = _write(
        stint, day=day, decision=decision, by=by, now=now, why=why, measure=measure,
        verdict=verdict, before=before,
    )  # fmt: skip
    if before is None or changes:
        _tell(booking, call, changes=changes, now=now)
    return call


def _need_reason(
    changed: FinalCall | None, decision: Decision, verdict: StoredVerdict | None, why: str
) -> None:
    """A change of what was decided, and a decision against the verdict, are never unexplained."""
    if why.strip():
        return
    if changed is not None:
        was = LABELS[Decision(changed.decision)].lower()
        raise Invalid({"why": f"{changed.by_name} has decided “{was}”. Please say why it changes."})
    if overrules(decision, level=Level(verdict.level) if verdict else None):
        said = verdict.headline if verdict else "Nobody has held this day against a forecast."
        raise Invalid({"why": f"This goes against the verdict. Please say why. {said}"})


def _write(
    stint: Stint,
    *,
    day: date,
    decision: Decision,
    by: Actor,
    now: datetime,
    why: str,
    measure: str,
    verdict: StoredVerdict | None,
    before: FinalCall | None,
) -> FinalCall:
    branch = stint.booking.branch
    FinalCall.objects.filter(stint=stint, day=day, latest=True).update(latest=False)
    call = FinalCall.objects.create(
        branch=branch,
        stint=stint,
        day=day,
        decision=decision.value,
        measure=measure[:200],
        verdict=verdict,
        overrules=overrules(decision, level=Level(verdict.level) if verdict else None),
        why=why.strip()[:WHY_LETTERS],
        by_name=by.name[:120],
        user=by.user,
        at=now,
    )
    audit.record(
        branch=branch, by=by, subject="stint", subject_id=stint.pk, action="final call", now=now,
        before=_kept(before), after=_kept(call), why=why,
    )  # fmt: skip
    return call


def _kept(call: FinalCall | None) -> dict[str, Any]:
    if call is None:
        return {}
    return {
        "decision": call.decision,
        "measure": call.measure,
        "day": call.day.isoformat(),
        "verdict": call.verdict_id,
        "level": call.verdict.level if call.verdict else None,
        "by": call.by_name,
    }


def _tell(booking: Booking, call: FinalCall, *, changes: bool, now: datetime) -> None:
    """The customer of a confirmed day hears the final word; a word that turned, later by mail."""
    if booking.promise != PromiseLevel.CONFIRMED:
        return
    waiting = Notice.objects.filter(booking=booking, kind=NoticeKind.FINAL_CALL)
    waiting.filter(state=NoticeState.PENDING).update(state=NoticeState.OBSOLETE)
    lines = customer_final(
        decision=Decision(call.decision),
        starts=[call.stint.start],
        zone=booking.job.site.tz,
    )
    notices.owe(
        booking,
        NoticeKind.FINAL_CALL,
        now=now,
        due_at=now + notices.RING_FIRST if changes else None,
        lines=lines,
        tag=str(call.pk),
    )
