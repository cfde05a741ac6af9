"""What is stored of a customer: shown, handed out and, when they ask for it, erased."""

from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from dispatch.reads.privacy import everything_of
from dispatch.services.privacy import erase_customer
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import Customer
from jobs.refusals import Refusal

DESK = access.OFFICE_ROLES
NOT_THE_NAME = "Please type the customer's name as it stands above."


@require_safe
@office(*DESK)
def stored(request: OfficeRequest, pk: int) -> HttpResponse:
    """What is stored of one customer, in numbers, with the ways to take it along or erase it."""
    return _show(request, _customer(request, pk))


@require_safe
@office(*DESK)
def handed_out(request: OfficeRequest, pk: int) -> HttpResponse:
    """Everything that is stored of a customer as a JSON file."""
    customer = _customer(request, pk)
    answer = JsonResponse(
        everything_of(customer, now=timezone.now()), json_dumps_params={"indent": 1}
    )
    answer["Content-Disposition"] = f'attachment; filename="customer-{customer.pk}.json"'
    answer["Cache-Control"] = "no-store"
    return answer


@require_POST
@office(*DESK)
def erase(request: OfficeRequest, pk: int) -> HttpResponse:
    """Erase a customer whose name was typed again; nothing brings them back."""
    customer = _customer(request, pk)
    if request.POST.get("name", "").strip() != customer.name:
        return _show(request, customer, refusal=Refusal(NOT_THE_NAME, field="name"))
    try:
        left = erase_customer(
            branch=request.branch,
            customer_id=pk,
            by=access.person(request.user),
            now=timezone.now(),
        )
    except Refusal as refusal:
        return _show(request, customer, refusal=refusal)
    messages.success(request, f"Erased. Their floors and days stay under “{left.name}”.")
    return redirect("stored", pk=pk)


def _show(
    request: OfficeRequest, customer: Customer, *, refusal: Refusal | None = None
) -> HttpResponse:
    now = timezone.now()
    found = everything_of(customer, now=now)
    counts = [
        (name, len(found[name]))
        for name in ("sites", "floors", "orders", "bookings", "days", "mails", "links", "changes")
    ]
    context = {"customer": customer, "counts": counts, "refusal": refusal, "now": now}
    status = refusal.status if refusal else 200
    return render(request, "dispatch/stored.html", context, status=status)


def _customer(request: OfficeRequest, pk: int) -> Customer:
    mine = Customer.objects.visible_to(request.user).of_branch(request.branch)
    found: Customer = get_object_or_404(mine.select_related("branch"), pk=pk)
    return found
