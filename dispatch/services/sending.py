"""Sending: the notices that are owed to customers go out, at least once and never in a lock."""

import logging
import time as clock
from datetime import datetime, time, timedelta
from email.charset import QP, Charset
from smtplib import SMTPDataError, SMTPRecipientsRefused
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.db.models import Prefetch
from django.template.loader import render_to_string

from dispatch import calendars
from dispatch.models import (
    Booking,
    BookingState,
    LetterText,
    Notice,
    NoticeKind,
    NoticeState,
    Stint,
)
from dispatch.reads import letter as reads
from dispatch.reads.feed import visit_of
from dispatch.rules import letter_texts, letters, progress_letters
from dispatch.rules.letters import Facts, Letter
from dispatch.rules.plain_text import one_line
from dispatch.services import letter_rules, links

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=2)
BACKOFF_MIN = (1, 2, 4, 8, 16)
# Nobody's telephone hums at night for a day that is not today.
CIVIL_FROM, CIVIL_UNTIL = time(7, 0), time(21, 0)
ON_THE_ROAD = timedelta(hours=3)  # too soon after the civil hours begin to wait for them
PERMANENT = 500  # RFC 5321 section 4.2.1: a reply of 5yz is final
SUPERSEDING = (NoticeKind.BOOKED, NoticeKind.MOVED, NoticeKind.CALLED_OFF)
LETTERS = {
    NoticeKind.BOOKED: letters.booked,
    NoticeKind.MOVED: letters.moved,
    NoticeKind.CALLED_OFF: letters.called_off,
    NoticeKind.DRIVE_ON_LATER: letters.drive_on_later,
    NoticeKind.WATCH: letters.weather_watch,
    NoticeKind.FINAL_CALL: letters.final_word,
    NoticeKind.READY_EARLY: letters.must_be_ready,
    NoticeKind.READY_LATE: letters.must_be_ready,
    NoticeKind.WEEK_BEFORE: progress_letters.week_before,
    NoticeKind.ON_THE_WAY: progress_letters.on_the_way,
    NoticeKind.FLOOR_DONE: progress_letters.floor_done,
    NoticeKind.DRIVE_ON_REACHED: progress_letters.drive_on_reached,
}
# Letters about the day itself carry it as a calendar object; the others say only what is new.
WITH_CALENDAR = SUPERSEDING


def send_due(*, now: datetime, limit: int = 100) -> int:
    """Send the mails that are due; return how many went out. Safe to run twice at once."""
    begun = clock.monotonic()
    due = Notice.objects.due(now).filter(audience=reads.CUSTOMER)
    sent = 0
    # A later drive-on goes before a letter that names it as well, or its reason would be no news.
    for notice in sorted(due[:limit], key=lambda each: each.kind != NoticeKind.DRIVE_ON_LATER):
        moment = now + timedelta(seconds=clock.monotonic() - begun)
        sent += _attempt(notice.pk, now=moment)
    return sent


def _attempt(pk: int, *, now: datetime) -> bool:
    notice = _whole(pk)
    wait = civil_wait(notice, now=now)
    if wait is not None:
        Notice.objects.filter(pk=pk, state=NoticeState.PENDING).update(next_try_at=wait)
        return False
    if not notice.lease(now, now + LEASE):
        return False
    notice = _whole(pk)  # what was read before the lease may have moved on
    facts = _facts(notice, now=now)
    why = "Overtaken." if overtaken(notice, facts, now=now) else letter_rules.silent_because(notice)
    if why:
        _close(notice, NoticeState.OBSOLETE, last_error=why)
        return False
    return _send(notice, facts, now=now)


def _send(notice: Notice, facts: Facts, *, now: datetime) -> bool:
    """Hand one mail over; no transaction is open while the mail server thinks."""
    try:
        letter = write(notice, facts)
        compose(notice, letter, now=now).send()
    except (SMTPRecipientsRefused, SMTPDataError) as refusal:
        if _is_final(refusal):
            _close(notice, NoticeState.FAILED, last_error=str(refusal)[:300])
        else:
            _try_later(notice, refusal, now=now)
        return False
    except OSError as trouble:  # a certificate nobody vouches for is a ValueError as well
        log.warning("notice %s did not go out: %s", notice.pk, type(trouble).__name__)
        _try_later(notice, trouble, now=now)
        return False
    except ValueError as refusal:  # a bad address or header (BadHeaderError is one)
        _close(notice, NoticeState.FAILED, last_error=str(refusal)[:300])
        return False
    except Exception as trouble:  # noqa: BLE001  one bad mail must not hold up the others
        log.warning("notice %s did not go out: %s", notice.pk, type(trouble).__name__)
        _try_later(notice, trouble, now=now)
        return False
    notice.facts["told"] = reads.told_json(facts)
    _close(
        notice,
        NoticeState.SENT,
        sent_at=now,
        subject=letter.subject[:200],
        text=letter.text,
        facts=notice.facts,
        last_error="",
    )
    return True


def write(notice: Notice, facts: Facts) -> Letter:
    """The letter in the branch's own words where it has some."""
    letter = LETTERS[NoticeKind(notice.kind)](facts)
    text = LetterText.objects.filter(branch_id=notice.branch_id, kind=notice.kind).first()
    if text is None:
        return letter
    return letter_texts.worded(letter, facts, subject=text.subject, body=text.body)


def compose(notice: Notice, letter: Letter, *, now: datetime) -> EmailMultiAlternatives:
    """The mail: text, HTML and, once a day was confirmed, the calendar object last.

    RFC 6047 section 2.4 wants the method of the object in the type of its part, too.
    """
    branch = notice.booking.branch
    mail = EmailMultiAlternatives(
        subject=letter.subject,
        body=letter.text,
        from_email=_mailbox(branch.company),
        to=[notice.to],
        reply_to=[branch.email] if branch.email else None,
        headers={
            "Auto-Submitted": "auto-generated",
            "Message-ID": _message_id(notice),
            **(_fewer(letter) if notice.kind in letter_rules.REMINDERS else {}),
        },
    )
    # Quoted-printable, since not every hop is clean for 8 bits (RFC 6047 section 2.5).
    charset = Charset("utf-8")
    charset.body_encoding = QP
    mail.encoding = charset
    mail.attach_alternative(render_to_string("mail/letter.html", {"letter": letter}), "text/html")
    if notice.kind in WITH_CALENDAR:
        _attach_calendar(mail, notice, now=now)
    return mail


def _attach_calendar(mail: EmailMultiAlternatives, notice: Notice, *, now: datetime) -> None:
    """The first visit as the last alternative, each further one as a file of its own.

    One object holds one UID, and one alternative one version (RFC 6047 section 2.4).
    """
    branch = notice.booking.branch
    for number, entry in enumerate(reads.customer_entries(notice, kinds=WITH_CALENDAR), 1):
        method, calendar = calendars.invitation(
            visit_of(entry),
            organizer=calendars.Mailbox(branch.company, settings.DEFAULT_FROM_EMAIL),
            attendee=calendars.Mailbox(notice.booking.job.customer.name, notice.to),
            written_at=now,
        )
        kind = f"text/calendar; method={method}"
        if number == 1:
            mail.attach_alternative(calendar.decode(), kind)
        else:
            mail.attach(f"visit-{number}.ics", calendar.decode(), kind)


def civil_wait(notice: Notice, *, now: datetime) -> datetime | None:
    """Until when a mail waits for the morning at the site; None where it goes at once."""
    zone = notice.booking.job.site.tz
    opens = civil_opening(now, zone)
    if opens is None:
        return None
    told = reads.told_last(notice)
    if notice.kind == NoticeKind.DRIVE_ON_LATER:
        due_back = told.drive_on_at if told else None
        return None if due_back and due_back <= opens + ON_THE_ROAD else opens
    starts = [*reads.starts_of(notice.booking), *(told.starts if told else ())]
    starts += reads.moved_from(notice.booking) if notice.kind == NoticeKind.MOVED else ()
    today = now.astimezone(zone).date()
    soon = any(
        start.astimezone(zone).date() == today or now <= start <= opens + ON_THE_ROAD
        for start in starts
    )
    return None if soon else opens


def civil_opening(now: datetime, zone: ZoneInfo) -> datetime | None:
    """When the civil hours begin again at the site; None while they last."""
    local = now.astimezone(zone)
    if CIVIL_FROM <= local.time() < CIVIL_UNTIL:
        return None
    day = local.date() if local.time() < CIVIL_FROM else local.date() + timedelta(days=1)
    return datetime.combine(day, CIVIL_FROM, tzinfo=zone)


def overtaken(notice: Notice, facts: Facts, *, now: datetime) -> bool:
    """Whether there is nothing left to tell: the booking moved on, or the customer knows."""
    newer = Notice.objects.filter(
        booking_id=notice.booking_id,
        audience=reads.CUSTOMER,
        booking_version__gt=notice.booking_version,
    ).filter(kind__in=(*SUPERSEDING, notice.kind))
    gone = notice.booking.state == BookingState.CALLED_OFF
    if newer.exists() or (gone and notice.kind != NoticeKind.CALLED_OFF):
        return True
    if notice.kind == NoticeKind.DRIVE_ON_LATER:
        told = facts.before  # without a confirmed day no time was ever promised
        return not facts.confirmed or bool(told and told.drive_on_at == facts.drive_on_at)
    if letter_rules.too_late(notice, facts, now=now):
        return True
    return notice.kind == NoticeKind.MOVED and _same_to_customer(facts)


def _same_to_customer(facts: Facts) -> bool:
    """Whether a move changed nothing they were told: another crew, another day of the week."""
    told = facts.before
    if told is None or told.confirmed != facts.confirmed:
        return False
    if not facts.confirmed:
        return facts.was == facts.when
    return (told.starts, told.drive_on_at) == (facts.starts, facts.drive_on_at)


def _whole(pk: int) -> Notice:
    """The notice with everything a letter speaks of, in a fixed number of queries."""
    found: Notice = (
        Notice.objects.select_related(
            "booking__branch",
            "booking__job__branch",
            "booking__job__customer",
            "booking__job__site",
        )
        .prefetch_related(
            Prefetch("booking__stints", queryset=Stint.objects.order_by("number")),
            "booking__job__floors",
        )
        .get(pk=pk)
    )
    return found


def _facts(notice: Notice, *, now: datetime) -> Facts:
    booking: Booking = notice.booking
    return reads.facts_of(
        booking,
        page_url=links.for_booking(booking, now=now).address,
        why=str(notice.facts.get("why", "")),
        before=reads.told_last(notice),
        lines=tuple(notice.facts.get("lines", ())),
    )


def _close(notice: Notice, state: NoticeState, **fields: Any) -> None:
    """Write the end down, unless the lease lapsed and somebody else has the notice now."""
    Notice.objects.filter(pk=notice.pk, state=NoticeState.SENDING, attempts=notice.attempts).update(
        state=state, lease_until=None, **fields
    )


def _try_later(notice: Notice, trouble: Exception, *, now: datetime) -> None:
    said = f"{type(trouble).__name__}: {trouble}"[:300]
    if notice.attempts > len(BACKOFF_MIN):
        _close(notice, NoticeState.FAILED, last_error=said)
        return
    wait = timedelta(minutes=BACKOFF_MIN[notice.attempts - 1])
    _close(notice, NoticeState.PENDING, next_try_at=now + wait, last_error=said)


def _is_final(refusal: SMTPRecipientsRefused | SMTPDataError) -> bool:
    """Whether the server said never, rather than not now."""
    if isinstance(refusal, SMTPRecipientsRefused):
        codes = [code for code, _ in refusal.recipients.values()]
        return bool(codes) and all(code >= PERMANENT for code in codes)
    return refusal.smtp_code >= PERMANENT


def _mailbox(company: str) -> str:
    name = one_line(company).replace("\\", "").replace('"', "'")
    return f'"{name}" <{settings.DEFAULT_FROM_EMAIL}>'


def _fewer(letter: Letter) -> dict[str, str]:
    """How a mail program offers fewer mails with one press (RFC 2369, RFC 8058)."""
    pages = [block.link for block in letter.closing if block.link]
    if not pages:
        return {}
    return {
        "List-Unsubscribe": f"<{pages[0]}fewer/>",
        "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
    }


def _message_id(notice: Notice) -> str:
    """The same for every try, so that a mail sent twice is seen as one."""
    host = settings.DEFAULT_FROM_EMAIL.rpartition("@")[2] or "slabcast.invalid"
    return f"<notice-{notice.pk}-{notice.booking_version}@{host}>"
