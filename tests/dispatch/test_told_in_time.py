"""Two afternoons after which everybody must know the same: a calendar that lags, a cold night.

What is expected is common practice; cards and labor are planning figures for tests.
"""

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import icalendar
import pytest
from django.core import mail
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from dispatch.models import (
    Booking,
    LinkPurpose,
    Notice,
    NoticeKind,
    NoticeState,
    Receipt,
    StampKind,
)
from dispatch.reads import needs
from dispatch.services import bookings, due_letters, links, sending, stamps, verdicts
from jobs.access import PROGRAM
from tests import builders
from tests.dispatch.days import ask, book, move
from tests.jobs.rules.floors import FAST, FT2_M2

pytestmark = pytest.mark.django_db(transaction=True)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@pytest.fixture
def clock(monkeypatch):
    def set_to(now):
        monkeypatch.setattr("django.utils.timezone.now", lambda: now)
        return now

    cache.clear()
    return set_to


class TestACalendarThatLags:
    ZONE = ZoneInfo("America/Denver")

    def at(self, day, hour, minute=0):
        return datetime(2026, 6, day, hour, minute, tzinfo=self.ZONE)

    @pytest.fixture
    def afternoon(self, clock):
        """Tuesday: one garage moves from Wednesday to Friday, another takes its Wednesday."""
        clock(self.at(1, 9))
        spot = builders.place(zone="America/Denver", latitude="39.740", longitude="-104.990")
        branch = builders.branch(at=spot)
        crew = builders.crew(of=branch, name="Crew A")
        crew.lead.telephone = "303-555-0111"
        crew.lead.save()
        jobs = [self.garage(branch, spot) for _ in range(2)]
        first = book(branch, crew, self.at(10, 7, 30), job=jobs[0], now=self.at(1, 9))
        sending.send_due(now=self.at(1, 9))
        link, phone = (
            links.make_link(
                branch=branch, purpose=purpose, name="lead", by=PROGRAM, now=self.at(1, 9),
                crew=crew,
            )
            for purpose in (LinkPurpose.FEED, LinkPurpose.PHONE)
        )  # fmt: skip
        before = self.events(link)
        clock(self.at(9, 16, 40))
        first = move(first, crew, self.at(12, 7, 30), now=self.at(9, 16, 40), why="rain")
        clock(self.at(9, 17, 5))
        second = book(branch, crew, self.at(10, 7, 30), job=jobs[1], now=self.at(9, 17, 5))
        return branch, crew, first, second, link, phone, before

    def garage(self, branch, spot):
        site = builders.site(owner=builders.customer(of=branch), at=spot)
        return builders.job(of=branch, floors=[builders.floor(at=site, area_m2=450 * FT2_M2)])

    def events(self, link):
        body = Client().get(f"/feeds/{link.token}.ics").content
        return icalendar.Calendar.from_ical(body).walk("VEVENT")

    def receipts(self, branch, now):
        return [need for need in needs.everything(branch, now=now) if need.kind == "receipt"]

    def test_at_six_the_office_sees_two_changes_not_confirmed_as_tasks_to_ring(self, afternoon):
        branch, *_ = afternoon

        early = self.receipts(branch, self.at(9, 17, 30))
        evening = self.receipts(branch, self.at(9, 18))
        morning = self.receipts(branch, self.at(10, 6))

        assert {(need.level, "6:00 PM" in need.reason) for need in early} == {("care", True)}
        for found in (evening, morning):
            assert [need.title for need in found] == ["Crew A: not confirmed"] * 2
            assert {need.level for need in found} == {"no"}
            assert {need.telephone for need in found} == {"303-555-0111"}
            assert {need.answer for need in found} == {"Told by telephone"}

    def test_the_feed_holds_the_moved_floor_once_on_friday_and_the_new_one_on_wednesday(
        self, afternoon
    ):
        _, _, first, second, link, _, (before,) = afternoon

        found = {event.start.astimezone(self.ZONE).date().day: event for event in self.events(link)}

        assert sorted(found) == [10, 12]
        assert found[12]["uid"] == before["uid"]
        assert found[12]["sequence"] > before["sequence"]
        assert found[10]["uid"] != before["uid"]
        assert first.job.customer.name in found[12]["summary"]
        assert second.job.customer.name in found[10]["summary"]

    def test_the_feed_says_of_when_it_is_and_where_the_live_sheet_is(self, afternoon):
        *_, first, _, link, _, _ = afternoon
        moved = next(
            event for event in self.events(link) if event.start.astimezone(self.ZONE).day == 12
        )

        assert "Written Tue Jun 9, 4:40 PM." in moved["description"]
        assert f"/stints/{first.stints.get().pk}/sheet/" in moved["description"]

    def test_the_sheet_is_right_at_once_and_stops_the_crew_until_it_confirms(
        self, afternoon, clock
    ):
        branch, _, first, second, _, phone, _ = afternoon
        now = clock(self.at(10, 6))
        sheet = reverse("phone-sheet", args=[phone.token, second.stints.get().pk])

        page = Client().get(sheet).content.decode()
        list_page = Client().get(reverse("phone", args=[phone.token])).content.decode()

        assert "Stop: this has changed" in page
        assert second.job.customer.name in page
        assert "Fri Jun 12" in list_page
        for notice in Notice.objects.filter(kind=NoticeKind.CREW_CHANGE):
            Client().post(reverse("phone-seen", args=[phone.token, notice.pk]))
        assert "Stop: this has changed" not in Client().get(sheet).content.decode()
        assert self.receipts(branch, now) == []
        assert {receipt.at for receipt in Receipt.objects.all()} == {now}
        assert first.stints.get().start == self.at(12, 7, 30)

    def test_the_office_enters_who_was_told_by_telephone_and_when(self, afternoon, clock):
        branch, *_ = afternoon
        now = clock(self.at(9, 18, 5))
        desk, user = Client(), builders.user(of=branch)
        desk.force_login(user)
        need = self.receipts(branch, now)[0]

        desk.post(reverse("told", args=[need.answer_pk]))

        receipt = Receipt.objects.get()
        assert (receipt.at, receipt.how, receipt.user) == (now, "telephone", user)
        assert len(self.receipts(branch, now)) == 1

    def test_neither_customer_is_told_twice(self, afternoon):
        sending.send_due(now=self.at(9, 17, 10))
        sending.send_due(now=self.at(9, 18))
        sending.send_due(now=self.at(10, 8))

        told = Notice.objects.filter(audience="customer", state=NoticeState.SENT)
        assert sorted(told.values_list("kind", flat=True)) == ["booked", "booked", "moved"]
        assert len(mail.outbox) == 3


class TestAColdNightAfterTheTop:
    """A card read by rows, and 2 °C in the night: three days instead of the one promised."""

    ZONE = ZoneInfo("America/Los_Angeles")
    AIR = ((15, 0, 15.0), (15, 15, 13.0), (15, 21, 6.0), (16, 6, 2.0), (16, 15, 11.0), (17, 6, 1.0))

    def at(self, day, hour, minute=0):
        return datetime(2026, 10, day, hour, minute, tzinfo=self.ZONE)

    @pytest.fixture
    def coated(self, clock):
        clock(self.at(12, 9))
        spot = builders.place(zone="America/Los_Angeles", latitude="47.660", longitude="-117.430")
        branch = builders.branch(at=spot)
        system = builders.system(of=branch, name="Fast flake", card=FAST)
        site = builders.site(owner=builders.customer(of=branch), at=spot)
        floor = builders.floor(at=site, area_m2=430 * FT2_M2)
        job = builders.job(of=branch, floors=[floor], using=system, car_needed_by=self.at(17, 8))
        crew = builders.crew(of=branch)
        wanted = ask(crew, self.at(15, 8), hours=7)
        promised = replace(
            wanted.promised,
            walk_on_at=self.at(16, 8),
            drive_on_at=self.at(16, 15),
            drive_on_basis="24 hours for a slab of 68 °F on average",
        )
        booking = bookings.book(
            branch=branch, job_id=job.pk, version=job.version,
            ask=replace(wanted, promised=promised), by=PROGRAM,
            now=self.at(12, 9),
        )  # fmt: skip
        sending.send_due(now=self.at(12, 9))
        stint = booking.stints.get()
        for kind, when in (
            (StampKind.TOPPED, self.at(15, 14, 57)),
            (StampKind.LEFT, self.at(15, 15)),
        ):
            stamps.stamp(stint, kind=kind, by=PROGRAM, now=when)
        self.weather(branch)
        return branch, booking

    def weather(self, branch):
        """Each row of air holds until the next; the days before were as mild as the first."""
        begin, count = self.at(1, 0), 24 * 24
        air = []
        for n in range(count):
            at = begin + n * HOUR
            air.append([c for day, hour, c in self.AIR if self.at(day, hour) <= at][-1:] or [15.0])
        builders.forecast(
            at=branch.depot_place,
            start=begin,
            count=count,
            issued_at=self.at(15, 14),
            air_c=[row[0] for row in air],
            dew_c=[row[0] - 6 for row in air],
        )

    def test_the_customer_hears_in_the_afternoon_why_until_when_and_what_heat_would_do(
        self, coated
    ):
        branch, booking = coated
        now = self.at(15, 15, 5)

        verdicts.watch_coated(now=now)
        due_letters.owe_due(now=now)
        sending.send_due(now=now)

        booking.refresh_from_db()
        assert booking.drive_on_at == self.at(18, 15)  # Sunday 14:57, to the next quarter
        told = next(each for each in mail.outbox if "needs longer" in each.subject)
        assert told.subject == "Your floor needs longer: Sun Oct 18, 3:00 PM"
        for words in (
            "instead of Fri Oct 16, 3:00 PM",
            "It is colder than planned",
            "With the room kept above 50 °F from now on it could be Sat Oct 17, 3:00 PM",
            "72 hours",
            "You told us that you need it by Sat Oct 17, 8:00 AM. That does not fit any more",
        ):
            assert words in told.body
        assert mail.outbox[-1].subject.startswith("Your floor is coated, drive on it from Sun")
        clash = [need for need in needs.everything(branch, now=now) if need.kind == "car"]
        assert len(clash) == 1
        assert "Sat Oct 17, 8:00 AM" in clash[0].reason

    def test_no_rule_makes_it_earlier_than_saturday_and_the_last_mail_waits_for_the_day(
        self, coated
    ):
        _, booking = coated

        for hours in range(0, 60, 6):
            verdicts.watch_coated(now=self.at(15, 15, 5) + hours * HOUR)
            booking.refresh_from_db()
            assert booking.drive_on_at >= self.at(17, 14, 57) or hours == 0

        Booking.objects.filter(pk=booking.pk).update(drive_on_at=self.at(18, 5))
        due_letters.owe_due(now=self.at(18, 5, 30))
        sending.send_due(now=self.at(18, 5, 30))
        early = [each.subject for each in mail.outbox]
        sending.send_due(now=self.at(18, 7, 1))
        assert not any("reached" in subject for subject in early)
        assert "reached" in mail.outbox[-1].subject
