"""Asking what must be ready: two days before and the evening before, and what is answered."""

from datetime import datetime

from django.db.models import Prefetch

from dispatch.models import Booking, BookingState, Notice, NoticeKind, ReadyAnswer, Stint
from dispatch.reads.readiness import asked_about, day_of, first_start, items_of, lines_of
from dispatch.rules.readiness import due
from dispatch.services import notices
from dispatch.services.receipts import TooLate
from jobs import audit
from jobs.access import Actor
from jobs.models import Branch
from jobs.refusals import Invalid
from jobs.writing import run_write

KINDS = {"early": NoticeKind.READY_EARLY, "late": NoticeKind.READY_LATE}
CUSTOMERS_PAGE, TELEPHONE = "customer's page", "telephone"
WORDS_LETTERS = 300


def ask_due(*, now: datetime) -> int:
    """Ask the customers of near, confirmed days what is due; return how many. Safe to repeat."""
    asked = 0
    for branch in Branch.objects.all():
        for booking in asked_about(branch, now=now):
            start = first_start(booking)
            kind = KINDS.get(due(first_start=start, now=now)) if start else None
            open_lines = [line for line in lines_of(booking) if line.state != "ready"]
            if start is None or kind is None or not open_lines:
                continue
            if not _was_asked(booking, kind, start):
                _ask(booking, kind, now=now)
                asked += 1
    return asked


def _was_asked(booking: Booking, kind: NoticeKind, start: datetime) -> bool:
    tag = day_of(booking, start).isoformat()
    return Notice.objects.filter(booking=booking, kind=kind, key__endswith=f":{tag}").exists()


@run_write
def _ask(booking: Booking, kind: NoticeKind, *, now: datetime) -> None:
    """Owe the question for the day as it stands behind the transaction."""
    current = _whole(booking.pk)
    start = first_start(current)
    if current.state != BookingState.BOOKED or start is None or start <= now:
        return
    questions = [line.item.question for line in lines_of(current) if line.state != "ready"]
    tag = day_of(current, start).isoformat()
    notices.owe(current, kind, now=now, lines=questions, tag=tag)


@run_write
def answer(
    booking: Booking,
    *,
    topic: str,
    ready: bool,
    by: Actor,
    how: str,
    now: datetime,
    words: str = "",
) -> ReadyAnswer:
    """Keep what was answered about one thing; the newest answer counts.

    Raises TooLate once the day has begun or is not confirmed, Invalid for a thing not asked.
    """
    current = _whole(booking.pk)
    start = first_start(current)
    if current.state != BookingState.BOOKED or start is None or start <= now:
        raise TooLate("The work has begun or the day is not on any more. Please ring us.")
    if topic not in {item.topic.value for item in items_of(current, start)}:
        raise Invalid({"topic": "This is not asked for this floor."})
    row, _ = ReadyAnswer.objects.update_or_create(
        booking=current,
        day=day_of(current, start),
        topic=topic,
        defaults={
            "ready": ready,
            "words": words.strip()[:WORDS_LETTERS],
            "how": how,
            "by_name": by.name[:120],
            "user": by.user,
            "at": now,
        },
    )
    audit.record(
        branch=current.branch,
        by=by,
        subject="ready",
        subject_id=current.pk,
        action=topic,
        now=now,
        after={"ready": ready, "how": how, "day": row.day.isoformat()},
        why=words,
    )
    return row


def _whole(pk: int) -> Booking:
    found: Booking = (
        Booking.objects.select_related("branch", "job__customer", "job__site")
        .prefetch_related(
            "job__floors",
            "ready_answers",
            Prefetch("stints", Stint.objects.order_by("number")),
        )
        .get(pk=pk)
    )
    return found
