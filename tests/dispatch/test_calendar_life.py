"""The life of a booking as other people's calendar programs see it, step by step.

Booked, moved by an hour, given to another crew, split over two days, called off, past; work
through both nights in which the clocks change; and the objects in mails.
"""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.core.cache import cache

from dispatch.models import CalendarEntry, LinkPurpose
from dispatch.services import links, notices, sending
from jobs.access import PROGRAM
from tests import builders
from tests.calendar_readers import READERS, Seen, Subscriber
from tests.dispatch.days import NOW, START, book, call_off, move

pytestmark = pytest.mark.django_db(transaction=True)
CHICAGO = ZoneInfo("America/Chicago")
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@pytest.fixture
def clock(monkeypatch):
    def set_to(now):
        monkeypatch.setattr("django.utils.timezone.now", lambda: now)

    cache.clear()
    set_to(NOW)
    return set_to


@pytest.fixture
def office(clock):
    branch = builders.branch()
    return branch, builders.crew(of=branch, name="Crew North"), builders.crew(of=branch)


def link_of(branch, crew):
    return links.make_link(
        branch=branch, purpose=LinkPurpose.FEED, name="lead", by=PROGRAM, now=NOW, crew=crew
    )


def stored(crew):
    entries = CalendarEntry.objects.filter(audience=f"crew:{crew.pk}")
    return sorted(
        Seen(str(entry.uid), entry.sequence, entry.status, entry.start, entry.end)
        for entry in entries
    )


def life(branch, north, south, clock):
    """Each step of a booking's life, done, with its name."""
    booking = book(branch, north)
    yield "booked"
    for hours, name, crew, starts in (
        (1, "moved by an hour", north, [START + HOUR]),
        (2, "to another crew", south, [START + HOUR]),
        (3, "split over two days", south, [START + HOUR, START + DAY]),
    ):
        clock(NOW + HOUR * hours)
        booking = move(booking, crew, *starts, now=NOW + HOUR * hours)
        yield name
    clock(NOW + HOUR * 4)
    call_off(booking, now=NOW + HOUR * 4)
    yield "called off"
    clock(START + 20 * DAY)
    yield "past"


@pytest.mark.parametrize("reader", READERS)
def test_every_reader_sees_each_step_as_it_is(client, office, clock, reader):
    branch, north, south = office
    crews = {north: link_of(branch, north), south: link_of(branch, south)}
    uids, sequences, steps = {}, {}, []

    for step in life(branch, north, south, clock):
        for crew, link in crews.items():
            method, seen = READERS[reader](client.get(f"/feeds/{link.token}.ics").content)
            assert method == ""
            assert seen == ([] if step == "past" else stored(crew)), step
            for event in seen:
                assert event.sequence >= sequences.get(event.uid, 0)
                sequences[event.uid] = event.sequence
            if seen:
                uids.setdefault(crew, {event.uid for event in seen})
                assert uids[crew] <= {event.uid for event in seen}  # for life
            steps.append((step, crew, [event.status for event in seen]))

    assert ("to another crew", north, ["CANCELLED"]) in steps
    assert ("split over two days", south, ["CONFIRMED", "CONFIRMED"]) in steps
    assert ("called off", south, ["CANCELLED", "CANCELLED"]) in steps


def test_a_subscriber_sees_each_step_and_nothing_is_left_on_the_old_day(
    live_server, office, clock, tmp_path
):
    branch, north, south = office
    for crew in (north, south):  # vdirsyncer believes no feed that has lost everything
        book(branch, crew, START + 60 * DAY)
    readers = {
        crew: Subscriber(
            f"{live_server.url}/feeds/{link_of(branch, crew).token}.ics", tmp_path / str(crew.pk)
        )
        for crew in (north, south)
    }

    for step in life(branch, north, south, clock):
        for crew, reader in readers.items():
            shown = reader.seen(since=START - DAY, days=6)
            truth = [
                (seen.start, seen.end, seen.status == "CANCELLED")
                for seen in stored(crew)
                if seen.start < START + 5 * DAY
            ]
            assert shown == ([] if step == "past" else sorted(truth)), step


# The US changes its clocks on the second Sunday of March and the first of November (Energy
# Policy Act of 2005, section 110).
@pytest.mark.parametrize("day", [date(2026, 10, 31), date(2027, 3, 13)])
@pytest.mark.parametrize("reader", READERS)
def test_work_through_a_night_of_changing_clocks_has_its_elapsed_hours(client, office, reader, day):
    branch, north, _ = office
    start = datetime(day.year, day.month, day.day, 22, tzinfo=CHICAGO).astimezone(UTC)
    book(branch, north, start)
    # In the hour that is there twice, and on the ordinary days around it.
    for hours in (6.5 - 24, 3.5 + 24, 58):
        book(branch, builders.crew(of=branch), start + timedelta(hours=hours), hours=3)
    link = link_of(branch, None)

    _, seen = READERS[reader](client.get(f"/feeds/{link.token}.ics").content)

    entries = CalendarEntry.objects.filter(audience=f"branch:{branch.pk}")
    assert [(event.uid, event.start, event.end) for event in seen] == sorted(
        (str(entry.uid), entry.start, entry.end) for entry in entries
    )
    night = next(event for event in seen if event.start == start)
    assert night.end - night.start == timedelta(hours=8)
    ends = 5 if day.month == 10 else 7  # by the clock on the wall
    assert night.end.astimezone(CHICAGO).hour == ends


@pytest.mark.parametrize("reader", READERS)
def test_mails_are_read_as_invitation_move_and_cancellation(office, reader):
    branch, north, _ = office
    booking = book(branch, north)
    sending.send_due(now=NOW)
    booking = move(booking, north, START + DAY, now=NOW + HOUR)
    sending.send_due(now=NOW + HOUR)
    call_off(booking, now=NOW + 14 * HOUR)
    sending.send_due(now=NOW + 24 * HOUR + notices.RING_FIRST)

    read = []
    for sent in mail.outbox:
        (part,) = [
            each for each in sent.message().walk() if each.get_content_type() == "text/calendar"
        ]
        method, (event,) = READERS[reader](part.get_payload(decode=True))
        assert part.get_param("method") == method  # RFC 6047 section 2.4
        read.append((method, event.sequence, event.status, event.start, event.uid))

    assert [each[:4] for each in read] == [
        ("REQUEST", 0, "CONFIRMED", START),
        ("REQUEST", 1, "CONFIRMED", START + DAY),
        ("CANCEL", 2, "CANCELLED", START + DAY),
    ]
    assert len({each[4] for each in read}) == 1


@pytest.mark.parametrize("reader", READERS)
def test_a_floor_split_over_two_days_is_two_visits_in_the_mail_and_both_are_taken_back(
    office, reader
):
    branch, north, _ = office
    booking = book(branch, north)
    sending.send_due(now=NOW)
    booking = move(booking, north, START, START + DAY, now=NOW + HOUR)
    sending.send_due(now=NOW + HOUR)
    move(booking, north, START, now=NOW + 24 * HOUR)
    sending.send_due(now=NOW + 24 * HOUR)

    read = []
    for sent in mail.outbox:
        parts = [
            each for each in sent.message().walk() if each.get_content_type() == "text/calendar"
        ]
        for part in parts:
            method, (event,) = READERS[reader](part.get_payload(decode=True))
            assert part.get_param("method") == method
            read.append((sent.subject, method, event.uid, event.start))
    by_mail = [[each[1] for each in read if each[0] == sent.subject] for sent in mail.outbox]

    assert by_mail == [["REQUEST"], ["REQUEST", "REQUEST"], ["REQUEST", "CANCEL"]]
    assert read[1][2] != read[2][2]
    assert read[4][2] == read[2][2]
