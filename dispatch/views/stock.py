"""The depot: lots of flake and resin, the floors they are put aside for, and what is short."""

import uuid
from datetime import date

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from dispatch.reads.stock import amount_words, depot
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import Role, StockKind, StockLot
from jobs.models.branches import Units
from jobs.refusals import Invalid, Refusal
from jobs.rules.typed import Unreadable, read_day, read_number
from jobs.rules.units import gal_from_l, kg_from_lb, l_from_gal, lb_from_kg
from jobs.services import stock

DESK = (Role.OWNER, Role.OFFICE)


@require_safe
@office(*DESK, Role.LEAD)
def lots(request: OfficeRequest) -> HttpResponse:
    """What there is, and for whom."""
    return _show(request)


@require_POST
@office(*DESK)
def add(request: OfficeRequest) -> HttpResponse:
    """A lot came in."""
    kind = request.POST.get("kind", "")
    try:
        row = stock.add_lot(
            branch=request.branch,
            kind=kind,
            blend=request.POST.get("blend", ""),
            lot=request.POST.get("lot", ""),
            amount=_amount(request, kind),
            opened=request.POST.get("opened") == "yes",
            keeps_until=_keeps_until(request),
            key=request.POST.get("key", "")[:64],
            by=access.person(request.user),
            now=timezone.now(),
        )
    except Refusal as refusal:
        return _show(request, refusal=str(refusal), status=refusal.status)
    messages.success(request, f"{row} is in stock.")
    return redirect("stock")


@require_POST
@office(*DESK)
def count(request: OfficeRequest, pk: int) -> HttpResponse:
    """What is left of a lot."""
    version = request.POST.get("version", "")
    kind = StockLot.objects.of_branch(request.branch).filter(pk=pk).values_list("kind", flat=True)
    try:
        row = stock.count_lot(
            branch=request.branch,
            lot_id=pk,
            version=int(version) if version.isdecimal() and len(version) < 10 else -1,
            amount=_amount(request, kind.first() or ""),
            opened=request.POST.get("opened") == "yes",
            by=access.person(request.user),
            now=timezone.now(),
        )
    except Refusal as refusal:
        return _show(request, refusal=str(refusal), status=refusal.status)
    messages.success(request, f"Counted: {row}.")
    return redirect("stock")


def _amount(request: OfficeRequest, kind: str) -> float | None:
    """What was typed, in kg of flake or litres of resin; None where nothing was."""
    typed = request.POST.get("amount", "").strip()
    us = request.branch.units == Units.US
    if not typed:
        return None
    try:
        number = read_number(typed, us=us)
    except Unreadable as trouble:
        raise Invalid({"amount": str(trouble)}) from None
    if not us:
        return number
    return kg_from_lb(number) if kind == StockKind.FLAKE else l_from_gal(number)


def _keeps_until(request: OfficeRequest) -> date | None:
    typed = request.POST.get("keeps_until", "").strip()
    if not typed:
        return None
    try:
        return read_day(typed, us=request.branch.units == Units.US)
    except Unreadable as trouble:
        raise Invalid({"keeps_until": str(trouble)}) from None


def _show(request: OfficeRequest, *, refusal: str = "", status: int = 200) -> HttpResponse:
    now, us = timezone.now(), request.branch.units == Units.US
    found = depot(request.branch, now=now)
    rows = [
        {
            "lot": lot,
            "words": amount_words(lot.amount, lot.kind, us=us),
            "typed": f"{_shown(lot, us=us):.1f}",
        }
        for lot in found.lots
    ]
    context = {
        "rows": rows,
        "shares": found.shares,
        "kinds": StockKind.choices,
        "units": "lb of flake or gallons of resin" if us else "kg of flake or liters of resin",
        "key": uuid.uuid4().hex,
        "may_change": request.role in DESK,
        "refusal": refusal,
    }
    return render(request, "dispatch/stock.html", context, status=status)


def _shown(lot: StockLot, *, us: bool) -> float:
    if not us:
        return float(lot.amount)
    return lb_from_kg(lot.amount) if lot.kind == StockKind.FLAKE else gal_from_l(lot.amount)
