"""Secret links: what they open, how long, and that a copy of the database opens nothing."""

from datetime import timedelta

import pytest

from dispatch.models import Link, LinkPurpose
from dispatch.services import links
from jobs.access import PROGRAM
from jobs.models import AuditEvent
from jobs.models.programs import digest
from tests import builders
from tests.dispatch.days import NOW, START, book, move

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def office():
    branch = builders.branch()
    return branch, builders.crew(of=branch)


def make(branch, purpose, **given):
    return links.make_link(
        branch=branch, purpose=purpose, name="the lead's phone", by=PROGRAM, now=NOW, **given
    )


def test_a_token_has_256_bits_and_is_stored_as_a_digest_only(office):
    branch, crew = office

    link = make(branch, LinkPurpose.FEED, crew=crew)

    # W3C TAG, Good Practices for Capability URLs: enough entropy not to be guessed.
    assert len(link.token) == 43
    stored = Link.objects.filter(pk=link.pk).values().get()
    assert stored["digest"] == digest(link.token)
    assert link.token not in str(stored)


def test_the_address_is_built_from_the_public_address_of_the_site(office, settings):
    settings.SITE_URL = "https://floors.example"
    branch, crew = office

    feed, phone = (
        make(branch, LinkPurpose.FEED, crew=crew),
        make(branch, LinkPurpose.PHONE, crew=crew),
    )

    assert links.address(feed) == f"https://floors.example/feeds/{feed.token}.ics"
    assert links.address(phone) == f"https://floors.example/p/{phone.token}/"


def test_feeds_never_end_and_phones_last_90_days(office):
    branch, crew = office

    assert make(branch, LinkPurpose.FEED, crew=crew).expires_at is None
    assert make(branch, LinkPurpose.PHONE, crew=crew).expires_at == NOW + timedelta(days=90)


def test_a_customers_link_reads_until_60_days_after_drive_on_also_after_a_move(office):
    branch, crew = office
    booking = book(branch, crew)

    link = links.for_booking(booking, now=NOW)
    later = move(booking, crew, START + timedelta(days=7))
    again = links.for_booking(later, now=NOW)

    assert link.expires_at == booking.drive_on_at + timedelta(days=60)
    assert again.pk == link.pk
    assert Link.objects.get(pk=link.pk).expires_at == later.drive_on_at + timedelta(days=60)


def test_a_replaced_link_stops_and_the_new_one_opens_the_same(office):
    branch, crew = office
    old = make(branch, LinkPurpose.PHONE, crew=crew)

    new = links.rotate(old, by=PROGRAM, now=NOW)

    live = Link.objects.live(NOW)
    assert live.find(old.token, LinkPurpose.PHONE) is None
    assert live.find(new.token, LinkPurpose.PHONE).crew == crew
    assert new.token != old.token


def test_revoking_twice_is_kept_once_on_record(office):
    branch, crew = office
    link = make(branch, LinkPurpose.PHONE, crew=crew)

    links.revoke(link, by=PROGRAM, now=NOW)
    links.revoke(link, by=PROGRAM, now=NOW + timedelta(days=1))

    actions = AuditEvent.objects.filter(subject="link", subject_id=link.pk)
    assert list(actions.values_list("action", flat=True)) == ["make link", "revoke link"]
    assert Link.objects.get(pk=link.pk).revoked_at == NOW


def test_a_link_must_open_something(office):
    branch, crew = office

    with pytest.raises(links.WrongLink):
        make(branch, LinkPurpose.CUSTOMER)
    with pytest.raises(links.WrongLink):
        make(branch, LinkPurpose.PHONE)
    with pytest.raises(links.WrongLink):
        make(branch, LinkPurpose.FEED, crew=crew, booking=book(branch, crew))


def test_after_a_change_of_the_key_old_links_open_but_are_not_shown_wrongly(office, settings):
    branch, crew = office
    booking = book(branch, crew)
    link = links.for_booking(booking, now=NOW)
    token = link.token

    settings.SECRET_KEY = "another key of this installation, long enough for anything"
    fresh = links.for_booking(booking, now=NOW)

    assert Link.objects.live(NOW).find(token, LinkPurpose.CUSTOMER) == link
    assert links.address(Link.objects.get(pk=link.pk)) == ""
    assert fresh.pk != link.pk


@pytest.mark.parametrize(
    "path", ["/feeds/{}.ics", "/c/{}/", "/c/{}/floor.ics", "/p/{}/", "/p/{}/1/"]
)
def test_a_secret_never_reaches_the_logs(client, office, caplog, path):
    branch, crew = office
    link = make(branch, LinkPurpose.FEED, crew=crew)
    links.revoke(link, by=PROGRAM, now=NOW)

    client.get(path.format(link.token + "x"))

    assert "/" + link.token[:4] in caplog.text
    assert link.token not in caplog.text
