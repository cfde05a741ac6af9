"""The customer's page by secret address: no sign-in, no cookie, nothing kept by the browser."""

from collections.abc import Callable
from functools import wraps

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST, require_safe

from dispatch import calendars
from dispatch.models import Booking, FewerMails, Link, LinkPurpose
from dispatch.reads import customer_page as reads
from dispatch.reads.feed import visit_of
from dispatch.services import letter_rules, links, proposals, readiness, receipts
from dispatch.services.changing import CannotChange
from dispatch.views.wrong_links import too_many_wrong, wait_a_minute
from jobs.access import Actor
from jobs.models import ActorKind
from jobs.refusals import Refusal

View = Callable[..., HttpResponse]
SHOWN_LETTERS = 4


def hide_secret(request: HttpRequest, token: str) -> None:
    """Keep a secret address out of our logs, which name the path of every refusal."""
    request.path = request.path.replace(token, f"{token[:SHOWN_LETTERS]}...")


def secret(view: View) -> View:
    """Answers of a secret address are not stored, not found by search engines, not referred.

    The address itself proves that a form was ours: nobody who does not know it can name where
    to post, and pages without a referrer cannot pass Django's check of where a post came from.
    """

    @csrf_exempt
    @wraps(view)
    def kept_secret(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        hide_secret(request, str(kwargs.get("token", "")))
        try:
            answer = view(request, *args, **kwargs)
        except Http404:  # the office's page would speak of branches and signing in
            if too_many_wrong(request, now=timezone.now()):
                answer = wait_a_minute()
            else:
                answer = render(request, "dispatch/link_ended.html", status=404)
        answer["Cache-Control"] = "no-store, private"
        answer["Referrer-Policy"] = "no-referrer"
        answer["X-Robots-Tag"] = "noindex, nofollow"
        return answer

    return kept_secret


@secret
@require_safe
def page(request: HttpRequest, token: str) -> HttpResponse:
    """Where the floor stands. Reading it changes nothing."""
    now = timezone.now()
    link = _link(token)
    links.note_read(link, now=now)
    return _show(request, link)


@secret
@require_POST
def cannot(request: HttpRequest, token: str) -> HttpResponse:
    """The customer says that the day no longer works; a person of the office rings."""
    link = _link(token)
    booking = _booking(link)
    try:
        receipts.customer_cannot(booking, why=request.POST.get("why", ""), now=timezone.now())
    except Refusal as refusal:
        return _show(request, link, refusal=refusal)
    return redirect("customer", token=token)


@secret
@require_POST
def answer(request: HttpRequest, token: str) -> HttpResponse:
    """The customer accepts the proposed day, or asks for another."""
    link = _link(token)
    booking = _booking(link)
    now = timezone.now()
    by = Actor(kind=ActorKind.CUSTOMER, name=booking.job.customer.name)
    try:
        found = proposals.current(booking)
        if found is None or str(found.pk) != request.POST.get("proposal"):
            raise CannotChange("The day has changed since. Please look at the page again.")
        if request.POST.get("answer") == "accept":
            proposals.accept(found.pk, by=by, how=proposals.CUSTOMERS_PAGE, now=now)
        else:
            proposals.want_another(
                found.pk,
                words=request.POST.get("words", ""),
                by=by,
                how=proposals.CUSTOMERS_PAGE,
                now=now,
            )
    except Refusal as refusal:
        return _show(request, link, refusal=refusal)
    return redirect("customer", token=token)


@secret
@require_POST
def ready(request: HttpRequest, token: str) -> HttpResponse:
    """The customer ticks off what must be ready, or says that it cannot be."""
    link = _link(token)
    booking = _booking(link)
    try:
        readiness.answer(
            booking,
            topic=request.POST.get("topic", ""),
            ready=request.POST.get("ready") == "yes",
            by=Actor(kind=ActorKind.CUSTOMER, name=booking.job.customer.name),
            how=readiness.CUSTOMERS_PAGE,
            now=timezone.now(),
        )
    except Refusal as refusal:
        return _show(request, link, refusal=refusal)
    return redirect(f"{reverse('customer', args=[token])}#ready")


@secret
@require_POST
def fewer(request: HttpRequest, token: str) -> HttpResponse:
    """Only mails that change something, or all again; a mail program's one press comes here too."""
    booking = _booking(_link(token))
    customer = booking.job.customer
    letter_rules.set_fewer(
        customer,
        fewer=request.POST.get("mails") != "all",
        by=Actor(kind=ActorKind.CUSTOMER, name=customer.name),
        now=timezone.now(),
    )
    return redirect(f"{reverse('customer', args=[token])}#mails")


@secret
@require_safe
def download(request: HttpRequest, token: str, number: int = 1) -> HttpResponse:
    """One confirmed visit as a file; it is a copy and does not update itself."""
    entry = reads.calendar_entry(_booking(_link(token)), number=number)
    if entry is None:
        raise Http404("No day is confirmed yet.")
    body = calendars.download(visit_of(entry))
    answer = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="floor.ics"'
    return answer


def _show(request: HttpRequest, link: Link, *, refusal: Refusal | None = None) -> HttpResponse:
    now = timezone.now()
    booking = _booking(link)
    shown = reads.customer_page(booking, wish=receipts.wish_of(booking), now=now)
    context = {
        "page": shown,
        "booking": booking,
        "job": booking.job,
        "branch": booking.branch,
        "zone": booking.job.site.tz,
        "token": link.token,
        "fewer": FewerMails.objects.filter(customer_id=booking.job.customer_id).exists(),
        "refusal": refusal,
    }
    status = refusal.status if refusal else 200
    return render(request, "dispatch/customer.html", context, status=status)


def _link(token: str) -> Link:
    link = Link.objects.live(timezone.now()).find(token, LinkPurpose.CUSTOMER)
    if link is None or link.booking_id is None:
        raise Http404("There is no such page.")
    return link


def _booking(link: Link) -> Booking:
    found: Booking = (
        Booking.objects.select_related("branch", "job__branch", "job__customer", "job__site")
        .prefetch_related("job__floors")
        .get(pk=link.booking_id)
    )
    return found
