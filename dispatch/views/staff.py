"""Crews, people, machines and absences: shown to everybody, changed by the office."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from dispatch.models import MachineKind
from dispatch.reads.staff import staff_of
from dispatch.services import crews
from dispatch.staff_forms import (
    AbsenceForm,
    CrewForm,
    JoinForm,
    LeaveForm,
    MachineForm,
    NeedsForm,
    PersonForm,
    StaffForm,
)
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.idempotency import KeyReused
from jobs.models import Branch
from jobs.refusals import Refusal
from jobs.rules.local_times import NoSuchTime, instant_shown

DESK = access.OFFICE_ROLES
SENT_BEFORE = (
    "This form was already sent, with other words in it, and that person is entered. "
    "If this is another person, send it again."
)
FORMS: dict[str, type[StaffForm]] = {
    "crew": CrewForm,
    "person": PersonForm,
    "machine": MachineForm,
    "needs": NeedsForm,
    "join": JoinForm,
    "leave": LeaveForm,
    "away": AbsenceForm,
}


@require_safe
@office()
def staff(request: OfficeRequest) -> HttpResponse:
    """Crews, who is in them, who is away, and the links of their phones and calendars."""
    return _show(request)


@require_POST
@office(*DESK)
def change(request: OfficeRequest, kind: str) -> HttpResponse:
    """Add or change what one of the forms says; a refusal stands beside what was typed."""
    if kind not in FORMS:
        raise Http404
    form = FORMS[kind](request.POST, branch=request.branch)
    status = 422
    if form.is_valid():
        given = {"branch": request.branch, "by": access.person(request.user)}
        try:
            said = WRITES[kind](form.cleaned_data, now=timezone.now(), **given)
        except KeyReused as refusal:
            form.new_key()
            form.add_error(None, SENT_BEFORE)
            status = refusal.status
        except Refusal as refusal:
            field = refusal.field if refusal.field in form.fields else None
            form.add_error(field, str(refusal))
            status = refusal.status
        else:
            messages.success(request, said)
            return redirect("crews")
    return _show(request, typed={kind: form}, status=status)


@require_POST
@office(*DESK)
def back(request: OfficeRequest, pk: int) -> HttpResponse:
    """Somebody is there again, earlier than was entered."""
    resource = crews.end_absence(
        branch=request.branch,
        absence_id=pk,
        by=access.person(request.user),
        now=timezone.now(),
    )
    messages.success(request, f"{resource} is there again.")
    return redirect("crews")


def _show(
    request: OfficeRequest, *, typed: dict[str, StaffForm] | None = None, status: int = 200
) -> HttpResponse:
    now = timezone.now()
    may_change = request.role in DESK
    typed = typed or {}
    forms = {kind: typed.get(kind) or form(branch=request.branch) for kind, form in FORMS.items()}
    context = {
        "staff": staff_of(request.branch, now=now),
        "forms": list(forms.items()) if may_change else [],
        "zone": request.branch.tz,
        "now": now,
        "may_see_links": may_change,
    }
    return render(request, "dispatch/crews.html", context, status=status)


def _crew(typed: dict[str, Any], **given: Any) -> str:
    return f"{crews.add_crew(**typed, **given)} can be booked once somebody is in it."


def _person(typed: dict[str, Any], **given: Any) -> str:
    return f"{crews.add_installer(**typed, **given)} can be put into a crew."


def _machine(typed: dict[str, Any], **given: Any) -> str:
    if typed["kind"] not in MachineKind:
        raise Refusal("Please choose what it is.", field="kind")
    made = crews.add_machines(**{**typed, "kind": MachineKind(typed["kind"])}, **given)
    return f"Added: {', '.join(map(str, made))}."


def _needs(typed: dict[str, Any], **given: Any) -> str:
    return f"What {crews.describe_machine(**typed, **given)} does and needs is kept."


def _join(typed: dict[str, Any], **given: Any) -> str:
    stay = crews.join_crew(**typed, **given)
    return f"{stay.installer} is in {stay.crew} from {stay.from_day:%b %-d}."


def _leave(typed: dict[str, Any], **given: Any) -> str:
    stay = crews.leave_crew(**typed, **given)
    return f"{stay.installer} leaves {stay.crew} after {stay.until_day:%b %-d}."


def _away(typed: dict[str, Any], *, branch: Branch, **given: Any) -> str:
    moments = {name: _instant(typed[name], branch, name) for name in ("start", "end")}
    absence = crews.add_absence(**{**typed, **moments}, branch=branch, **given)
    return f"{absence.resource} is entered as away."


def _instant(local: datetime, branch: Branch, field: str) -> datetime:
    try:
        return instant_shown(local, branch.tz).at
    except NoSuchTime as gone:
        raise Refusal(str(gone), field=field) from None


WRITES: dict[str, Callable[..., str]] = {
    "crew": _crew,
    "person": _person,
    "machine": _machine,
    "needs": _needs,
    "join": _join,
    "leave": _leave,
    "away": _away,
}
