"""Taking in floors: one by one, as a backlog, and the line of those that wait."""

from datetime import datetime, timedelta

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from dispatch.forms import BacklogForm, IntakeForms
from dispatch.reads.waiting import said, waiting_jobs
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.idempotency import KeyReused
from jobs.models import Branch, Job, Role
from jobs.models.branches import Units
from jobs.refusals import Invalid
from jobs.rules.backlog_rows import COLUMNS
from jobs.rules.backlog_sample import sample_csv
from jobs.rules.backlog_text import MOST_ROWS, Unusable, read_text
from jobs.services import intake
from jobs.services.backlog import BacklogRefused, check_backlog, take_in_backlog
from jobs.services.checking import Desk
from jobs.text import one_line

DESK = (Role.OWNER, Role.OFFICE)
A_PAGE = 50
PROBLEMS_SHOWN = 200


@require_safe
@office()
def waiting(request: OfficeRequest) -> HttpResponse:
    """Floors without a day, in the order of the line."""
    now = timezone.now()
    today = request.branch.today(now)
    looked_for = one_line(request.GET.get("q", ""), most=80)
    found = waiting_jobs(request.branch, looked_for=looked_for).with_floors()
    page = Paginator(found, A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": [said(job, today=today, now=now) for job in page],
        "looked_for": looked_for,
        "may_book": request.role in DESK,
        "now": now,
    }
    return render(request, "dispatch/waiting.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@office(*DESK)
def take_in(request: OfficeRequest) -> HttpResponse:
    """The form for one order; taken in, it goes on to the best days."""
    now = timezone.now()
    if request.method != "POST":
        return _show(request, IntakeForms(branch=request.branch, now=now))
    forms = IntakeForms(branch=request.branch, now=now, data=request.POST)
    if not forms.is_valid():
        return _show(request, forms, status=422)
    try:
        job = intake.take_in(
            branch=request.branch,
            new=forms.new_job(),
            by=access.person(request.user),
            now=now,
            key=forms.key(),
        )
    except Invalid as refusal:  # something changed between looking and writing
        forms.tell(refusal.problems)
        return _show(request, forms, status=refusal.status)
    except KeyReused as refusal:
        forms.new_key()
        sentence = (
            "This page was already sent, with other words in it, and that order waits. "
            "If this is another order, send it again."
        )
        forms.order.add_error(None, sentence)
        return _show(request, forms, status=refusal.status)
    _say_what_was_assumed(request, job, forms, now=now)
    return redirect("offers", pk=job.pk)


def _show(request: OfficeRequest, forms: IntakeForms, *, status: int = 200) -> HttpResponse:
    context = {
        "forms": forms,
        "order": forms.order,
        "by_hand": forms.new_job().placed_by_hand if forms.order.is_bound else False,
        "now": forms.now,
    }
    return render(request, "dispatch/take_in.html", context, status=status)


def _say_what_was_assumed(
    request: OfficeRequest, job: Job, forms: IntakeForms, *, now: datetime
) -> None:
    new = forms.new_job()
    messages.success(request, f"{job.customer} is in the line. These are the best days.")
    if job.customer.name != one_line(new.customer_name, most=120):
        messages.info(request, f"{job.customer} is known by this e-mail address, so it is theirs.")
    for remark in intake.remarks_on(branch=request.branch, new=new, now=now):
        messages.info(request, remark)


@require_http_methods(["GET", "HEAD", "POST"])
@office(*DESK)
def import_backlog(request: OfficeRequest) -> HttpResponse:
    """Bring many floors as a file: look at it first, or take in all of its rows."""
    now = timezone.now()
    if "sample" in request.GET:
        return _sample(request.branch, now=now)
    if request.method != "POST":
        return _show_backlog(request, BacklogForm())
    form = BacklogForm(request.POST, request.FILES)
    form.full_clean()
    data = form.content()
    # The text goes back into the page, so that what was looked at can be taken in.
    form = BacklogForm({"text": _text_of(data)})
    try:
        if request.POST.get("action") == "check":
            orders = check_backlog(branch=request.branch, data=data, now=now)
            return _show_backlog(request, form, good=len(orders))
        imported = take_in_backlog(
            branch=request.branch, data=data, by=access.person(request.user), now=now
        )
    except BacklogRefused as refusal:
        return _show_backlog(request, form, refusal=refusal, status=refusal.status)
    if imported.again:
        messages.info(request, f"This file was brought before; its {imported.count} rows wait.")
    else:
        messages.success(request, f"{imported.count} floors are in the line now.")
    return redirect("waiting")


def _show_backlog(
    request: OfficeRequest,
    form: BacklogForm,
    *,
    good: int | None = None,
    refusal: BacklogRefused | None = None,
    status: int = 200,
) -> HttpResponse:
    problems = refusal.problems if refusal else []
    context = {
        "form": form,
        "columns": COLUMNS,
        "good": good,
        "refusal": refusal,
        "problems": problems[:PROBLEMS_SHOWN],
        "more": max(0, len(problems) - PROBLEMS_SHOWN),
        "most_rows": MOST_ROWS,
        "us": request.branch.units == Units.US,
        "now": timezone.now(),
    }
    return render(request, "dispatch/import_backlog.html", context, status=status)


def _text_of(data: bytes) -> str:
    try:
        return read_text(data)
    except Unusable:
        return ""


def _sample(branch: Branch, *, now: datetime) -> HttpResponse:
    """A file to begin with, that could be taken in as it is."""
    systems = Desk.of(branch, now=now).systems.values()
    depot = branch.depot_place
    text = sample_csv(
        system=next((system.name for system in systems), "One-day flake"),
        day=branch.today(now) + timedelta(days=30),
        us=branch.units == Units.US,
        place_by_hand=None
        if branch.country == "US"
        else (str(depot.latitude), str(depot.longitude), depot.zone),
    )
    reply = HttpResponse(text, content_type="text/csv; charset=utf-8")
    reply["Content-Disposition"] = 'attachment; filename="backlog-sample.csv"'
    return reply
