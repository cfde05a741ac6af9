"""Letters along the way: when they go, how often, in whose words, and what they carry."""

import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.db import transaction
from django.test import Client
from django.urls import reverse

from dispatch.models import (
    FewerMails,
    LetterText,
    Notice,
    NoticeKind,
    NoticeState,
    PromiseLevel,
    StampKind,
)
from dispatch.reads import needs
from dispatch.rules.final_call import Decision
from dispatch.services import (
    due_letters,
    final_calls,
    letter_rules,
    links,
    notices,
    sending,
    stamps,
)
from jobs import access
from jobs.access import PROGRAM
from jobs.models import Role
from jobs.refusals import Invalid
from tests import builders
from tests.dispatch.days import NOW, START, book, call_off, move

pytestmark = pytest.mark.django_db(transaction=True)
CHICAGO = ZoneInfo("America/Chicago")
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
EVENING = datetime(2026, 7, 6, 17, 30, tzinfo=CHICAGO)  # before START, which is Tuesday 8 AM


@pytest.fixture
def office():
    branch = builders.branch()
    return branch, builders.crew(of=branch)


@pytest.fixture
def clock(monkeypatch):
    def set_to(now):
        monkeypatch.setattr("django.utils.timezone.now", lambda: now)

    return set_to


def send(now):
    due_letters.owe_due(now=now)
    return sending.send_due(now=now)


def sent(kind):
    return Notice.objects.filter(kind=kind, state=NoticeState.SENT)


def desk(branch, role=Role.OFFICE):
    client = Client()
    client.force_login(builders.user(of=branch, role=role))
    return client


def decide(branch, booking, decision, *, now, why=""):
    owner = builders.user(of=branch, role=Role.OWNER)
    stint = booking.stints.get()
    return final_calls.decide(
        branch=branch,
        stint_id=stint.pk,
        version=booking.version,
        decision=decision,
        by=access.person(owner),
        now=now,
        why=why or "looked at the radar",
    )


def coat(booking, *, now):
    """The crew arrives, coats as planned and leaves."""
    stint = booking.stints.get()
    for kind in (StampKind.ARRIVED, StampKind.POURED, StampKind.TOPPED, StampKind.LEFT):
        stamps.stamp(stint, kind=kind, by=PROGRAM, now=now)


def test_seven_days_before_the_day_is_said_again_once(office):
    branch, crew = office
    book(branch, crew)
    send(NOW)

    assert send(START - 8 * DAY) == 0
    assert [send(START - 7 * DAY + HOUR * n) for n in (1, 2, 26)] == [1, 0, 0]

    told = mail.outbox[-1]
    assert told.subject == "Your floor is next week: Tue Jul 7"
    assert "Drive on it from Thu Jul 9, 8:00 AM" in told.body


def test_who_was_confirmed_just_now_or_has_no_day_hears_nothing_a_week_before(office):
    branch, crew = office
    book(branch, crew, now=START - 6 * DAY)
    book(branch, builders.crew(of=branch), promise=PromiseLevel.PLANNED)

    send(START - 6 * DAY + HOUR)

    assert not sent(NoticeKind.WEEK_BEFORE).exists()


def test_a_moved_day_is_said_again_a_week_before_the_new_one(office):
    branch, crew = office
    booking = book(branch, crew)
    send(NOW)
    send(START - 6 * DAY)
    later = START + 14 * DAY
    move(booking, crew, later, now=START - 5 * DAY)

    send(later - 6 * DAY)

    assert sent(NoticeKind.WEEK_BEFORE).count() == 2
    assert mail.outbox[-1].subject == "Your floor is next week: Tue Jul 21"


def test_the_crew_says_once_that_it_is_on_the_way(office, clock):
    branch, crew = office
    booking = book(branch, crew)
    send(NOW)
    stint = booking.stints.get()
    phone = links.make_link(
        branch=branch, purpose="phone", name="lead", by=PROGRAM, now=START - DAY, crew=crew
    )
    clock(START - HOUR)
    press = reverse("phone-on-the-way", args=[phone.token, stint.pk])

    pages = [Client().get(reverse("phone-sheet", args=[phone.token, stint.pk]))]
    answers = [Client().post(press), Client().post(press)]
    pages.append(Client().get(reverse("phone-sheet", args=[phone.token, stint.pk])))

    assert [answer.status_code for answer in answers] == [302, 302]
    assert "We are on the way" in pages[0].content.decode()
    assert "has been told" in pages[1].content.decode()
    assert send(START - HOUR) == 1
    assert mail.outbox[-1].subject == "Your floor: the crew is on its way"
    assert send(START) == 0


def test_on_the_way_is_not_said_once_the_crew_is_there_nor_on_another_day(office, clock):
    branch, crew = office
    booking = book(branch, crew)
    send(NOW)
    stint = booking.stints.get()
    with pytest.raises(Exception, match="not today"):
        due_letters.on_the_way(stint.pk, by=PROGRAM, now=START - DAY)

    due_letters.on_the_way(stint.pk, by=PROGRAM, now=START - HOUR)
    stamps.stamp(stint, kind=StampKind.ARRIVED, by=PROGRAM, now=START - HOUR / 2)

    assert send(START) == 0
    assert Notice.objects.get(kind=NoticeKind.ON_THE_WAY).state == NoticeState.OBSOLETE


def test_coated_tells_walk_on_and_drive_on_with_the_temperature_they_rest_on(office):
    branch, crew = office
    booking = book(branch, crew)
    send(NOW)
    coat(booking, now=START + 6 * HOUR)

    send(START + 7 * HOUR)

    told = mail.outbox[-1]
    assert told.subject == "Your floor is coated, drive on it from Thu Jul 9, 8:00 AM"
    for words in ("Walk on it from Wed Jul 8, 8:00 AM", "A slab of 68 °F on average"):
        assert words in told.body


def test_a_floor_that_was_only_prepared_is_not_told_as_coated(office):
    branch, crew = office
    booking = book(branch, crew)
    send(NOW)
    for kind in (StampKind.ARRIVED, StampKind.LEFT):
        stamps.stamp(booking.stints.get(), kind=kind, by=PROGRAM, now=START + HOUR)

    assert send(START + 2 * HOUR) == 0
    assert send(START + 2 * DAY + HOUR) == 0


def test_drive_on_reached_waits_for_a_civil_hour_and_goes_once(office):
    branch, crew = office
    early = datetime(2026, 7, 7, 5, 0, tzinfo=CHICAGO)  # so drive-on is at 5 AM two days later
    booking = book(branch, crew, early)
    send(NOW)
    coat(booking, now=early + 6 * HOUR)
    send(early + 7 * HOUR)
    reached = early + 2 * DAY

    assert send(reached - HOUR) == 0
    assert send(reached + HOUR / 2) == 0  # 5:30 AM
    assert [send(reached + 2 * HOUR), send(reached + 3 * HOUR)] == [1, 0]

    body = mail.outbox[-1].body.replace(branch.company, "")
    assert "drive on it from Thu Jul 9, 5:00 AM" in body
    assert not re.search(r"\b(cured|dry|safe)\b", body.lower())


def test_a_watch_gives_way_to_the_final_call_of_the_same_evening(office):
    branch, crew = office
    booking = book(branch, crew)
    send(NOW)
    with transaction.atomic():
        notices.owe(booking, NoticeKind.WATCH, now=EVENING - HOUR, lines=["may move"])
    decide(branch, booking, Decision.KEEP, now=EVENING)

    assert send(EVENING) == 1
    assert mail.outbox[-1].subject.startswith("Your floor, Tue Jul 7: It is on")
    assert Notice.objects.get(kind=NoticeKind.WATCH).state == NoticeState.OBSOLETE


def test_a_go_that_turns_in_the_same_evening_is_rung_first_and_written_later(office):
    branch, crew = office
    booking = book(branch, crew)
    send(NOW)
    decide(branch, booking, Decision.KEEP, now=EVENING)
    send(EVENING)
    call_off(booking, now=EVENING + HOUR, why="rain")

    assert send(EVENING + HOUR + timedelta(minutes=1)) == 0
    ring = [need for need in needs.everything(branch, now=EVENING + HOUR) if need.kind == "ring"]
    assert [need.telephone for need in ring] == [booking.job.customer.telephone]
    assert send(EVENING + HOUR + timedelta(minutes=31)) == 1
    assert mail.outbox[-1].subject == "Your floor: not on Tue Jul 7"


def test_a_branch_sends_only_the_reminders_it_turned_on(office):
    branch, crew = office
    book(branch, crew)
    send(NOW)
    letter_rules.change_text(
        branch=branch,
        kind=NoticeKind.WEEK_BEFORE,
        subject="",
        body="",
        is_sent=False,
        by=PROGRAM,
        now=NOW,
    )

    assert send(START - 6 * DAY) == 0
    assert "does not send" in Notice.objects.get(kind=NoticeKind.WEEK_BEFORE).last_error


def test_what_changes_a_day_cannot_be_turned_off(office):
    branch, _ = office
    with pytest.raises(Invalid) as refused:
        letter_rules.change_text(
            branch=branch, kind=NoticeKind.MOVED, subject="", body="", is_sent=False, by=PROGRAM,
            now=NOW,
        )  # fmt: skip

    assert "always goes" in refused.value.problems["is_sent"]


def test_fewer_mails_keep_the_day_and_what_changes_it(office, clock):
    branch, crew = office
    booking = book(branch, crew)
    send(NOW)
    clock(NOW)
    link = links.for_booking(booking, now=NOW)

    # What a mail program posts after one press (RFC 8058 section 3.2).
    pressed = Client().post(
        reverse("customer-fewer", args=[link.token]), {"List-Unsubscribe": "One-Click"}
    )

    assert pressed.status_code == 302
    assert send(START - 6 * DAY) == 0
    booking.refresh_from_db()
    assert (booking.state, booking.promise) == ("booked", PromiseLevel.CONFIRMED)
    page = Client().get(reverse("customer", args=[link.token])).content.decode()
    assert "We write only when something changes." in page
    assert "Tue Jul 7" in page
    move(booking, crew, START + DAY, now=NOW + HOUR)
    assert send(NOW + HOUR) == 1
    Client().post(reverse("customer-fewer", args=[link.token]), {"mails": "all"})
    assert not FewerMails.objects.exists()


def test_only_a_reminder_offers_fewer_mails(office):
    branch, crew = office
    book(branch, crew)
    send(NOW)
    send(START - 6 * DAY)

    booked, reminder = mail.outbox
    assert "List-Unsubscribe" not in booked.extra_headers
    assert reminder.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert reminder.extra_headers["List-Unsubscribe"].endswith("/fewer/>")
    assert "You may have fewer mails" in reminder.body


def test_reminders_about_one_booking_end_at_the_stated_number(office):
    branch, crew = office
    booking = book(branch, crew)
    send(NOW)
    for number in range(letter_rules.MOST_REMINDERS):
        Notice.objects.create(
            key=f"test:{number}", branch=branch, kind=NoticeKind.READY_EARLY, booking=booking,
            booking_version=booking.version, audience="customer", to="a@b.example",
            state=NoticeState.SENT, due_at=NOW, next_try_at=NOW, sent_at=NOW,
        )  # fmt: skip

    assert send(START - 6 * DAY) == 0
    move(booking, crew, START + DAY, now=START - 5 * DAY)
    assert send(START - 5 * DAY) == 1  # a change goes all the same


def test_a_letter_carries_parking_stay_off_and_who_is_met_with_clock_times(office):
    branch, crew = office
    job = builders.job(of=branch)
    job.site.contact = "Pat, 555-0100"
    job.site.only_way_in = True
    job.site.save()
    book(branch, crew, job=job)

    send(NOW)

    body = mail.outbox[0].body
    for words in (
        "Parking: cars out by Tue Jul 7, 8:00 AM, and not back before Thu Jul 9, 8:00 AM.",
        "Nobody steps on the floor from Tue Jul 7, 11:00 AM until Wed Jul 8, 8:00 AM.",
        "Nothing on wheels before Thu Jul 9, 8:00 AM.",
        "only way in",
        "parcels",
        "other trades",
        "At the site we ask for Pat, 555-0100.",
    ):
        assert words in body


def test_irrigation_is_off_from_and_until_a_time(office):
    branch, crew = office
    job = builders.job(of=branch)
    floor = job.floors.get()
    floor.other_water = ["irrigation"]
    floor.save()
    book(branch, crew, job=job)

    send(NOW)

    assert "Keep sprinklers and irrigation off from Mon Jul 6, 8:00 AM" in mail.outbox[0].body


def test_a_branch_writes_in_its_own_words_around_the_letter(office):
    branch, crew = office
    client = desk(branch)
    typed = {
        "subject": "{company}: {when}",
        "body": "Dear {customer},\n{letter}\nWarm wishes from all of us.",
        "is_sent": "on",
    }

    assert client.post(reverse("letter", args=["booked"]), typed).status_code == 302
    booking = book(branch, crew)
    send(NOW)

    told = mail.outbox[0]
    assert told.subject == f"{branch.company}: Tue Jul 7"
    assert told.body.startswith(f"Dear {booking.job.customer.name},\n\nWe coat your floor")
    assert "Warm wishes from all of us." in told.body
    assert "/c/" in told.body


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("Hello\n\n{letter}\n\nDay: {dya}", "Line 5: there is no {dya}."),
        ("Hello {customer\n\n{letter}", "Line 1: “{customer” has no closing brace."),
        ("Hello customer}\n\n{letter}", "Line 1: a closing brace stands alone."),
        ("Hello", "Line 1: {letter} is missing"),
        ("So: {letter}", "Line 1: {letter} needs a line of its own."),
        ("{letter}\n\n{letter}", "Line 3: {letter} stands here a second time."),
    ],
)
def test_a_broken_text_is_refused_with_line_and_reason_and_nothing_is_lost(office, body, said):
    branch, _ = office

    answer = desk(branch).post(
        reverse("letter", args=["moved"]), {"subject": "", "body": body, "is_sent": "on"}
    )

    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page.replace("&quot;", '"')
    assert body.split("\n")[0] in page  # what was typed stands in the box again
    assert not LetterText.objects.exists()


def test_a_preview_keeps_nothing_and_shows_markup_as_text(office):
    branch, _ = office

    answer = desk(branch).post(
        reverse("letter", args=["moved"]),
        {"subject": "<b>{when}</b>", "body": "<script>x</script>\n\n{letter}", "preview": "1"},
    )

    page = answer.content.decode()
    assert answer.status_code == 200
    assert "&lt;script&gt;x&lt;/script&gt;" in page
    assert "Your floor moves" not in page.partition("How it would look")[0]
    assert "Rain from 1 PM to 6 PM" in page
    assert not LetterText.objects.exists()


def test_letters_are_the_offices_and_a_branch_sees_its_own(office):
    branch, _ = office
    other = builders.branch()
    desk(branch).post(
        reverse("letter", args=["booked"]),
        {"subject": "Ours {when}", "body": "{letter}", "is_sent": "on"},
    )

    assert "Ours" not in desk(other).get(reverse("letter", args=["booked"])).content.decode()
    assert desk(branch, Role.LEAD).get(reverse("letters")).status_code == 403
    assert desk(branch).get(reverse("letter", args=["crew_change"])).status_code == 404


def test_calendars_of_branch_and_machine_are_made_and_stopped_on_a_page(office):
    branch, _ = office
    grinder = builders.machine(of=branch, name="Grinder 7")
    client, page = desk(branch), reverse("feed-links")

    made = client.post(page, {"of": f"machine-{grinder.pk}", "name": "yard screen"})
    client.post(page, {"of": "branch", "name": "owner's phone"})
    shown = client.get(page)

    assert made.status_code == 302
    assert "yard screen" in shown.content.decode()
    assert "never fetched" in shown.content.decode()
    assert shown["Referrer-Policy"] == "no-referrer"
    link = grinder.links.get()
    assert Client().get(f"/feeds/{link.token}.ics").status_code == 200
    foreign = builders.machine(of=builders.branch())
    assert client.post(page, {"of": f"machine-{foreign.pk}", "name": "x"}).status_code == 400
    client.post(reverse("link-stop", args=[link.pk]), {"back": "feed-links"})
    client.get(page)  # says what was done, once
    assert "yard screen" not in client.get(page).content.decode()
