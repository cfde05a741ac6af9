"""Mails to customers: what they say, when they go, and that they go once."""

from datetime import UTC, datetime, timedelta

import icalendar
import pytest
from django.core import mail

from dispatch.models import CalendarEntry, Notice, NoticeKind, NoticeState, PromiseLevel
from dispatch.rules.asking import Ask, Promised
from dispatch.services import bookings, notices, sending
from jobs.access import PROGRAM
from tests import builders
from tests.dispatch.days import NOW, START, book, call_off, move, planned

pytestmark = pytest.mark.django_db(transaction=True)
MORNING = NOW  # 10 AM in Chicago


@pytest.fixture
def office():
    branch = builders.branch()
    return branch, builders.crew(of=branch)


def send(now=MORNING):
    return sending.send_due(now=now)


def part(message, kind):
    return next(each for each in message.message().walk() if each.get_content_type() == kind)


def test_a_confirmed_day_is_told_in_full(office):
    branch, crew = office
    booking = book(branch, crew)

    assert send() == 1

    (sent,) = mail.outbox
    assert sent.subject == "Your floor: Tue Jul 7"
    assert sent.to == [booking.job.customer.email]
    for words in (
        "Tue Jul 7, between 8:00 AM and 9:00 AM",
        "Walk on it from Wed Jul 8, 8:00 AM",
        "Drive on it from Thu Jul 9, 8:00 AM",
        "A slab of 68 °F on average",
        "cars out",
        "up to 3 ft",
        "/c/",
    ):
        assert words in sent.body
    kept = Notice.objects.get(kind=NoticeKind.BOOKED)
    assert (kept.state, kept.subject, kept.text) == (NoticeState.SENT, sent.subject, sent.body)


@pytest.mark.parametrize("promise", [PromiseLevel.PLANNED, PromiseLevel.RANGE])
def test_a_planned_day_is_told_as_a_week_and_never_named(office, promise):
    branch, crew = office
    book(branch, crew, promise=promise)

    send()

    (sent,) = mail.outbox
    assert "the week of Mon Jul 6" in sent.subject
    html = part(sent, "text/html").get_payload(decode=True).decode()
    for text in (sent.subject, sent.body, html):
        assert "Jul 7" not in text
        assert "8:00 AM" not in text
    assert "text/calendar" not in str(sent.message())


def test_two_senders_send_one_mail(office):
    branch, crew = office
    book(branch, crew)

    assert [send(), send()] == [1, 0]
    assert len(mail.outbox) == 1


def test_while_the_mail_server_thinks_nobody_else_sends_the_same(office, monkeypatch):
    branch, crew = office
    book(branch, crew)
    deliver, others = mail.EmailMessage.send, []

    def slow(message, *args, **kwargs):
        if not others:  # another sender looks for work just now
            others.append("looks")
            others.append(send())
        return deliver(message, *args, **kwargs)

    monkeypatch.setattr(mail.EmailMessage, "send", slow)

    assert send() == 1
    assert others == ["looks", 0]
    assert len(mail.outbox) == 1


def test_of_two_who_saw_one_notice_waiting_one_has_it(office):
    branch, crew = office
    book(branch, crew)
    seen, also_seen = (Notice.objects.get(audience="customer") for _ in range(2))
    until = MORNING + sending.LEASE

    assert [seen.lease(MORNING, until), also_seen.lease(MORNING, until)] == [True, False]


def test_a_move_says_from_what_to_what_and_why(office):
    branch, crew = office
    booking = book(branch, crew)
    send()
    move(booking, crew, START + timedelta(days=2), why="Rain from 1 PM to 6 PM on Tuesday")

    send()

    sent = mail.outbox[1]
    assert sent.subject == "Your floor moves: Thu Jul 9 (was Tue Jul 7)"
    assert "Why: Rain from 1 PM to 6 PM on Tuesday." in sent.body
    assert "You keep your place in line" in sent.body


def test_calling_off_never_sounds_like_a_lost_place(office):
    branch, crew = office
    booking = book(branch, crew)
    send()
    call_off(booking, why="rain all day")

    send()

    sent = mail.outbox[1]
    assert sent.subject == "Your floor: not on Tue Jul 7"
    assert "keep your place in line" in sent.body
    for word in ("cancel", "guarantee", "completed", "delivery"):
        assert word not in sent.body.lower()


def test_a_later_drive_on_is_told_with_the_old_time(office):
    branch, crew = office
    booking = book(branch, crew)
    send()
    bookings.promise_later(
        branch=branch,
        booking_id=booking.pk,
        version=booking.version,
        now=NOW,
        promised=Promised(
            level=PromiseLevel.CONFIRMED,
            walk_on_at=None,
            drive_on_at=START + timedelta(hours=60),
            drive_on_basis="A slab of 59 °F on average",
        ),
        why="The nights are colder",
    )

    send()

    sent = mail.outbox[1]
    assert "from Thu Jul 9, 8:00 PM instead of Thu Jul 9, 8:00 AM" in sent.body
    assert "The nights are colder" in sent.body
    assert "text/calendar" not in str(sent.message())


def test_the_invitation_follows_the_rules_of_its_trade(office):
    # RFC 5546 section 3.2.2 and RFC 6047 section 2.4.
    branch, crew = office
    book(branch, crew)
    send()

    message = mail.outbox[0].message()
    kinds = [each.get_content_type() for each in message.get_payload()]
    calendar_part = part(mail.outbox[0], "text/calendar")
    calendar = icalendar.Calendar.from_ical(calendar_part.get_payload(decode=True))
    (event,) = calendar.walk("VEVENT")
    entry = CalendarEntry.objects.get(audience="customer")

    assert message.get_content_type() == "multipart/alternative"
    assert kinds == ["text/plain", "text/html", "text/calendar"]
    assert calendar_part.get_param("method") == "REQUEST" == calendar["method"]
    assert calendar_part.get_content_charset() == "utf-8"
    assert calendar_part["Content-Transfer-Encoding"] == "quoted-printable"
    assert event["uid"] == str(entry.uid)
    assert event["status"] == "CONFIRMED"
    assert str(event["organizer"]).startswith("mailto:")
    assert str(event["attendee"]) == f"mailto:{mail.outbox[0].to[0]}"
    assert len(calendar.walk("VTIMEZONE")) == 1
    assert "VALARM" not in str(calendar)


def test_a_move_and_a_call_off_keep_the_uid_and_raise_the_sequence(office):
    branch, crew = office
    booking = book(branch, crew)
    send()
    booking = move(booking, crew, START + timedelta(days=2))
    send()
    call_off(booking)
    send(now=MORNING + notices.RING_FIRST)  # two turns in one morning: rung before it is written

    events = []
    for sent in mail.outbox:
        calendar = icalendar.Calendar.from_ical(
            part(sent, "text/calendar").get_payload(decode=True)
        )
        event = calendar.walk("VEVENT")[0]
        events.append((calendar["method"], event["sequence"], event["status"], str(event["uid"])))

    assert [each[:3] for each in events] == [
        ("REQUEST", 0, "CONFIRMED"),
        ("REQUEST", 1, "CONFIRMED"),
        ("CANCEL", 2, "CANCELLED"),
    ]
    assert len({each[3] for each in events}) == 1


def test_a_confirmed_day_that_becomes_a_week_takes_the_entry_back(office):
    branch, crew = office
    booking = book(branch, crew)
    send()
    move(booking, crew, START + timedelta(days=7), promise=PromiseLevel.PLANNED)
    send()

    assert part(mail.outbox[1], "text/calendar").get_param("method") == "CANCEL"
    assert "from Tue Jul 7 to the week of Mon Jul 13" in mail.outbox[1].body


def test_a_notice_that_was_overtaken_is_not_sent(office):
    branch, crew = office
    booking = book(branch, crew)
    move(booking, crew, START + timedelta(days=2))

    assert send() == 1

    states = dict(Notice.objects.filter(audience="customer").values_list("kind", "state"))
    assert states == {NoticeKind.BOOKED: "obsolete", NoticeKind.MOVED: "sent"}
    # They never heard of the first day, so there is nothing to move from.
    assert mail.outbox[0].subject == "Your floor: Thu Jul 9"


def test_a_move_that_changes_nothing_they_were_told_stays_in_the_office(office):
    branch, crew = office
    booking = book(branch, crew, promise=PromiseLevel.PLANNED)
    send()
    move(booking, builders.crew(of=branch), START + timedelta(days=1), promise=PromiseLevel.PLANNED)

    assert send() == 0
    assert len(mail.outbox) == 1


def test_mail_waits_for_the_morning_at_the_site(office):
    branch, crew = office
    at_night = datetime(2026, 6, 2, 4, 0, tzinfo=UTC)  # 11 PM on Monday in Chicago
    book(branch, crew, now=at_night)

    assert send(at_night) == 0
    assert send(datetime(2026, 6, 2, 11, 59, tzinfo=UTC)) == 0
    assert send(datetime(2026, 6, 2, 12, 0, tzinfo=UTC)) == 1


def test_a_change_of_the_same_day_does_not_wait(office):
    branch, crew = office
    booking = book(branch, crew)
    send()
    early = datetime(2026, 7, 7, 10, 30, tzinfo=UTC)  # 5:30 AM of the day itself
    call_off(booking, now=early)

    assert send(early) == 1


def test_trouble_is_tried_again_after_1_2_4_8_and_16_minutes(office, settings, mail_server):
    branch, crew = office
    book(branch, crew)
    mail_server.answer = "451 4.3.0 later"
    now, waits = MORNING, []

    for _ in range(6):
        assert send(now) == 0
        notice = Notice.objects.get(audience="customer")
        if notice.state == NoticeState.PENDING:
            waits.append(round((notice.next_try_at - now).total_seconds() / 60))
            assert send(now) == 0
            now = notice.next_try_at + timedelta(seconds=1)

    assert waits == [1, 2, 4, 8, 16]
    assert notice.state == NoticeState.FAILED
    assert "451" in notice.last_error


def test_a_refused_recipient_fails_at_once(office, mail_server):
    branch, crew = office
    book(branch, crew)
    mail_server.answer = "550 5.1.1 no such mailbox"

    assert send() == 0

    notice = Notice.objects.get(audience="customer")
    assert (notice.state, notice.attempts) == (NoticeState.FAILED, 1)


def test_a_mail_arrives_over_smtp_with_its_letters_whole(office, mail_server):
    branch, crew = office
    job = builders.job(of=branch)
    job.customer.name = "Zoë Łuk\r\nBcc: all@mail.example"
    job.customer.save()
    book(branch, crew, job=job)

    assert send() == 1

    (got,) = mail_server.messages
    assert got["To"] == job.customer.email
    assert got["Bcc"] is None
    assert "Zoë Łuk Bcc" in got.get_body(("plain",)).get_content()
    assert mail_server.envelopes[0].content.isascii()


def test_a_dead_senders_notice_goes_out_when_its_lease_has_lapsed(office):
    branch, crew = office
    book(branch, crew)
    notice = Notice.objects.get(audience="customer")
    assert notice.lease(MORNING, MORNING + sending.LEASE)

    assert send() == 0
    assert send(MORNING + sending.LEASE + timedelta(seconds=1)) == 1


def test_a_crews_notice_is_never_mailed(office):
    branch, crew = office
    book(branch, crew, MORNING + timedelta(hours=20))

    assert Notice.objects.filter(audience="crew").exists()
    send()

    assert len(mail.outbox) == 1
    assert Notice.objects.get(audience="crew").state == NoticeState.PENDING


def test_a_hold_is_told_to_nobody(office):
    branch, crew = office
    job = builders.job(of=branch)
    held = Ask(
        stints=[planned(crew, START)],
        promised=Promised(level=PromiseLevel.PLANNED, walk_on_at=None, drive_on_at=None),
        held_until=NOW + timedelta(hours=24),
    )
    bookings.book(branch=branch, job_id=job.pk, version=job.version, ask=held, by=PROGRAM, now=NOW)

    assert send() == 0
