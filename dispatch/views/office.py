"""The office's overview: the week, what needs a person, the crews, signing in."""

from datetime import date
from typing import Any

from django.contrib import messages
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from dispatch.models import Notice
from dispatch.reads import needs as needs_read
from dispatch.reads.week import week_of
from dispatch.services import opening, receipts
from dispatch.views.entrance import SESSION_BRANCH, OfficeRequest, office, refused
from jobs import access
from jobs.models import Role
from jobs.services import sign_in


class SignIn(LoginView):
    """Sign in with name and password."""

    template_name = "dispatch/sign_in.html"
    redirect_authenticated_user = True

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Ask who it is; where nobody can sign in yet, the installation is set up first."""
        if opening.is_empty():
            return redirect("first-office")
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Claim a try first; whoever has none left never costs us a hash."""
        try:
            sign_in.claim_try(
                username=request.POST.get("username", ""),
                address=request.META.get("REMOTE_ADDR", ""),
                now=timezone.now(),
            )
        except sign_in.TooManyTries as refusal:
            answer = refused(request, refusal)
            answer["Retry-After"] = str(int(sign_in.STRETCH.total_seconds()))
            return answer
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Signed in: earlier slips are forgotten."""
        sign_in.forget_tries(username=form.get_user().get_username())
        return super().form_valid(form)


@require_safe
@office()
def week(request: OfficeRequest) -> HttpResponse:
    """The week on one page: weather above, crews and stints below, what needs a person."""
    now = timezone.now()
    try:
        day = date.fromisoformat(request.GET.get("day", ""))
    except ValueError:
        day = request.branch.today(now)
    if not 2000 <= day.year <= 2100:
        day = request.branch.today(now)
    shown = week_of(request.branch, day=day, now=now)
    context = {
        "week": shown,
        "needs": needs_read.everything(request.branch, now=now)[:5],
        "today": request.branch.today(now),
        "now": now,
    }
    return render(request, "dispatch/week.html", context)


@require_safe
@office()
def needs(request: OfficeRequest) -> HttpResponse:
    """Everything that waits for a person, worst first, each with a ready answer."""
    now = timezone.now()
    found = needs_read.everything(request.branch, now=now)
    return render(request, "dispatch/needs.html", {"needs": found, "now": now})


@require_POST
@office(Role.OWNER, Role.OFFICE)
def told(request: OfficeRequest, pk: int) -> HttpResponse:
    """Enter that somebody was told by telephone."""
    notice = get_object_or_404(Notice.objects.of_branch(request.branch), pk=pk)
    receipts.told_by_telephone(notice, by=access.person(request.user), now=timezone.now())
    messages.success(request, "Noted as told by telephone.")
    return redirect("needs")


@require_POST
@office()
def choose_branch(request: OfficeRequest) -> HttpResponse:
    """Work in another of one's branches."""
    wanted = request.POST.get("branch", "")
    for branch in access.branches_of(request.user):
        if str(branch.pk) == wanted:
            request.session[SESSION_BRANCH] = branch.pk
    return redirect("week")
