"""Addresses that are their own key: what a scanner, a guesser and an old address get.

Mail filters open every link they see, some of them with a browser's name and twice.
"""

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.models import Link, LinkPurpose
from dispatch.services import bookings, links
from jobs.access import PROGRAM
from jobs.models import AuditEvent
from tests.attacks.test_roles import rows
from tests.attacks.world import DAY, Firm

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def firm(transactional_db):
    return Firm("Alpha")


def page(token):
    return Client().get(reverse("customer", args=[token]))


def test_a_mail_filter_that_opens_a_link_twenty_times_changes_nothing(firm):
    path = reverse("customer", args=[firm.token])
    before = rows()

    for number in range(20):
        ask = Client().head if number % 2 else Client().get
        assert ask(path, headers={"User-Agent": "Mozilla/5.0 (scanner)"}).status_code == 200

    assert rows() == before
    firm.booking.refresh_from_db()
    assert firm.booking.state == "booked"
    assert page(firm.token).status_code == 200


def test_saying_twice_that_a_day_no_longer_works_is_one_record_and_one_task(firm):
    path = reverse("customer-cannot", args=[firm.token])

    for _ in range(3):
        Client().post(path, {"why": "The movers come."})

    said = AuditEvent.objects.filter(subject="booking", actor_kind="customer")
    assert said.count() == 1


@pytest.mark.parametrize("change", ["one sign", "cut", "longer", "ten thousand"])
def test_a_link_that_was_changed_gets_the_neutral_page(firm, change):
    token = firm.token
    other = {
        "one sign": ("A" if token[0] != "A" else "B") + token[1:],
        "cut": token[:-1],
        "longer": token + "A",
        "ten thousand": "A" * 10_000,
    }[change]

    answer = page(other)

    assert answer.status_code == 404
    assert answer.text == page("nothing").text
    assert "Alpha" not in answer.text


def test_a_link_that_ended_or_was_stopped_opens_nothing_and_takes_nothing(firm):
    path = reverse("customer-cannot", args=[firm.token])
    link = Link.objects.get(purpose=LinkPurpose.CUSTOMER, booking=firm.booking)
    links.revoke(link, by=PROGRAM, now=firm.now)
    before = rows()
    stopped = Client().post(path, {"why": "x"})
    Link.objects.update(revoked_at=None, expires_at=firm.now - DAY)
    ended = Client().post(path, {"why": "x"})

    assert {stopped.status_code, ended.status_code} <= {404, 410}
    assert page(firm.token).status_code in (404, 410)
    assert rows() == before


def test_after_a_booking_was_called_off_its_link_says_so_and_takes_nothing(firm):
    bookings.call_off(
        branch=firm.branch,
        booking_id=firm.booking.pk,
        version=firm.booking.version,
        why="Rain",
        by=PROGRAM,
        now=firm.now,
    )
    shown = page(firm.token)
    before = rows()
    Client().post(reverse("customer-cannot", args=[firm.token]), {"why": "x"})

    assert shown.status_code in (200, 404)
    assert rows() == before


def test_a_key_opens_only_what_it_is_for(firm):
    phone, feed = firm.link(LinkPurpose.PHONE), firm.link(LinkPurpose.FEED)

    opened = {
        (name, kind): Client().get(reverse(name, args=[token])).status_code
        for name in ("customer", "feed", "phone")
        for kind, token in (("customer", firm.token), ("feed", feed), ("phone", phone))
    }

    assert {pair for pair, status in opened.items() if status == 200} == {
        ("customer", "customer"),
        ("feed", "feed"),
        ("phone", "phone"),
    }
    assert {status for pair, status in opened.items() if pair[0] != pair[1]} == {404}


def test_a_customer_can_name_no_other_booking(firm):
    before = AuditEvent.objects.filter(subject_id=firm.second.pk).count()

    Client().post(
        reverse("customer-cannot", args=[firm.token]),
        {"why": "x", "booking": firm.second.pk, "pk": firm.second.pk, "id": firm.second.pk},
    )

    assert AuditEvent.objects.filter(subject_id=firm.second.pk).count() == before


def test_a_phone_sees_and_stamps_only_its_own_crews_days(firm):
    phone = firm.link(LinkPurpose.PHONE)
    other = firm.second.stints.get().pk

    assert Client().get(reverse("phone-sheet", args=[phone, other])).status_code == 404
    refused = Client().post(reverse("phone-stamp", args=[phone, other]), {"kind": "arrived"})
    assert refused.status_code == 404
    assert not firm.second.stints.get().stamps.exists()


def test_the_headers_of_a_secret_page(firm):
    answer = page(firm.token)

    assert "no-store" in answer["Cache-Control"]
    assert answer["Referrer-Policy"] == "no-referrer"
    assert "noindex" in answer["X-Robots-Tag"]
    assert "frame-ancestors 'none'" in answer["Content-Security-Policy"]
    assert not answer.cookies
    assert "http://" not in answer.text.replace("http://testserver", "").replace(
        "http://127.0.0.1", ""
    ).replace("http://www.w3.org", "")


def test_wrong_replaced_and_stopped_feeds_say_nothing_of_whose_they_were(firm):
    token = firm.link(LinkPurpose.FEED)
    links.revoke(Link.objects.latest("pk"), by=PROGRAM, now=firm.now - 40 * DAY)

    old, wrong = (Client().get(reverse("feed", args=[each])) for each in (token, "nothing"))

    # 410 tells a subscriber to stop (RFC 9110 section 15.5.11); neither says whose it was.
    assert (old.status_code, wrong.status_code) == (410, 404)
    assert old.content == wrong.content == b""


def test_no_whole_key_stands_in_a_log(firm, caplog):
    caplog.set_level("DEBUG")
    phone, feed = firm.link(LinkPurpose.PHONE), firm.link(LinkPurpose.FEED)

    for name, token in (("customer", firm.token), ("phone", phone), ("feed", feed)):
        Client().get(reverse(name, args=[token]))
        Client().get(reverse(name, args=[token + "x"]))

    written = "\n".join(record.getMessage() for record in caplog.records)
    for token in (firm.token, phone, feed):
        assert token not in written
