"""Taking in a return visit: what is wrong, how much of the floor, and on to its best days."""

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from dispatch.models import Booking
from dispatch.typed_fields import Typed, measure_box
from dispatch.views.bookings import DESK
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import Branch, ReturnCause
from jobs.models.branches import Units
from jobs.refusals import Invalid
from jobs.rules.units import m2_from_ft2
from jobs.services.returning import ComingBack, come_back


class ReturnForm(forms.Form):
    """Cause, size and a note; the rest is that of the floor."""

    use_required_attribute = False

    cause = Typed(
        label="What is wrong",
        needed=True,
        widget=forms.Select(choices=[("", "Choose"), *ReturnCause.choices]),
    )
    notes = Typed(label="Notes", widget=forms.Textarea({"rows": 3}))

    def __init__(self, *, branch: Branch, data: object = None) -> None:
        super().__init__(data=data)  # type: ignore[arg-type]  # what a request posts
        us = branch.units == Units.US
        self.fields["area_m2"] = measure_box(
            us=us,
            convert=m2_from_ft2,
            label=f"Size of the spot in {'sq ft' if us else 'm²'}",
            needed=True,
            empty=None,
        )
        self.order_fields(["cause", "area_m2", "notes"])

    def what(self) -> ComingBack:
        """What could be read."""
        return ComingBack(**{"cause": "", "area_m2": None, **self.cleaned_data})


@require_http_methods(["GET", "HEAD", "POST"])
@office(*DESK)
def take_in_return(request: OfficeRequest, pk: int) -> HttpResponse:
    """A return visit to the floor of a booking that is done."""
    mine = Booking.objects.visible_to(request.user).of_branch(request.branch)
    booking = get_object_or_404(mine.select_related("job__customer", "job__site"), pk=pk)
    form = ReturnForm(
        branch=request.branch, data=request.POST if request.method == "POST" else None
    )
    if request.method == "POST":
        form.full_clean()
        try:
            job = come_back(
                branch=request.branch,
                job_id=booking.job_id,
                what=form.what(),
                by=access.person(request.user),
                now=timezone.now(),
                key=request.POST.get("key", ""),
            )
        except Invalid as refusal:
            for field, sentence in refusal.problems.items():
                if field not in form.errors:
                    form.add_error(field, sentence)
        else:
            messages.success(request, "The return visit waits for a day. These are the best.")
            return redirect("offers", pk=job.pk)
    context = {
        "booking": booking,
        "job": booking.job,
        "form": form,
        "key": f"return-{booking.pk}-{int(timezone.now().timestamp())}",
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "dispatch/return_visit.html", context, status=status)
