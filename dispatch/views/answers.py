"""What the office enters for a customer: a proposed day accepted, things ready, things known."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from dispatch.models import Booking, Proposal
from dispatch.services import proposals, readiness
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import Job, Role
from jobs.rules.must_know import ASKS, Standing
from jobs.services import questions

DESK = (Role.OWNER, Role.OFFICE)


@require_POST
@office(*DESK)
def accepted(request: OfficeRequest, pk: int) -> HttpResponse:
    """The customer has accepted the proposed day on the telephone."""
    found = get_object_or_404(Proposal.objects.of_branch(request.branch), pk=pk)
    by = access.person(request.user)
    proposals.accept(found.pk, by=by, how=proposals.TELEPHONE, now=timezone.now())
    messages.success(request, "Noted: the proposed day is accepted.")
    return redirect("booking", pk=found.booking_id)


@require_POST
@office(*DESK)
def ready(request: OfficeRequest, pk: int) -> HttpResponse:
    """What the customer said on the telephone about one thing that must be ready."""
    booking = get_object_or_404(Booking.objects.of_branch(request.branch), pk=pk)
    readiness.answer(
        booking,
        topic=request.POST.get("topic", ""),
        ready=request.POST.get("ready") == "yes",
        by=access.person(request.user),
        how=readiness.TELEPHONE,
        now=timezone.now(),
    )
    messages.success(request, "Noted.")
    return redirect("booking", pk=pk)


@require_POST
@office(*DESK)
def known(request: OfficeRequest, pk: int) -> HttpResponse:
    """What is known of an order, all topics of the form at once."""
    job = get_object_or_404(Job.objects.of_branch(request.branch), pk=pk)
    said = {
        topic: (
            Standing.NOT_NEEDED if request.POST.get(f"{topic}-not") else Standing.KNOWN,
            request.POST.get(topic.value, ""),
        )
        for topic in ASKS
        if request.POST.get(topic.value, "").strip() or request.POST.get(f"{topic}-not")
    }
    by = access.person(request.user)
    questions.answer(branch=request.branch, job_id=job.pk, answers=said, by=by, now=timezone.now())
    messages.success(request, "Noted.")
    booking = job.bookings.filter(state__in=["held", "booked"]).first()
    return redirect("booking", pk=booking.pk) if booking else redirect("offers", pk=job.pk)
