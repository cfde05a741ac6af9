"""Coating systems: shown to everybody, changed by the owner. The data sheet overrides them."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from dispatch.system_forms import SystemForm
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import CoatingSystem, Role
from jobs.refusals import Invalid, Refusal
from jobs.services import systems


@require_safe
@office()
def listed(request: OfficeRequest) -> HttpResponse:
    """What the branch sells, and what it sold once."""
    found = CoatingSystem.objects.of_branch(request.branch).order_by("-sold", "name")
    context = {"systems": found, "may_change": request.role == Role.OWNER}
    return render(request, "dispatch/systems.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@office(Role.OWNER)
def change(request: OfficeRequest, pk: int) -> HttpResponse:
    """The card and prices of one system."""
    system = _system(request, pk)
    return _form(request, system, is_new=False)


@require_http_methods(["GET", "HEAD", "POST"])
@office(Role.OWNER)
def copy(request: OfficeRequest, pk: int) -> HttpResponse:
    """A new system that begins with the numbers of another."""
    return _form(request, _system(request, pk), is_new=True)


def _system(request: OfficeRequest, pk: int) -> CoatingSystem:
    wanted = CoatingSystem.objects.of_branch(request.branch).filter(pk=pk)
    system: CoatingSystem | None = wanted.first()
    if system is None:
        raise Http404("There is no such coating system.")
    return system


def _form(request: OfficeRequest, system: CoatingSystem, *, is_new: bool) -> HttpResponse:
    form = SystemForm(request.POST or None, system=system, branch=request.branch)
    status = 200
    if request.method == "POST" and form.is_valid():
        try:
            saved = _saved(request, form, system, is_new=is_new)
        except Invalid as refusal:
            for field, sentence in refusal.problems.items():
                form.add_error(field if field in form.fields else None, sentence)
        except Refusal as refusal:
            form.add_error(None, str(refusal))
            status = refusal.status
        else:
            messages.success(request, f"{saved} is kept. New verdicts and promises use it.")
            return redirect("systems")
    if form.errors and status == 200:
        status = 422
    context = {"form": form, "system": system, "is_new": is_new, "was": systems.seen(system)}
    return render(request, "dispatch/system.html", context, status=status)


def _saved(
    request: OfficeRequest, form: SystemForm, system: CoatingSystem, *, is_new: bool
) -> CoatingSystem:
    wanted = form.wanted()
    by, now = access.person(request.user), timezone.now()
    if is_new:
        return systems.add_system(branch=request.branch, wanted=wanted, by=by, now=now)
    return systems.change_system(
        branch=request.branch,
        system_id=system.pk,
        was=request.POST.get("was", ""),
        wanted=wanted,
        by=by,
        now=now,
    )
