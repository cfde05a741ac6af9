"""Who signs in and with which role; the branch's days off."""

from datetime import time, timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.hashers import make_password
from django.contrib.auth.views import PasswordChangeView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from dispatch.models import Stint
from dispatch.typed_fields import Typed, picker
from dispatch.views.entrance import OfficeRequest, office, refused
from jobs import access
from jobs.models import Branch, Membership, Role
from jobs.models.branches import Units
from jobs.refusals import Invalid, Refusal
from jobs.rules.clock import say_day
from jobs.rules.typed import read_day
from jobs.services import holidays, people, sign_in


class PersonForm(forms.Form):
    """Somebody who shall sign in."""

    use_required_attribute = False
    full_name = Typed(label="Name", help_text="As it stands beside what they change.")
    username = Typed(label="Sign-in", needed=True)
    role = Typed(
        label="Role",
        needed=True,
        initial=Role.OFFICE.value,
        widget=forms.Select(choices=Role.choices),
    )
    password = forms.CharField(
        label="First passphrase",
        error_messages={"required": "Please fill this in."},
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
        help_text="They change it after signing in, under Settings.",
    )


class DayOffForm(forms.Form):
    """A day without work."""

    use_required_attribute = False
    day = Typed(label="Day", needed=True, empty=None, widget=picker("date"))
    name = Typed(label="What it is", needed=True)

    def __init__(self, *args: Any, branch: Branch, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        us = branch.units == Units.US
        self.fields["day"].read = lambda text: read_day(text, us=us)  # type: ignore[attr-defined]


@require_http_methods(["GET", "HEAD", "POST"])
@office(Role.OWNER)
def members(request: OfficeRequest) -> HttpResponse:
    """Everybody who signs in here; the form adds one."""
    form = PersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        try:
            people.check_person(
                username=typed["username"], password=typed["password"], role=typed["role"]
            )
            member = people.add_person(
                branch=request.branch,
                username=typed["username"],
                hashed_password=make_password(typed["password"]),
                full_name=typed["full_name"],
                role=typed["role"],
                by=access.person(request.user),
                now=timezone.now(),
            )
        except Invalid as refusal:
            for field, sentence in refusal.problems.items():
                form.add_error(field, sentence)
        else:
            messages.success(request, f"{member.user} can sign in.")
            return redirect("people")
    found = Membership.objects.filter(branch=request.branch).select_related("user")
    context = {"members": found.order_by("user__username"), "roles": Role.choices, "form": form}
    return render(request, "dispatch/people.html", context, status=422 if form.errors else 200)


@require_POST
@office(Role.OWNER)
def change_role(request: OfficeRequest, pk: int) -> HttpResponse:
    """Another role, or none."""
    given: dict[str, Any] = {
        "branch": request.branch,
        "member_id": pk,
        "by": access.person(request.user),
        "now": timezone.now(),
    }
    role = request.POST.get("role", "")
    if role == "none":
        messages.success(request, f"{people.remove_person(**given)} is no longer in this branch.")
    else:
        member = people.change_role(role=role, **given)
        messages.success(request, f"{member}.")
    return redirect("people")


@require_http_methods(["GET", "HEAD", "POST"])
@office(Role.OWNER, Role.OFFICE)
def days_off(request: OfficeRequest) -> HttpResponse:
    """The days on which the branch does not work; the form adds one."""
    branch, now = request.branch, timezone.now()
    form = DayOffForm(request.POST or None, branch=branch)
    if request.method == "POST" and form.is_valid():
        try:
            day = _day_off(request, form)
        except Refusal as refusal:
            form.add_error(refusal.field, str(refusal))
        else:
            messages.success(request, day)
            return redirect("days-off")
    coming = branch.holidays.filter(day__gte=branch.today(now))
    context = {"days": coming, "form": form}
    return render(request, "dispatch/days_off.html", context, status=422 if form.errors else 200)


def _day_off(request: OfficeRequest, form: DayOffForm) -> str:
    """Enter it; the sentence also says what is booked on it already."""
    typed = form.cleaned_data
    for name in ("day", "name"):
        if not typed[name]:
            raise Refusal("Please fill this in.", field=name)
    holidays.add_holiday(
        branch=request.branch, by=access.person(request.user), now=timezone.now(), **typed
    )
    midnight = request.branch.at(typed["day"], time())
    stints = Stint.objects.of_branch(request.branch).open()
    booked = stints.overlapping(midnight, midnight + timedelta(days=1)).count()
    said = f"{say_day(typed['day'])} is a day off."
    return f"{said} Booked on it already: {booked}. Please move those." if booked else said


@require_POST
@office(Role.OWNER, Role.OFFICE)
def work_on(request: OfficeRequest, pk: int) -> HttpResponse:
    """The branch works on that day after all."""
    held = holidays.work_on(
        branch=request.branch,
        holiday_id=pk,
        by=access.person(request.user),
        now=timezone.now(),
    )
    messages.success(request, f"{say_day(held.day)} is a day of work.")
    return redirect("days-off")


class Passphrase(PasswordChangeView):
    """One's own passphrase; a wrong old one counts as a try to sign in."""

    template_name = "dispatch/passphrase.html"
    success_url = reverse_lazy("settings")

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Claim a try before anything is hashed."""
        name = request.user.get_username()
        try:
            sign_in.claim_try(
                username=name, address=request.META.get("REMOTE_ADDR", ""), now=timezone.now()
            )
        except sign_in.TooManyTries as refusal:
            return refused(request, refusal)
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: PasswordChangeForm) -> HttpResponse:
        """Changed; other browsers of theirs are signed out."""
        sign_in.forget_tries(username=self.request.user.get_username())
        messages.success(self.request, "Your passphrase is changed.")
        return super().form_valid(form)
