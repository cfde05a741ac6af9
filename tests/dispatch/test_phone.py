"""The crew's phone: changes that must be seen, the day sheet, and the four stamps."""

from datetime import UTC, datetime, timedelta

import pytest

from dispatch.models import (
    Booking,
    LinkPurpose,
    Notice,
    NoticeState,
    Receipt,
    Stamp,
    StampKind,
    StoredVerdict,
)
from dispatch.services import links, receipts, stamps
from jobs.access import PROGRAM
from jobs.models import Role
from tests import builders
from tests.dispatch.days import NOW, book, call_off, move

pytestmark = pytest.mark.django_db(transaction=True)
TOMORROW = datetime(2026, 6, 2, 13, 0, tzinfo=UTC)  # 8 AM in Chicago, inside 48 hours
LATER = datetime(2026, 6, 9, 13, 0, tzinfo=UTC)


@pytest.fixture
def clock(monkeypatch):
    def set_to(now):
        monkeypatch.setattr("django.utils.timezone.now", lambda: now)

    set_to(NOW)
    return set_to


@pytest.fixture
def office(clock):
    branch = builders.branch()
    return branch, builders.crew(of=branch, name="Crew North")


def phone(branch, crew):
    return links.make_link(
        branch=branch, purpose=LinkPurpose.PHONE, name="lead", by=PROGRAM, now=NOW, crew=crew
    )


def text_of(client, path):
    answer = client.get(path)
    assert answer.status_code == 200
    return answer.content.decode()


def verdict(stint, **given):
    values = {
        "made_at": NOW,
        "level": "care",
        "headline": "Rain from 5 PM; pour by 12:30 PM.",
        "last_safe_pour": TOMORROW + timedelta(hours=4, minutes=30),
        "binds": "rain from 5 PM",
        "ways_out": ["Start earlier."],
        "forecast": builders.forecast(at=stint.booking.job.site.place, start=NOW),
    }
    return StoredVerdict.objects.create(stint=stint, **{**values, **given})


def test_the_crew_sees_its_own_days_and_no_other_crews(client, office):
    branch, crew = office
    mine = book(branch, crew, TOMORROW)
    theirs = book(branch, builders.crew(of=branch), TOMORROW)
    link = phone(branch, crew)

    text = text_of(client, f"/p/{link.token}/")

    assert mine.job.site.street in text
    assert theirs.job.site.street not in text
    assert client.get(f"/p/{link.token}/{theirs.stints.get().pk}/").status_code == 404


def test_a_change_inside_48_hours_stands_first_until_it_was_seen(client, office):
    branch, crew = office
    booking = move(book(branch, crew, LATER), crew, TOMORROW)
    link = phone(branch, crew)
    stint = booking.stints.get()

    for path in (f"/p/{link.token}/", f"/p/{link.token}/{stint.pk}/"):
        assert "Stop: this has changed" in text_of(client, path)
    notice = Notice.objects.get(audience="crew")
    assert not Receipt.objects.exists()  # reading is no receipt

    for _ in range(2):
        client.post(f"/p/{link.token}/seen/{notice.pk}/", {"stint": str(stint.pk)})

    receipt = Receipt.objects.get()
    assert (receipt.how, receipt.by, receipt.at) == ("phone page", "Crew North, lead", NOW)
    assert "Stop: this has changed" not in text_of(client, f"/p/{link.token}/")


def test_seeing_the_newest_change_covers_what_it_replaced(client, office):
    branch, crew = office
    booking = book(branch, crew, TOMORROW)
    booking = move(booking, crew, TOMORROW + timedelta(hours=1))
    link = phone(branch, crew)

    assert text_of(client, f"/p/{link.token}/").count("Stop: this has changed") == 1
    newest = Notice.objects.filter(audience="crew").latest("booking_version")
    client.post(f"/p/{link.token}/seen/{newest.pk}/")

    assert Receipt.objects.count() == 2
    assert set(Notice.objects.filter(audience="crew").values_list("state", flat=True)) == {
        NoticeState.SENT
    }


def test_a_stint_that_is_not_on_must_be_seen_too(client, office):
    branch, crew = office
    call_off(book(branch, crew, TOMORROW))

    text = text_of(client, f"/p/{phone(branch, crew).token}/")

    assert "Not on:" in text
    assert "No work in the next two weeks" in text


def test_another_crew_cannot_confirm_for_this_one(client, office):
    branch, crew = office
    book(branch, crew, TOMORROW)
    notice = Notice.objects.get(audience="crew")
    other = phone(branch, builders.crew(of=branch))

    assert client.post(f"/p/{other.token}/seen/{notice.pk}/").status_code == 404
    assert client.get(f"/p/{other.token}/seen/{notice.pk}/").status_code == 405
    assert not Receipt.objects.exists()


def test_told_by_telephone_is_a_receipt(office):
    branch, crew = office
    book(branch, crew, TOMORROW)
    notice = Notice.objects.get(audience="crew")
    by = builders.actor(of=branch)

    first = receipts.told_by_telephone(notice, by=by, now=NOW)
    again = receipts.told_by_telephone(notice, by=by, now=NOW + timedelta(hours=1))

    assert first == again
    assert (again.how, again.at, again.user) == ("telephone", NOW, by.user)


def test_the_sheet_has_what_a_crew_needs_on_site(client, office):
    branch, crew = office
    booking = book(branch, crew, TOMORROW)
    site = booking.job.site
    site.access, site.power, site.only_way_in = "Gate code 4711", "30 A at the dryer", True
    site.save()
    stint = booking.stints.get()
    verdict(stint)

    text = text_of(client, f"/p/{phone(branch, crew).token}/{stint.pk}/")

    for words in (
        "Tue Jun 2, 8:00 AM",
        '<span class="clock-time">12:30 PM</span>',
        "rain from 5 PM",
        "Forecast issued Mon Jun 1, 9:30 AM, 0 h old",
        "Rain from 5 PM; pour by 12:30 PM.",
        "Start earlier.",
        "Prepare only",
        "Stop: pour nothing",
        "Gate code 4711",
        "30 A at the dryer",
        'href="geo:33.52100,-86.80200"',
        "Nothing loud before 7:00 AM",
        "Cut in, base, broadcast",
        "batches of at most",
        "Flake: throw",
        "Silica dust",
        "Isocyanates",
        "Carbon monoxide",
        "Walk on: Wed Jun 3, 8:00 AM",
    ):
        assert words in text, words
    for word in ("certified", "guarantee", "completed"):
        assert word not in text.lower()


def test_without_a_verdict_nothing_is_called_safe(client, office):
    branch, crew = office
    stint = book(branch, crew, TOMORROW).stints.get()

    text = text_of(client, f"/p/{phone(branch, crew).token}/{stint.pk}/")

    assert '<span class="clock-time">None</span>' in text
    assert 'data-level="unknown"' in text
    assert 'data-level="go"' not in text
    assert "Slab not known" in text


@pytest.mark.parametrize(
    ("level", "shown", "about"),
    [
        ("go", "As planned", "Nothing forecast stops the planned pour (11:00 AM)"),
        ("care", "Not known", "ring the office before going later"),
        ("no", "None", "No pour is known to be safe"),
        ("unknown", "None", "No pour is known to be safe"),
    ],
)
def test_a_verdict_without_a_last_safe_pour_says_what_that_means(
    client, office, level, shown, about
):
    branch, crew = office
    stint = book(branch, crew, TOMORROW).stints.get()
    verdict(stint, level=level, last_safe_pour=None, binds="")

    text = text_of(client, f"/p/{phone(branch, crew).token}/{stint.pk}/")

    assert f'<span class="clock-time">{shown}</span>' in text
    assert about in text


def test_a_stamp_counts_once_and_keeps_its_first_time(client, office, clock):
    branch, crew = office
    stint = book(branch, crew, TOMORROW).stints.get()
    link = phone(branch, crew)
    clock(TOMORROW)
    where = f"/p/{link.token}/{stint.pk}/stamp/"

    first = client.post(where, {"kind": "arrived"})
    clock(TOMORROW + timedelta(minutes=5))
    client.post(where, {"kind": "arrived"})

    made = Stamp.objects.get()
    assert first.status_code == 302
    assert (made.kind, made.at, made.noted_by) == ("arrived", TOMORROW, "Crew North, lead")
    assert client.post(where, {"kind": "lunch"}).status_code == 404
    assert client.get(where).status_code == 405


def test_a_late_top_coat_moves_the_promise_later_and_the_customer_hears(office):
    branch, crew = office
    booking = book(branch, crew, TOMORROW)
    planned_top = TOMORROW + timedelta(hours=7)

    stamps.stamp(
        booking.stints.get(),
        kind=StampKind.TOPPED,
        by=PROGRAM,
        now=planned_top + timedelta(minutes=50),
    )

    after = Booking.objects.get(pk=booking.pk)
    # 50 minutes late is an hour later by the quarter: promises round up.
    assert after.drive_on_at == booking.drive_on_at + timedelta(hours=1)
    assert after.walk_on_at == booking.walk_on_at + timedelta(hours=1)
    assert "Counted from the top coat" in after.drive_on_basis
    assert Notice.objects.filter(kind="drive_on_later").count() == 1


def test_an_early_top_coat_never_makes_a_promise_earlier(office):
    branch, crew = office
    booking = book(branch, crew, TOMORROW)

    stamps.stamp(
        booking.stints.get(),
        kind=StampKind.TOPPED,
        by=PROGRAM,
        now=TOMORROW + timedelta(hours=5),
    )

    assert Booking.objects.get(pk=booking.pk).drive_on_at == booking.drive_on_at


def test_nothing_is_stamped_on_a_day_that_is_not_on(client, office):
    branch, crew = office
    booking = book(branch, crew, TOMORROW)
    stint = booking.stints.get()
    call_off(booking)

    answer = client.post(f"/p/{phone(branch, crew).token}/{stint.pk}/stamp/", {"kind": "arrived"})

    assert answer.status_code == 409
    assert not Stamp.objects.exists()


def test_a_phone_link_ends_after_90_days_and_sets_no_cookie(client, office, clock):
    branch, crew = office
    link = phone(branch, crew)

    answer = client.get(f"/p/{link.token}/")
    clock(NOW + timedelta(days=90))

    assert not answer.cookies
    assert answer["Cache-Control"] == "no-store, private"
    assert client.get(f"/p/{link.token}/").status_code == 404


@pytest.mark.parametrize("role", list(Role))
def test_members_of_the_branch_read_the_same_sheet(client, office, role):
    branch, crew = office
    stint = book(branch, crew, TOMORROW).stints.get()
    client.force_login(builders.user(of=branch, role=role))

    text = text_of(client, f"/stints/{stint.pk}/sheet/")

    assert "Last safe pour" in text
    assert "/stamp/" not in text


def test_members_of_another_branch_and_strangers_see_no_sheet(client, office):
    branch, crew = office
    stint = book(branch, crew, TOMORROW).stints.get()

    assert client.get(f"/stints/{stint.pk}/sheet/").status_code == 302
    client.force_login(builders.user(of=builders.branch()))
    assert client.get(f"/stints/{stint.pk}/sheet/").status_code == 404


def test_the_office_opens_its_sent_mails_and_no_other_branchs(client, office):
    from dispatch.services import sending

    branch, crew = office
    book(branch, crew, TOMORROW)
    sending.send_due(now=NOW)
    notice = Notice.objects.get(audience="customer")

    client.force_login(builders.user(of=branch))
    listed, opened = text_of(client, "/mail/"), text_of(client, f"/mail/{notice.pk}/")
    client.force_login(builders.user(of=builders.branch()))

    assert "Your floor: Tue Jun 2" in listed
    assert "between 8:00 AM and 9:00 AM" in opened
    assert client.get(f"/mail/{notice.pk}/").status_code == 404


def test_the_trailer_takes_what_the_stages_of_this_stint_need(client, office):
    branch, crew = office
    booking = book(branch, crew, TOMORROW)
    stint = booking.stints.get()
    link = phone(branch, crew)
    path = f"/p/{link.token}/{stint.pk}/"

    whole = text_of(client, path)
    stint.stages = [each for each in stint.stages if each["kind"] in {"set_up", "grind"}]
    stint.save(update_fields=["stages"])
    preparing = text_of(client, path)

    trailer = whole.split("On the trailer")[1].split("</section>")[0]
    assert "Base: A " in trailer
    assert "Top: A " in trailer
    assert "with a tenth to spare" in trailer
    assert "dust collector" in trailer
    only = preparing.split("On the trailer")[1].split("</section>")[0]
    assert "dust collector" in only
    assert "Base: A " not in only
