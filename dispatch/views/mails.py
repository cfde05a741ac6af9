"""Mails to customers as the office sees them: what went out, what waits, what failed."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from dispatch.models import Notice
from dispatch.views.entrance import OfficeRequest, office
from jobs.models import Role

SHOWN = 200


@require_safe
@office(Role.OWNER, Role.OFFICE, Role.READER)
def mails(request: OfficeRequest) -> HttpResponse:
    """The newest mails of the branch."""
    found = (
        Notice.objects.of_branch(request.branch)
        .filter(audience="customer")
        .select_related("booking__job__customer")
        .order_by("-due_at", "-pk")[:SHOWN]
    )
    context = {"mails": found, "zone": request.branch.tz, "now": timezone.now()}
    return render(request, "dispatch/mails.html", context)


@require_safe
@office(Role.OWNER, Role.OFFICE, Role.READER)
def mail(request: OfficeRequest, pk: int) -> HttpResponse:
    """One mail as it went out."""
    notice = get_object_or_404(
        Notice.objects.of_branch(request.branch)
        .filter(audience="customer")
        .select_related("booking__job__customer"),
        pk=pk,
    )
    return render(request, "dispatch/mail.html", {"mail": notice, "zone": request.branch.tz})
