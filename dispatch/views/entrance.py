"""The entrance of every office page: who asks, in which branch, and what a refusal shows."""

from collections.abc import Callable
from functools import wraps
from typing import Any, cast

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from jobs import access
from jobs.models import Branch, Role, User
from jobs.refusals import NotFound, Refusal

SESSION_BRANCH = "branch"


class OfficeRequest(HttpRequest):
    """A request of a signed-in person, in one branch."""

    user: User
    branch: Branch
    role: Role


View = Callable[..., HttpResponseBase]


def office(*roles: Role) -> Callable[[View], View]:
    """Let members of a branch in whose role is one of `roles`; any member if none is named."""
    allowed = frozenset(roles) or frozenset(Role)

    def guard(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not request.user.is_authenticated:
                return redirect(f"/sign-in/?next={request.path}")
            branch = chosen_branch(request)
            if branch is None:
                return render(request, "dispatch/no_branch.html", status=403)
            asked = cast(OfficeRequest, request)
            asked.branch = branch
            try:
                access.require(request.user, branch, allowed)
                asked.role = access.role_in(request.user, branch) or Role.READER
                return view(asked, *args, **kwargs)
            except NotFound as refusal:
                raise Http404(str(refusal)) from refusal
            except Refusal as refusal:
                return refused(request, refusal)

        guarded.guarded_roles = allowed  # type: ignore[attr-defined]  # read by the role matrix
        return guarded

    return guard


def chosen_branch(request: HttpRequest) -> Branch | None:
    """The branch this person works in now: the one they chose, else their first."""
    branches = access.branches_of(request.user)
    chosen = request.session.get(SESSION_BRANCH)
    return next((each for each in branches if each.pk == chosen), branches[0] if branches else None)


def typed_number(value: str | None) -> int:
    """A number that a page put into its own form, such as a version."""
    if value is None or not value.isdecimal() or len(value) > 9:
        raise Refusal("The form is incomplete. Please open the page again.")
    return int(value)


def refused(request: HttpRequest, refusal: Refusal) -> HttpResponse:
    """A page that says in a sentence what cannot be, with the fitting status."""
    context = {"refusal": refusal, "now": timezone.now()}
    return render(request, "dispatch/refused.html", context, status=refusal.status)
