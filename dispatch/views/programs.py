"""Tokens of other programs: made and stopped by the owner; a secret is shown once."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from dispatch.typed_fields import Typed
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import AccessToken, Role, Scope
from jobs.refusals import Invalid
from jobs.rules.typed import read_count
from jobs.services import programs


class TokenForm(forms.Form):
    """A program that shall speak to the API."""

    use_required_attribute = False
    name = Typed(label="Program", needed=True, help_text="Such as Bookkeeping.")
    scope = Typed(label="May", needed=True, widget=forms.Select(choices=Scope.choices))
    days = Typed(
        label="Days it holds",
        empty=None,
        read=read_count,
        help_text="Left empty, it holds until it is stopped.",
        widget=forms.TextInput({"inputmode": "numeric", "autocomplete": "off"}),
    )


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@office(Role.OWNER)
def tokens(request: OfficeRequest) -> HttpResponse:
    """The tokens of the branch; the form makes one and shows its secret this once."""
    form, made = TokenForm(request.POST or None), None
    if request.method == "POST" and form.is_valid():
        try:
            made = _made(request, form.cleaned_data)
        except Invalid as refusal:
            for field, sentence in refusal.problems.items():
                form.add_error(field, sentence)
        else:
            form = TokenForm()
    now = timezone.now()
    context = {
        "tokens": AccessToken.objects.of_branch(request.branch).live(now),
        "form": form,
        "secret": made,
        "now": now,
    }
    return render(request, "dispatch/programs.html", context, status=422 if form.errors else 200)


@require_POST
@office(Role.OWNER)
def stop(request: OfficeRequest, pk: int) -> HttpResponse:
    """Stop a token at once."""
    token = programs.stop_token(
        branch=request.branch, token_id=pk, by=access.person(request.user), now=timezone.now()
    )
    messages.success(request, f"The token of {token} opens nothing any more.")
    return redirect("programs")


def _made(request: OfficeRequest, typed: dict[str, Any]) -> str:
    _, secret = programs.make_token(
        branch=request.branch, by=access.person(request.user), now=timezone.now(), **typed
    )
    return secret
