"""The page of an empty installation: its first office, opened by whoever has the set-up code."""

from django.contrib import messages
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from dispatch.services import opening
from dispatch.setup_forms import SetupForm
from dispatch.views.entrance import refused
from jobs.access import PROGRAM
from jobs.models import User
from jobs.refusals import Invalid, Refusal
from jobs.services import sign_in


@require_http_methods(["GET", "HEAD", "POST"])
def first_office(request: HttpRequest) -> HttpResponse:
    """Open the first office and sign its owner in; afterwards only a way to sign in."""
    if not opening.is_empty():
        return redirect("sign-in")
    form = SetupForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            return _opened(request, form)
        except Invalid as refusal:
            for field, sentence in refusal.problems.items():
                form.add_error(field if field in form.fields else None, sentence)
        except Refusal as refusal:
            return refused(request, refusal)
    return render(
        request, "dispatch/setup.html", {"form": form}, status=422 if form.errors else 200
    )


def _opened(request: HttpRequest, form: SetupForm) -> HttpResponse:
    now = timezone.now()
    address = request.META.get("REMOTE_ADDR", "")
    sign_in.claim_try(username="first office", address=address, now=now)
    opening.check_setup_code(form.cleaned_data["code"])
    office = form.office()
    branch = opening.open_office(office, by=PROGRAM, now=now, only_first=True)
    sign_in.forget_tries(username="first office")
    owner = User.objects.get(username=office.owner)
    login(request, owner, backend="django.contrib.auth.backends.ModelBackend")
    messages.success(
        request,
        f"{branch.company}, {branch.name} is open. Check every coating system's card against the "
        "data sheet in use before the first booking.",
    )
    return redirect("crews")
