"""Limits and costs of the branch: read by everybody, changed by the owner."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from dispatch.limit_forms import LimitsForm
from dispatch.services import limits as services
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import CoatingSystem, Role
from jobs.refusals import Invalid, Refusal


@require_safe
@office()
def limits(request: OfficeRequest) -> HttpResponse:
    """Every limit with its default and the branch's own, the cards' limits beside them."""
    return _show(request, LimitsForm(branch=request.branch))


@require_POST
@office(Role.OWNER)
def change_limits(request: OfficeRequest) -> HttpResponse:
    """Keep them as typed, or say box by box what is wrong."""
    form = LimitsForm(request.POST, branch=request.branch)
    status = 422
    if form.is_valid():
        try:
            services.set_limits(
                branch=request.branch,
                typed=form.cleaned_data,
                was=request.POST.get("was", ""),
                by=access.person(request.user),
                now=timezone.now(),
            )
        except Invalid as refusal:
            for field, sentence in refusal.problems.items():
                form.add_error(field, sentence)
        except Refusal as refusal:
            form.add_error(None, str(refusal))
            status = refusal.status
        else:
            messages.success(request, "Kept. The next round judges every open day by it.")
            return redirect("limits")
    return _show(request, form, status=status)


def _show(request: OfficeRequest, form: LimitsForm, *, status: int = 200) -> HttpResponse:
    systems = CoatingSystem.objects.of_branch(request.branch).filter(sold=True).order_by("name")
    context = {
        "form": form,
        "systems": systems,
        "was": services.seen(request.branch),
        "may_change": request.role == Role.OWNER,
    }
    return render(request, "dispatch/limits.html", context, status=status)
