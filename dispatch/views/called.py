"""What fell against what was called, and what cost and loss would suggest."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from dispatch.reads.called import called as read
from dispatch.views.entrance import OfficeRequest, office
from jobs.models import Role


@require_safe
@office(Role.OWNER, Role.OFFICE)
def called(request: OfficeRequest) -> HttpResponse:
    """Misses and false alarms by exposure and lead; nothing is ever set by this page."""
    now = timezone.now()
    found = read(request.branch, now=now)
    context = {"called": found, "zone": request.branch.tz, "now": now}
    return render(request, "dispatch/called.html", context)
