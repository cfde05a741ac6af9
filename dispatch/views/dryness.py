"""The office notes what somebody saw of a slab, and the booking is judged again at once."""

from datetime import datetime

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from dispatch.models import Booking
from dispatch.services.verdicts import judge_booking
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import Role
from jobs.models.customers import WHOLE_FLOOR
from jobs.refusals import Invalid
from jobs.rules.local_times import NoSuchTime, instant_shown
from jobs.services import dryness


@require_POST
@office(Role.OWNER, Role.OFFICE, Role.LEAD)
def note_dryness(request: OfficeRequest, pk: int) -> HttpResponse:
    """Keep when a floor of the booking was wetted or looked dry."""
    mine = Booking.objects.of_branch(request.branch).select_related("job__site", "branch")
    booking: Booking = get_object_or_404(mine, pk=pk)
    now = timezone.now()
    floor_id, _, part = request.POST.get("surface", "").partition(":")
    at = _moment(request.POST.get("at", ""), booking)
    seen, _, wetted_by = request.POST.get("seen", "").partition(":")
    wetted = seen == "wetted"
    dryness.note(
        branch=request.branch,
        floor_id=int(floor_id) if floor_id.isdecimal() and len(floor_id) < 10 else 0,
        part=part or WHOLE_FLOOR,
        wetted_at=at if wetted else None,
        looked_dry_at=None if wetted else at,
        wetted_by=wetted_by,
        by=access.person(request.user),
        now=now,
    )
    judge_booking(Booking.objects.with_job().get(pk=booking.pk), now=now)
    messages.success(request, "Noted. The verdict below counts it.")
    return redirect("booking", pk=pk)


@require_POST
@office(Role.OWNER, Role.OFFICE, Role.LEAD)
def note_waters(request: OfficeRequest, pk: int) -> HttpResponse:
    """Keep how a floor of the booking gets wet besides the rain that falls on it."""
    mine = Booking.objects.of_branch(request.branch)
    booking: Booking = get_object_or_404(mine, pk=pk)
    now = timezone.now()
    floor_id = request.POST.get("floor", "")
    dryness.note_waters(
        branch=request.branch,
        floor_id=int(floor_id) if floor_id.isdecimal() and len(floor_id) < 10 else 0,
        seen=request.POST.getlist("water"),
        by=access.person(request.user),
        now=now,
    )
    judge_booking(Booking.objects.with_job().get(pk=booking.pk), now=now)
    messages.success(request, "Noted. The verdict below counts it.")
    return redirect("booking", pk=pk)


def _moment(typed: str, booking: Booking) -> datetime:
    try:
        local = datetime.fromisoformat(typed.strip())
    except ValueError:
        local = None
    if local is None or local.tzinfo is not None or not 2000 <= local.year <= 2100:
        raise Invalid({"at": f"{typed[:40]!r} is no day and time such as 2026-06-18T07:30."})
    try:
        return instant_shown(local, booking.job.site.tz).at
    except NoSuchTime as gone:
        raise Invalid({"at": str(gone)}) from None
