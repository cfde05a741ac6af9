"""A crew's calendar feed over HTTP, read by a parser that subscribers use."""

import gzip
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import icalendar
import pytest
from django.core.cache import cache
from django.db import OperationalError
from django.utils.http import http_date

from dispatch import calendars
from dispatch.models import CalendarEntry, Link, LinkPurpose, PromiseLevel
from dispatch.reads import feed as reads
from dispatch.rules.asking import Ask, PlannedStint, Promised
from dispatch.services import bookings, links
from dispatch.views.wrong_links import WRONG_A_MINUTE
from jobs.access import PROGRAM
from tests import builders

pytestmark = pytest.mark.django_db(transaction=True)
NOW = builders.NOW
START = datetime(2026, 7, 7, 13, 0, tzinfo=UTC)  # 8 AM in Chicago


@pytest.fixture
def clock(monkeypatch):
    """Sets the time that views see; tests call it again to let time pass."""

    def set_to(now):
        monkeypatch.setattr("django.utils.timezone.now", lambda: now)

    cache.clear()
    set_to(NOW)
    return set_to


@pytest.fixture
def office(clock):
    branch = builders.branch()
    return branch, builders.crew(of=branch, name="Crew North")


def ask(crew, *, start=START, hours=8, promise=PromiseLevel.PLANNED):
    stint = PlannedStint(
        crew_id=crew.pk, start=start, end=start + timedelta(hours=hours), pour_at=start
    )
    return Ask(
        stints=[stint],
        promised=Promised(level=promise, walk_on_at=None, drive_on_at=None),
    )


def book(branch, crew, **given):
    job = builders.job(of=branch)
    return bookings.book(
        branch=branch,
        job_id=job.pk,
        version=job.version,
        ask=ask(crew, **given),
        by=PROGRAM,
        now=NOW,
    )


def move(booking, crew, *, now=NOW, **given):
    return bookings.move(
        branch=booking.branch,
        booking_id=booking.pk,
        version=booking.version,
        ask=ask(crew, **given),
        by=PROGRAM,
        now=now,
    )


def feed_link(branch, crew=None):
    return links.make_link(
        branch=branch,
        purpose=LinkPurpose.FEED,
        name="phone of the lead",
        by=PROGRAM,
        now=NOW,
        crew=crew,
    )


def read(client, link, **headers):
    return client.get(f"/feeds/{link.token}.ics", headers=headers)


def events(answer):
    return icalendar.Calendar.from_ical(answer.content).walk("VEVENT")


def test_a_booked_stint_stands_in_the_crews_feed_at_the_sites_time(client, office):
    branch, crew = office
    booking = book(branch, crew)
    stint = booking.stints.get()

    (event,) = events(read(client, feed_link(branch, crew)))

    entry = CalendarEntry.objects.get(stint=stint, audience=f"crew:{crew.pk}")
    assert event["uid"] == str(entry.uid)
    assert event["dtstart"].params["TZID"] == "America/Chicago"
    assert event.start == START
    assert event["dtstart"].to_ical() == b"20260707T080000"
    assert (event["status"], event["transp"], event["sequence"]) == ("TENTATIVE", "OPAQUE", 0)
    assert event["dtstamp"].dt == entry.changed_at == event["last-modified"].dt
    assert event["url"].endswith(f"/stints/{stint.pk}/sheet/")


def test_two_readings_give_the_same_bytes_also_hours_later(client, office, clock):
    branch, crew = office
    book(branch, crew)
    link = feed_link(branch, crew)

    first = read(client, link)
    clock(NOW + timedelta(hours=3))
    second = read(client, link)

    assert first.content == second.content
    assert first["ETag"] == second["ETag"]


def test_a_move_keeps_the_uid_and_raises_the_sequence(client, office, clock):
    branch, crew = office
    booking = book(branch, crew)
    link = feed_link(branch, crew)
    before = events(read(client, link))[0]

    later = NOW + timedelta(hours=1)
    move(booking, crew, now=later, start=START + timedelta(days=2))
    (after,) = events(read(client, link))

    assert after["uid"] == before["uid"]
    assert after["sequence"] == before["sequence"] + 1
    assert after["dtstamp"].dt == later
    assert after.start == START + timedelta(days=2)


def test_moving_back_raises_the_sequence_again(client, office):
    branch, crew = office
    booking = book(branch, crew)
    booking = move(booking, crew, start=START + timedelta(days=2))
    move(booking, crew, start=START)

    (event,) = events(read(client, feed_link(branch, crew)))

    assert event["sequence"] == 2


def test_a_crew_that_lost_a_stint_sees_it_as_not_on_and_the_other_sees_its_own(client, office):
    branch, crew = office
    other = builders.crew(of=branch)
    booking = book(branch, crew)
    move(booking, other)

    (lost,) = events(read(client, feed_link(branch, crew)))
    (gained,) = events(read(client, feed_link(branch, other)))

    assert (lost["status"], lost["transp"], lost["sequence"]) == ("CANCELLED", "TRANSPARENT", 1)
    assert lost["summary"].startswith("NOT ON")
    assert gained["uid"] != lost["uid"]
    assert gained["status"] == "TENTATIVE"


def test_what_is_not_on_stays_until_past_and_for_two_weeks(client, office, clock):
    branch, crew = office
    booking = book(branch, crew)
    link = feed_link(branch, crew)
    called_off_at = START - timedelta(days=1)
    bookings.call_off(
        branch=branch,
        booking_id=booking.pk,
        version=booking.version,
        by=PROGRAM,
        now=called_off_at,
        why="rain",
    )

    def shown(now):
        clock(now)
        return len(events(read(client, link)))

    assert shown(called_off_at + timedelta(days=13)) == 1
    assert shown(called_off_at + timedelta(days=16)) == 0


def test_the_window_reaches_60_days_back_and_400_ahead(office):
    branch, crew = office
    link = feed_link(branch, crew)
    for days in (-61, -59, 399, 402):
        book(branch, crew, start=NOW + timedelta(days=days))

    text = reads.crew_feed(link, now=NOW)

    assert text.count(b"BEGIN:VEVENT") == 2


def test_a_good_link_gives_the_headers_a_subscriber_needs_and_no_cookie(client, office):
    branch, crew = office

    answer = read(client, feed_link(branch, crew))

    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer["Content-Disposition"] == 'inline; filename="crew-north.ics"'
    assert answer["Cache-Control"] == "private, no-cache"
    assert answer["X-Robots-Tag"] == "noindex, nofollow"
    assert answer["Vary"] == "Accept-Encoding"
    assert not answer.cookies


def test_an_unchanged_feed_is_304_for_get_and_head_also_by_a_weak_tag(client, office):
    branch, crew = office
    link = feed_link(branch, crew)
    tag = read(client, link)["ETag"]

    for asked in (tag, f"W/{tag}", f'"other", {tag}'):
        answer = read(client, link, if_none_match=asked)
        head = client.head(f"/feeds/{link.token}.ics", headers={"if-none-match": asked})
        assert (answer.status_code, answer.content, head.status_code) == (304, b"", 304)
    assert read(client, link, if_none_match='"other"').status_code == 200


def test_head_has_the_headers_of_get(client, office):
    branch, crew = office
    link = feed_link(branch, crew)

    got, head = read(client, link), client.head(f"/feeds/{link.token}.ics")

    for reply in (got, head):
        del reply["X-Request-ID"]  # each request has its own
    assert dict(got.headers) == dict(head.headers)


def test_gzip_is_the_same_each_time_and_unpacks_to_the_same_feed(client, office):
    branch, crew = office
    book(branch, crew)
    link = feed_link(branch, crew)

    plain = read(client, link)
    packed = [read(client, link, accept_encoding="gzip") for _ in range(2)]

    assert packed[0].content == packed[1].content
    assert gzip.decompress(packed[0].content) == plain.content
    assert packed[0]["Content-Encoding"] == "gzip"
    assert packed[0]["ETag"] != plain["ETag"]


def test_an_unknown_link_is_404_with_nothing_in_it(client, office):
    answer = client.get("/feeds/nosuchtoken.ics")

    assert (answer.status_code, answer.content) == (404, b"")


def test_a_link_of_another_purpose_opens_no_feed(client, office):
    branch, crew = office
    phone = links.make_link(
        branch=branch, purpose=LinkPurpose.PHONE, name="x", by=PROGRAM, now=NOW, crew=crew
    )

    assert client.get(f"/feeds/{phone.token}.ics").status_code == 404


def test_a_replaced_link_says_so_for_30_days_and_is_then_gone(client, office, clock):
    branch, crew = office
    book(branch, crew)
    link = feed_link(branch, crew)
    fresh = links.rotate(link, by=PROGRAM, now=NOW)

    (note,) = events(read(client, link))
    clock(NOW + timedelta(days=30))
    later = read(client, link)

    assert note["summary"] == "This calendar link was replaced, ask the office"
    assert not isinstance(note["dtstart"].dt, datetime)
    assert (later.status_code, later.content) == (410, b"")
    assert read(client, fresh).status_code == 200


def test_reading_is_noted_and_changes_no_byte(client, office, clock):
    branch, crew = office
    link = feed_link(branch, crew)

    first = read(client, link)
    noted = Link.objects.get(pk=link.pk).last_read_at
    second = read(client, link)

    assert noted == NOW
    assert first.content == second.content


def take_database_away(monkeypatch):
    def down(*_args, **_given):
        raise OperationalError("no database")

    monkeypatch.setattr(reads, "told", down)


def test_with_the_database_down_the_subscriber_gets_what_was_sent_last(client, office, monkeypatch):
    branch, crew = office
    book(branch, crew)
    link = feed_link(branch, crew)
    good = read(client, link)

    take_database_away(monkeypatch)
    answer = read(client, link)

    assert (answer.status_code, answer.content) == (200, good.content)
    assert answer["ETag"] == good["ETag"]


def test_with_the_database_down_whoever_has_a_copy_is_told_to_keep_it(client, office, monkeypatch):
    branch, crew = office
    link = feed_link(branch, crew)
    tag = read(client, link)["ETag"]
    cache.clear()  # another process, which never served this feed

    take_database_away(monkeypatch)
    answer = read(client, link, if_none_match=tag)

    assert (answer.status_code, answer["ETag"]) == (304, tag)


def test_no_calendar_is_made_for_a_304_nor_for_the_same_bytes_again(client, office, monkeypatch):
    branch, crew = office
    book(branch, crew)
    link = feed_link(branch, crew)
    good = read(client, link)

    def made(**_given):
        raise AssertionError("a calendar was made")

    monkeypatch.setattr(calendars, "feed", made)
    same = read(client, link, if_none_match=good["ETag"])
    whole = read(client, link)
    cache.clear()
    same_elsewhere = read(client, link, if_none_match=good["ETag"])

    assert [same.status_code, same_elsewhere.status_code] == [304, 304]
    assert whole.content == good.content
    with pytest.raises(AssertionError, match="a calendar was made"):
        read(client, link)  # the check itself: without a copy one has to be made


def test_every_change_of_what_is_shown_changes_the_tag(client, office, clock):
    branch, crew = office
    booking = book(branch, crew)
    link = feed_link(branch, crew)
    seen = [read(client, link)]

    for hours in (1, 2):
        clock(NOW + timedelta(hours=hours))
        later = NOW + timedelta(hours=hours)
        booking = move(booking, crew, now=later, start=START + timedelta(hours=hours))
        seen.append(read(client, link))
    clock(NOW + timedelta(days=1))
    seen.append(read(client, link))

    for before, after in pairwise(seen[:3]):
        assert before["ETag"] != after["ETag"]
        assert before.content != after.content
        assert before["Last-Modified"] != after["Last-Modified"]
    # The window moves at midnight, which no entry's own time shows.
    assert seen[3]["Last-Modified"] > seen[2]["Last-Modified"]


def test_a_date_serves_who_knows_no_tags(client, office, clock):
    branch, crew = office
    link = feed_link(branch, crew)
    said = read(client, link)["Last-Modified"]
    clock(NOW + timedelta(hours=1))

    assert read(client, link, if_modified_since=said).status_code == 304
    assert read(client, link, if_modified_since=said, if_none_match='"x"').status_code == 200
    book(branch, crew)
    before = http_date((NOW - timedelta(days=1)).timestamp())
    assert read(client, link, if_modified_since=before).status_code == 200


def test_an_entry_says_when_it_was_written_and_where_the_live_sheet_is(client, office):
    branch, crew = office
    stint = book(branch, crew).stints.get()

    (event,) = events(read(client, feed_link(branch, crew)))

    assert "Written Mon Jun 1, 10:00 AM." in event["description"]
    assert f"/stints/{stint.pk}/sheet/" in event["description"]


def test_a_machine_has_a_calendar_of_its_own(client, office):
    branch, crew = office
    grinder = builders.machine(of=branch)
    plain = ask(crew)
    with_grinder = replace(plain, stints=[replace(plain.stints[0], machine_ids=(grinder.pk,))])
    job = builders.job(of=branch)
    bookings.book(
        branch=branch, job_id=job.pk, version=job.version, ask=with_grinder, by=PROGRAM, now=NOW
    )
    book(branch, builders.crew(of=branch))
    link = links.make_link(
        branch=branch, purpose=LinkPurpose.FEED, name="yard", by=PROGRAM, now=NOW, machine=grinder
    )

    answer = read(client, link)

    (event,) = events(answer)
    assert event["uid"] == str(CalendarEntry.objects.get(audience=f"machine:{grinder.pk}").uid)
    assert str(grinder) in answer.content.decode()
    fresh = links.rotate(link, by=PROGRAM, now=NOW)
    assert len(events(read(client, fresh))) == 1


def test_who_tries_many_addresses_is_refused_in_a_few_bytes_and_right_ones_are_served(
    client, office
):
    branch, crew = office
    link = feed_link(branch, crew)
    phone = links.make_link(
        branch=branch, purpose=LinkPurpose.PHONE, name="x", by=PROGRAM, now=NOW, crew=crew
    )

    wrong = [client.get(f"/feeds/nosuch{i}.ics") for i in range(WRONG_A_MINUTE + 1)]
    pages = [client.get(path) for path in ("/p/nosuch/", "/c/nosuch/", "/feeds/nosuch.ics")]

    assert {answer.status_code for answer in wrong[:-1]} == {404}
    for answer in (wrong[-1], *pages):
        assert (answer.status_code, answer.content, answer["Retry-After"]) == (429, b"", "60")
    assert read(client, link).status_code == 200
    assert client.get(f"/p/{phone.token}/").status_code == 200
    other = client.get("/feeds/nosuch.ics", REMOTE_ADDR="203.0.113.9")
    assert other.status_code == 404


def test_a_feed_shows_no_telephone_access_code_or_price(client, office):
    branch, crew = office
    booking = book(branch, crew)
    site = booking.job.site
    site.access = "Gate code 4711"
    site.save()
    move(booking, crew)

    text = read(client, feed_link(branch, crew)).content.decode()

    assert "4711" not in text
    assert booking.job.customer.telephone not in text


def test_the_feed_of_a_branch_holds_every_crew(client, office):
    branch, crew = office
    book(branch, crew)
    book(branch, builders.crew(of=branch))

    assert len(events(read(client, feed_link(branch)))) == 2
