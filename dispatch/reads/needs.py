"""What needs a person: weather that turned, crews that have not confirmed, holds, wishes."""

from datetime import date, datetime, timedelta

from django.db.models import F, Prefetch, Q, QuerySet
from django.utils import timezone

from dispatch.models import (
    OPEN_STATES,
    Booking,
    BookingState,
    Crew,
    FinalCall,
    Notice,
    NoticeKind,
    NoticeState,
    PromiseLevel,
    Stint,
    StintState,
    StoredVerdict,
)
from dispatch.reads import evening_needs
from dispatch.reads.need import ORDER, Need
from dispatch.reads.stock import short_soon, short_words
from dispatch.rules.findings import Level
from dispatch.rules.firmness import ENCLOSED_DAYS, Firmness, firmest
from dispatch.rules.receipt_hours import ring_from
from jobs.models import AuditEvent, Branch, DayWish
from jobs.rules.clock import say_moment, say_span
from jobs.rules.must_know import not_known

SOON = timedelta(days=4)
RECENT = timedelta(days=5)
FARTHEST = timedelta(days=ENCLOSED_DAYS + 2)  # no day is confirmed so far ahead
HALF_A_DAY = timedelta(hours=12)


def count(branch: Branch) -> int:
    """How many things wait for a person."""
    return len(everything(branch, now=timezone.now()))


def everything(branch: Branch, *, now: datetime) -> list[Need]:
    """All of it, worst first."""
    evening = evening_needs.found(branch, now=now)
    undecided = {need.booking for need in evening if need.kind == "final"}
    found = [
        *evening,
        *(need for need in _weather(branch, now) if need.answer_pk not in undecided),
        *_receipts(branch, now),
        *_cars(branch, now),
        *_short(branch, now),
        *_wishes(branch, now),
        *_confirmable(branch, now),
        *_holds(branch),
        *_mail(branch),
    ]
    return sorted(found, key=lambda need: (ORDER[need.kind], need.level != "no", need.when))


def _weather(branch: Branch, now: datetime) -> list[Need]:
    """Open stints whose newest verdict is no, and confirmed ones that are unknown and near."""
    near = Q(level=Level.NO) | Q(level=Level.UNKNOWN, stint__start__lte=now + SOON)
    bad = _newest_ahead(branch, now).filter(near)  # farther unknown ones are nobody's decision yet
    bad = bad.select_related("stint__booking__job__customer", "stint__booking__job__site")
    decided = set(
        FinalCall.objects.of_branch(branch)
        .filter(latest=True, day__gte=branch.today(now))
        .values_list("verdict_id", flat=True)
    )
    needs: dict[int, Need] = {}
    for verdict in bad.order_by("stint__start"):
        stint = verdict.stint
        booking = stint.booking
        if verdict.pk in decided:
            continue  # somebody decided on this very verdict
        job = booking.job
        firm = booking.promise == PromiseLevel.CONFIRMED
        needs.setdefault(
            booking.pk,
            Need(
                kind="weather",
                level=verdict.level,
                title=f"{job.customer}, {say_span(stint.start, stint.end, job.site.tz)}",
                reason=verdict.headline,
                answer="See better days" + (" (1 to ring)" if firm else " (nobody to ring yet)"),
                answer_url_name="move",
                answer_pk=booking.pk,
                when=stint.start,
                telephone=job.customer.telephone if firm else "",
            ),
        )
    return list(needs.values())


def _receipts(branch: Branch, now: datetime) -> list[Need]:
    """Changes within 48 hours that a crew's lead has not been seen to read."""
    waiting = (
        Notice.objects.of_branch(branch)
        .filter(kind=NoticeKind.CREW_CHANGE, receipt__isnull=True, due_at__gt=now - RECENT)
        .exclude(state=NoticeState.OBSOLETE)
    )
    crews = Crew.objects.of_branch(branch).select_related("lead").in_bulk()
    newest = {(each.booking_id, each.facts.get("crew")): each for each in waiting.order_by("pk")}
    needs = []
    for notice in newest.values():
        crew = crews.get(notice.facts.get("crew"))
        until = datetime.fromisoformat(notice.facts.get("until", notice.due_at.isoformat()))
        if crew is None or until < now - HALF_A_DAY:
            continue
        leaves = datetime.fromisoformat(notice.facts.get("leaves", until.isoformat()))
        ring_at = ring_from(told_at=notice.due_at, leaves=leaves, zone=branch.tz)
        ring = "Ring now." if now >= ring_at else f"To be rung at {say_moment(ring_at, branch.tz)}."
        needs.append(
            Need(
                kind="receipt",
                level="no" if now >= ring_at else "care",
                title=f"{crew}: not confirmed",
                reason=f"{notice.facts.get('text', '')}. {ring}",
                answer="Told by telephone",
                answer_url_name="told",
                answer_pk=notice.pk,
                when=until,
                telephone=crew.lead.telephone if crew.lead else "",
                post=True,
            )
        )
    return needs


def _cars(branch: Branch, now: datetime) -> list[Need]:
    """Promises that have come later than the customer can do without the floor."""
    late = (
        Booking.objects.of_branch(branch)
        .filter(state__in=(BookingState.BOOKED, BookingState.DONE), drive_on_at__gt=now)
        .filter(job__car_needed_by__lt=F("drive_on_at"))
        .select_related("job__customer", "job__site")
    )
    return [
        Need(
            kind="car",
            level="no",
            title=f"{booking.job.customer}: needs the floor before drive-on",
            reason=f"Needed by {say_moment(booking.job.car_needed_by, booking.job.site.tz)}, "
            f"drive-on {say_moment(booking.drive_on_at, booking.job.site.tz)}. A permit or a "
            "place to park may have to last longer.",
            answer="Open the booking",
            answer_url_name="booking",
            answer_pk=booking.pk,
            when=booking.job.car_needed_by,
            telephone=booking.job.customer.telephone,
        )
        for booking in late
        if booking.job.car_needed_by and booking.drive_on_at
    ]


def _short(branch: Branch, now: datetime) -> list[Need]:
    """What lacks for floors up to tomorrow, so that somebody fetches it this evening."""
    return [
        Need(
            kind="stock",
            level="care",
            title=f"{share.customer}: {share.what}",
            reason=short_words(share),
            answer="See the floor",
            answer_url_name="booking",
            answer_pk=share.booking,
            when=branch.at(share.day, branch.day_starts),
        )
        for share in short_soon(branch, now=now)
    ]


def _wishes(branch: Branch, now: datetime) -> list[Need]:
    """Customers who said that their day no longer works, since the booking last changed."""
    recent = AuditEvent.objects.filter(
        branch=branch, subject="booking", at__gt=now - timedelta(days=30)
    )
    last = {event.subject_id: event for event in recent.order_by("at", "pk")}
    said = {pk: event for pk, event in last.items() if event.action == "customer cannot"}
    standing = Booking.objects.of_branch(branch).open().select_related("job__customer")
    return [
        Need(
            kind="customer",
            level="care",
            title=f"{booking.job.customer} cannot on the day",
            reason=said[booking.pk].why or "No reason was given.",
            answer="See other days",
            answer_url_name="move",
            answer_pk=booking.pk,
            when=said[booking.pk].at,
            telephone=booking.job.customer.telephone,
        )
        for booking in standing.filter(pk__in=said)
    ]


def _confirmable(branch: Branch, now: datetime) -> list[Need]:
    """Planned days that have come near enough to be confirmed."""
    dry = _newest_ahead(branch, now).filter(
        level__in=[Level.GO, Level.CARE],
        stint__start__lt=now + FARTHEST,
        stint__booking__state=BookingState.BOOKED,
        stint__booking__promise__in=[PromiseLevel.PLANNED, PromiseLevel.RANGE],
    )
    levels = {verdict.stint_id: Level(verdict.level) for verdict in dry.only("stint", "level")}
    if not levels:
        return []
    planned = (
        Booking.objects.of_branch(branch)
        .filter(pk__in=dry.values("stint__booking"))
        .select_related("job__customer", "job__site")
        .prefetch_related(
            "job__floors",
            "job__questions",
            Prefetch("stints", Stint.objects.open().order_by("number")),
        )
    )
    firsts = [(booking, next(iter(booking.stints.all()), None)) for booking in planned]
    ahead = [(booking, first) for booking, first in firsts if first and first.start > now]
    return [
        _to_confirm(booking, first, levels[first.pk], today=branch.today(now))
        for booking, first in ahead
        if first.pk in levels and _firm(branch, booking, first, levels[first.pk], now)
    ]


def _firm(branch: Branch, booking: Booking, first: Stint, level: Level, now: datetime) -> bool:
    """Whether the day may be confirmed by now."""
    firmness = firmest(
        exposures=booking.job.exposures(),
        fixed=booking.job.day_wish == DayWish.FIXED,
        lead_days=(first.start.astimezone(branch.tz).date() - branch.today(now)).days,
        level=level,
    )
    return firmness is Firmness.CONFIRMED


def _to_confirm(booking: Booking, first: Stint, level: Level, *, today: date) -> Need:
    missing = not_known(booking.job.missing(today=today))
    planned = f"Planned for {say_moment(first.start, booking.job.site.tz)}."
    if missing:
        return Need(
            kind="known",
            level=Level.CARE.value,
            title=f"{booking.job.customer}: ask before the day is confirmed",
            reason=f"{planned} Before it is confirmed: {missing}",
            answer="Write down what is known",
            answer_url_name="booking",
            answer_pk=booking.pk,
            when=first.start,
            telephone=booking.job.customer.telephone,
        )
    return Need(
        kind="confirm",
        level=level.value,
        title=f"{booking.job.customer}: day can be confirmed",
        reason=planned,
        answer="Confirm and tell the customer",
        answer_url_name="confirm",
        answer_pk=booking.pk,
        when=first.start,
        post=True,
        version=booking.version,
    )


def _holds(branch: Branch) -> list[Need]:
    held = Booking.objects.of_branch(branch).filter(state=BookingState.HELD)
    return [
        Need(
            kind="hold",
            level="care",
            title=f"Held for {booking.job.customer}",
            reason=f"Lapses {say_moment(booking.held_until, branch.tz)}."
            if booking.held_until
            else "",
            answer="Open the booking",
            answer_url_name="booking",
            answer_pk=booking.pk,
            when=booking.held_until or booking.booked_at,
            telephone=booking.job.customer.telephone,
        )
        for booking in held.select_related("job__customer")
    ]


def _mail(branch: Branch) -> list[Need]:
    failed = Notice.objects.of_branch(branch).filter(state=NoticeState.FAILED, receipt__isnull=True)
    return [
        Need(
            kind="mail",
            level="care",
            title=f"Mail to {notice.booking.job.customer} did not go out",
            reason=notice.last_error,
            answer="Open the mail",
            answer_url_name="mail",
            answer_pk=notice.pk,
            when=notice.due_at,
            telephone=notice.booking.job.customer.telephone,
        )
        for notice in failed.select_related("booking__job__customer")
    ]


def _newest_ahead(branch: Branch, now: datetime) -> QuerySet[StoredVerdict]:
    """The newest verdicts of what is not over yet."""
    return StoredVerdict.objects.filter(
        latest=True,
        stint__booking__branch=branch,
        stint__booking__state__in=OPEN_STATES,
        stint__state=StintState.PLANNED,
        stint__end__gt=now,
    )
