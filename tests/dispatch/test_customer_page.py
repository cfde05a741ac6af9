"""The customer's page: what it says at each standing, and that reading it changes nothing."""

from datetime import UTC, datetime, timedelta

import icalendar
import pytest

from dispatch.models import CalendarEntry, Link, PromiseLevel, StampKind
from dispatch.reads import needs
from dispatch.services import links, stamps
from jobs.access import PROGRAM
from jobs.models import AuditEvent
from tests import builders
from tests.dispatch.days import NOW, START, book, call_off, move

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def clock(monkeypatch):
    def set_to(now):
        monkeypatch.setattr("django.utils.timezone.now", lambda: now)

    set_to(NOW)
    return set_to


@pytest.fixture
def office(clock):
    branch = builders.branch()
    return branch, builders.crew(of=branch)


def path(booking):
    return f"/c/{links.for_booking(booking, now=NOW).token}/"


def read(client, booking):
    answer = client.get(path(booking))
    assert answer.status_code == 200
    return answer.content.decode()


@pytest.mark.parametrize("promise", [PromiseLevel.PLANNED, PromiseLevel.RANGE])
def test_before_it_is_confirmed_only_the_week_is_shown(client, office, promise):
    branch, crew = office

    text = read(client, book(branch, crew, promise=promise))

    assert "The week of Mon Jul 6" in text
    assert "Jul 7" not in text
    assert "Jul 9" not in text
    assert "floor.ics" not in text


def test_a_confirmed_day_says_everything_in_plain_words(client, office):
    branch, crew = office

    text = read(client, book(branch, crew))

    for words in (
        "Tue Jul 7, between 8:00 AM and 9:00 AM",
        "about when",
        "<span>11:00 AM</span>",
        "First coat and flake",
        "Walk on it from Wed Jul 8, 8:00 AM.",
        "Drive on it from Thu Jul 9, 8:00 AM.",
        "A slab of 68 °F on average",
        "cars out",
        "Rain does not stop us indoors",
        "does not update itself",
    ):
        assert words in text


def test_an_open_floor_gets_the_rule_of_open_floors(client, office):
    branch, crew = office
    job = builders.job(of=branch, exposure="open")

    text = read(client, book(branch, crew, job=job))

    assert "every hour in which the floor is wet has a rain chance under 30 %" in text
    assert "sprinklers and irrigation off" in text


def test_a_day_that_is_not_on_is_never_a_lost_place(client, office):
    branch, crew = office
    booking = call_off(book(branch, crew), why="Rain from noon")

    text = read(client, booking)

    assert "Your floor is in line" in text
    assert "You keep your place in line" in text
    assert "Rain from noon" in text
    for word in ("cancel", "guarantee", "completed", "delivery window"):
        assert word not in text.lower()


def test_after_the_top_coat_the_page_speaks_of_use(client, office, clock):
    branch, crew = office
    booking = book(branch, crew)
    stamps.stamp(
        booking.stints.get(), kind=StampKind.TOPPED, by=PROGRAM, now=START + timedelta(hours=7)
    )

    text = read(client, booking)

    assert "Your floor is coated" in text
    assert "Drive on it from Thu Jul 9" in text
    assert "What to clear" not in text


def test_the_only_way_in_is_said(client, office):
    branch, crew = office
    job = builders.job(of=branch)
    job.site.only_way_in = True
    job.site.save()

    assert "only way in" in read(client, book(branch, crew, job=job))


def test_the_page_is_not_stored_not_found_and_sets_no_cookie(client, office):
    branch, crew = office

    answer = client.get(path(book(branch, crew)))

    assert answer["Cache-Control"] == "no-store, private"
    assert answer["Referrer-Policy"] == "no-referrer"
    assert "noindex" in answer["X-Robots-Tag"]
    assert not answer.cookies


def test_reading_acts_on_nothing(client, office):
    branch, crew = office
    booking = book(branch, crew)
    where = path(booking)
    before = list(AuditEvent.objects.values_list("pk", flat=True))

    client.get(where)
    client.get(f"{where}floor.ics")
    assert client.get(f"{where}cannot/").status_code == 405

    assert list(AuditEvent.objects.values_list("pk", flat=True)) == before


def test_a_day_that_no_longer_works_reaches_the_office_once(client, office):
    branch, crew = office
    booking = book(branch, crew)
    where = path(booking)

    for _ in range(2):
        answer = client.post(f"{where}cannot/", {"why": "A wedding; any day after the 12th"})
        assert (answer.status_code, answer["Location"]) == (302, where)

    (said,) = AuditEvent.objects.filter(action="customer cannot")
    assert (said.actor_kind, said.why) == ("customer", "A wedding; any day after the 12th")
    wishes = [need for need in needs.everything(branch, now=NOW) if need.kind == "customer"]
    assert [need.answer_pk for need in wishes] == [booking.pk]
    assert "You told us that this does not work" in client.get(where).content.decode()


def test_after_a_move_the_customer_can_say_so_again(client, office):
    branch, crew = office
    booking = book(branch, crew)
    client.post(f"{path(booking)}cannot/")
    moved = move(booking, crew, START + timedelta(days=2))
    client.post(f"{path(moved)}cannot/")

    assert AuditEvent.objects.filter(action="customer cannot").count() == 2


def test_once_the_crew_is_due_it_is_too_late_to_say_so(client, office, clock):
    branch, crew = office
    where = path(book(branch, crew))
    clock(START)

    answer = client.post(f"{where}cannot/")

    assert answer.status_code == 409
    assert "Please ring us" in answer.content.decode()
    assert not AuditEvent.objects.filter(action="customer cannot").exists()


def test_the_file_holds_one_event_without_a_method_under_the_mails_uid(client, office):
    branch, crew = office
    booking = book(branch, crew)

    answer = client.get(f"{path(booking)}floor.ics")

    calendar = icalendar.Calendar.from_ical(answer.content)
    (event,) = calendar.walk("VEVENT")
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer["Content-Disposition"] == 'attachment; filename="floor.ics"'
    assert "METHOD" not in calendar
    assert event["uid"] == str(CalendarEntry.objects.get(audience="customer").uid)
    assert event.start == START


def test_a_floor_of_two_visits_has_a_file_for_each(client, office):
    branch, crew = office
    booking = book(branch, crew, START, START + timedelta(days=1))
    where = path(booking)

    uids = {
        str(icalendar.Calendar.from_ical(client.get(where + name).content).walk("VEVENT")[0]["uid"])
        for name in ("floor.ics", "floor-2.ics")
    }

    assert len(uids) == 2
    assert client.get(f"{where}floor-3.ics").status_code == 404


def test_a_link_opens_one_booking_and_stops_60_days_after_drive_on(client, office, clock):
    branch, crew = office
    booking = book(branch, crew)
    where = path(booking)

    clock(booking.drive_on_at + timedelta(days=59))
    assert client.get(where).status_code == 200
    clock(booking.drive_on_at + timedelta(days=60))
    assert client.get(where).status_code == 404
    assert client.get("/c/nosuchtoken/").status_code == 404


def test_a_revoked_link_opens_nothing(client, office):
    branch, crew = office
    booking = book(branch, crew)
    where = path(booking)
    links.revoke(Link.objects.get(booking=booking), by=PROGRAM, now=NOW)

    assert client.get(where).status_code == 404
    assert client.post(f"{where}cannot/").status_code == 404


def test_times_are_those_of_the_site_across_the_change_of_clocks(client, office):
    branch, crew = office
    saturday = datetime(2026, 10, 31, 13, 0, tzinfo=UTC)  # 8 AM CDT; clocks change that night

    text = read(client, book(branch, crew, saturday))

    # Two days of 24 hours later the clock on the wall shows an hour less.
    assert "Drive on it from Mon Nov 2, 7:00 AM." in text
    assert "between 8:00 AM and 9:00 AM" in text


def test_what_a_customer_types_is_shown_as_text(client, office):
    branch, crew = office
    job = builders.job(of=branch)
    job.customer.name = "<script>alert(1)</script>"
    job.customer.save()

    text = read(client, book(branch, crew, job=job))

    assert "<script>alert" not in text
