"""Lots in the depot, put aside for booked floors, and the list of what is short by evening.

One lot a floor and part bags to small floors first: common practice.
"""

import re
from datetime import timedelta

import pytest
from django.urls import reverse

from dispatch.models import Booking
from dispatch.reads import needs
from dispatch.reads.stock import depot, short_soon, takes_of
from jobs.idempotency import KeyReused
from jobs.models import AuditEvent, Role, StockLot
from jobs.refusals import Invalid, NotFound, Stale
from jobs.rules.units import kg_from_lb
from jobs.services import stock
from tests import builders
from tests.builders import NOW
from tests.dispatch.days import book, call_off
from tests.dispatch.test_office_pages import Office
from tests.racing import race

pytestmark = pytest.mark.django_db(transaction=True)
DAY = timedelta(days=1)


@pytest.fixture
def branch(transactional_db):
    return builders.branch()


@pytest.fixture
def crew(branch):
    return builders.crew(of=branch)


def booked(branch, crew, start, *, area_m2=42.0, color="Granite") -> Booking:
    booking = book(branch, crew, start)
    job = booking.job
    job.color = color
    job.save()
    job.floors.update(area_m2=area_m2)
    return Booking.objects.with_job().get(pk=booking.pk)


def add(branch, amount, *, kind="flake", blend="Granite", lot="A1", **more) -> StockLot:
    by = builders.actor(of=branch)
    return stock.add_lot(
        branch=branch, kind=kind, blend=blend, lot=lot, amount=amount, by=by, now=NOW, **more
    )


def flake_of(branch):
    return [s for s in depot(branch, now=NOW).shares if s.what.startswith("Flake")]


def test_a_floor_has_flake_of_its_blend_put_aside_whatever_the_spelling(branch, crew):
    booked(branch, crew, NOW + 3 * DAY)
    add(branch, 100.0, blend="  granite ")

    (share,) = flake_of(branch)

    assert share.short == ""
    assert share.lots.endswith("of lot A1")


def test_what_is_called_off_takes_nothing(branch, crew):
    booking = booked(branch, crew, NOW + 3 * DAY)
    add(branch, 100.0)

    call_off(booking)

    assert flake_of(branch) == []


def test_a_part_bag_goes_to_the_small_floor_of_the_day(branch, crew):
    other = builders.crew(of=branch)
    booked(branch, crew, NOW + DAY, area_m2=60.0)
    booked(branch, other, NOW + DAY, area_m2=10.0)
    add(branch, 8.0, opened=True)
    add(branch, 100.0)

    small, big = flake_of(branch)

    assert "part bag first" in small.lots
    assert not small.short
    assert not big.short


def test_the_evening_before_names_what_is_short_and_how_much(branch, crew):
    booking = booked(branch, crew, NOW + DAY)
    booked(branch, builders.crew(of=branch), NOW + 4 * DAY)
    order_kg = takes_of(booking.job).flake_order_kg
    add(branch, order_kg - kg_from_lb(10))

    short = [share for share in short_soon(branch, now=NOW) if share.what.startswith("Flake")]

    assert [share.booking for share in short] == [booking.pk]
    assert short[0].short == "10 lb"
    found = [need for need in needs.everything(branch, now=NOW) if need.kind == "stock"]
    assert any("10 lb short of" in need.reason for need in found)


def test_an_office_that_keeps_no_stock_is_not_told_that_all_is_missing(branch, crew):
    booked(branch, crew, NOW + DAY)

    assert short_soon(branch, now=NOW) == ()


def test_a_lot_past_its_date_is_not_counted(branch, crew):
    booked(branch, crew, NOW + 3 * DAY)
    add(branch, 100.0, keeps_until=(NOW + DAY).date())

    (share,) = flake_of(branch)
    assert share.short
    assert not share.lots


def test_a_count_is_kept_once_and_a_stale_one_refused(branch):
    lot, by = add(branch, 50.0), builders.actor(of=branch)
    asked = {"branch": branch, "lot_id": lot.pk, "by": by, "now": NOW, "opened": True}

    counted = stock.count_lot(version=0, amount=12.0, **asked)

    assert (counted.amount, counted.opened, counted.version) == (12.0, True, 1)
    with pytest.raises(Stale):
        stock.count_lot(version=0, amount=40.0, **asked)
    event = AuditEvent.objects.get(action="count stock")
    assert (event.before["amount"], event.after["amount"]) == (50.0, 12.0)
    with pytest.raises(NotFound):
        stock.count_lot(version=1, amount=1.0, **{**asked, "branch": builders.branch()})


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"kind": "paint"}, "kind"),
        ({"blend": " "}, "blend"),
        ({"lot": ""}, "lot"),
        ({"amount": 0.0}, "amount"),
        ({"amount": float("nan")}, "amount"),
        ({"amount": None}, "amount"),
        ({"lot": "x" * 61}, "lot"),
    ],
)
def test_no_lot_is_refused_with_a_sentence(branch, changed, field):
    asked = {"kind": "flake", "blend": "Granite", "lot": "A1", "amount": 5.0, **changed}
    by = builders.actor(of=branch)

    with pytest.raises(Invalid) as refusal:
        stock.add_lot(branch=branch, by=by, now=NOW, **asked)

    assert field in refusal.value.problems
    assert not StockLot.objects.exists()


def test_a_lot_sent_twice_with_one_key_is_one_lot_and_another_by_that_key_is_refused(branch):
    asked = {"kind": "flake", "blend": "Granite", "lot": "A1", "amount": 22.0}
    given = {"branch": branch, "by": builders.actor(of=branch), "now": NOW, **asked}
    first = stock.add_lot(key="one-press", **given)

    assert stock.add_lot(key="one-press", **given) == first
    with pytest.raises(KeyReused):
        stock.add_lot(key="one-press", **{**given, "amount": 23.0})
    assert stock.add_lot(key="next-press", **given) != first
    assert StockLot.objects.count() == 2
    assert AuditEvent.objects.filter(action="add stock").count() == 2


def test_four_presses_at_one_instant_add_one_lot(branch):
    by = builders.actor(of=branch)
    typed = {"kind": "flake", "blend": "Granite", "lot": "A1", "amount": 22.0, "key": "one-press"}

    answers = race(4, lambda _: stock.add_lot(branch=branch, by=by, now=NOW, **typed).pk)

    assert {code for code, _ in answers} == {"ok"}, answers
    assert {text for _, text in answers} == {str(StockLot.objects.get().pk)}


def test_the_page_pressed_twice_adds_one_lot_and_the_next_page_another(client, transactional_db):
    office = Office()
    client.force_login(office.user)
    typed = {"kind": "flake", "blend": "Granite", "lot": "A1", "amount": "55"}

    for presses in (2, 1):
        page = client.get(reverse("stock")).content.decode()
        key = re.search(r'name="key" value="([0-9a-f]{32})"', page)[1]
        for _ in range(presses):
            assert client.post(reverse("stock-add"), {**typed, "key": key}).status_code == 302

    assert StockLot.objects.count() == 2
    other = client.post(reverse("stock-add"), {**typed, "amount": "60", "key": key})
    assert other.status_code == 409
    assert "already used for something else" in other.content.decode()


def test_pages_add_count_and_refuse(client, transactional_db):
    office = Office()
    client.force_login(office.user)
    typed = {"kind": "flake", "blend": "Granite", "lot": "A1", "amount": "55"}

    assert client.post(reverse("stock-add"), typed).status_code == 302

    lot = StockLot.objects.get()
    assert lot.amount == pytest.approx(kg_from_lb(55))
    assert "55 lb" in client.get(reverse("stock")).content.decode()
    refused = client.post(reverse("stock-add"), {**typed, "amount": "a lot"})
    assert refused.status_code == 422
    assert "is not a number" in refused.content.decode()
    client.post(reverse("stock-count", args=[lot.pk]), {"version": 0, "amount": "0"})
    client.get(reverse("stock"))  # says once that it was counted
    assert "lot A1" not in client.get(reverse("stock")).content.decode()
    client.force_login(builders.user(of=office.branch, role=Role.READER))
    assert client.post(reverse("stock-add"), typed).status_code == 403


def test_the_booking_says_what_to_order_and_by_when(client, transactional_db):
    office = Office()
    client.force_login(office.user)
    office.book(client)

    told = client.get(reverse("booking", args=[Booking.objects.get().pk])).content.decode()

    assert "To order" in told
    assert "order by" in told
