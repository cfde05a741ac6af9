"""Which letters go: what a branch turned off, who wants fewer, how many, and what is too late."""

from datetime import datetime, timedelta

from dispatch.models import (
    FewerMails,
    LetterText,
    Notice,
    NoticeKind,
    NoticeState,
    Stamp,
    StampKind,
)
from dispatch.rules.letter_texts import body_faults, subject_faults
from dispatch.rules.letters import Facts
from jobs import audit
from jobs.access import Actor
from jobs.models import Branch, Customer
from jobs.refusals import Invalid
from jobs.writing import run_write

# Letters that remind or tell of progress. A branch may turn each off and a customer all of
# them; what changes a day or a promise always goes.
REMINDERS = (
    NoticeKind.WEEK_BEFORE,
    NoticeKind.WATCH,
    NoticeKind.READY_EARLY,
    NoticeKind.READY_LATE,
    NoticeKind.ON_THE_WAY,
    NoticeKind.FLOOR_DONE,
    NoticeKind.DRIVE_ON_REACHED,
)
# So many of them at most for one booking, from the first day told to its drive-on.
MOST_REMINDERS = 8
ON_THE_WAY_HOLDS = timedelta(hours=2)
BEFORE_THE_DAY = (
    NoticeKind.WEEK_BEFORE,
    NoticeKind.WATCH,
    NoticeKind.READY_EARLY,
    NoticeKind.READY_LATE,
)


def silent_because(notice: Notice) -> str:
    """Why a letter does not go; empty where it does."""
    if notice.kind not in REMINDERS:
        return ""
    off = LetterText.objects.filter(branch_id=notice.branch_id, kind=notice.kind, is_sent=False)
    if off.exists():
        return "The branch does not send this letter."
    if FewerMails.objects.filter(customer_id=notice.booking.job.customer_id).exists():
        return "The customer wants only mails that change something."
    told = Notice.objects.filter(
        booking_id=notice.booking_id, kind__in=REMINDERS, state=NoticeState.SENT
    )
    if told.count() >= MOST_REMINDERS:
        return f"The customer has had {MOST_REMINDERS} reminders about this booking."
    return ""


def too_late(notice: Notice, facts: Facts, *, now: datetime) -> bool:
    """Whether the moment of a letter has passed, or a later word stands in its place."""
    kind = notice.kind
    if kind in BEFORE_THE_DAY and facts.starts and min(facts.starts) <= now:
        return True
    if kind == NoticeKind.WATCH:
        return Notice.objects.filter(
            booking_id=notice.booking_id,
            kind=NoticeKind.FINAL_CALL,
            due_at__gte=notice.due_at,
        ).exists()
    if kind == NoticeKind.ON_THE_WAY:
        arrived = Stamp.objects.filter(stint__notices=notice, kind=StampKind.ARRIVED)
        return now > notice.due_at + ON_THE_WAY_HOLDS or arrived.exists()
    if kind == NoticeKind.DRIVE_ON_REACHED:
        return facts.drive_on_at is None or facts.drive_on_at > now
    return False


@run_write
def change_text(
    *,
    branch: Branch,
    kind: NoticeKind,
    subject: str,
    body: str,
    is_sent: bool,
    by: Actor,
    now: datetime,
) -> LetterText:
    """Keep the branch's words for one kind of letter. Raises Invalid with line and reason."""
    problems = problems_of(subject, body)
    if not is_sent and kind not in REMINDERS:
        problems["is_sent"] = "This letter changes a day or a promise, so it always goes."
    if problems:
        raise Invalid(problems)
    row, _ = LetterText.objects.get_or_create(branch=branch, kind=kind)
    before = {"subject": row.subject, "body": row.body, "is_sent": row.is_sent}
    row.subject, row.body, row.is_sent = subject.strip(), body.strip(), is_sent
    row.save()
    audit.record(
        branch=branch,
        by=by,
        subject="letter",
        subject_id=row.pk,
        action=f"change {kind}",
        now=now,
        before=before,
        after={"subject": row.subject, "body": row.body, "is_sent": row.is_sent},
    )
    return row


def problems_of(subject: str, body: str) -> dict[str, str]:
    """Every fault of both texts, by field, each with its line."""
    found = {"subject": subject_faults(subject), "body": body_faults(body)}
    return {field: " ".join(map(str, faults)) for field, faults in found.items() if faults}


@run_write
def set_fewer(customer: Customer, *, fewer: bool, by: Actor, now: datetime) -> None:
    """Send a customer only what changes something, or everything again; days stay as they are."""
    if fewer:
        _, changed = FewerMails.objects.get_or_create(customer=customer, defaults={"since": now})
    else:
        changed = bool(FewerMails.objects.filter(customer=customer).delete()[0])
    if changed:
        audit.record(
            branch=customer.branch,
            by=by,
            subject="customer",
            subject_id=customer.pk,
            action="fewer mails" if fewer else "all mails",
            now=now,
        )
