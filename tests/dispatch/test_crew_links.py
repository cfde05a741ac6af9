"""Links of a crew: made and named by the office, replaced, stopped, and only its own."""

import pytest
from django.urls import reverse

from dispatch.models import Link
from jobs.models import Role
from tests import builders

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def crew(transactional_db):
    return builders.crew(of=builders.branch(), name="North")


@pytest.fixture
def desk(client, crew):
    client.force_login(builders.user(of=crew.branch))
    return client


def make(client, crew, **given):
    data = {"name": "lead's phone", "purpose": "phone", **given}
    return client.post(reverse("link-make", args=[crew.pk]), data)


def test_a_new_phone_link_opens_the_crews_page(desk, crew, client):
    make(desk, crew)

    link = Link.objects.get()
    assert link.name == "lead's phone"
    assert link.address in desk.get(reverse("crews")).content.decode()
    assert client.get(reverse("phone", args=[link.token])).status_code == 200


def test_a_replaced_link_stops_at_once(desk, crew):
    make(desk, crew)
    old = Link.objects.get()

    desk.post(reverse("link-replace", args=[old.pk]))

    new = Link.objects.get(revoked_at__isnull=True)
    assert new.token != old.token
    assert desk.get(reverse("phone", args=[old.token])).status_code == 404
    assert desk.get(reverse("phone", args=[new.token])).status_code == 200


def test_a_stopped_link_opens_nothing(desk, crew):
    make(desk, crew)
    link = Link.objects.get()

    desk.post(reverse("link-stop", args=[link.pk]))

    assert desk.get(reverse("phone", args=[link.token])).status_code == 404
    assert link.address not in desk.get(reverse("crews")).content.decode()


@pytest.mark.parametrize(
    ("given", "sentence"),
    [({"name": " "}, "name the phone"), ({"purpose": "customer"}, "a phone or a calendar")],
)
def test_what_is_missing_is_said(desk, crew, given, sentence):
    answer = make(desk, crew, **given)

    assert answer.status_code == 400
    assert sentence in answer.content.decode()
    assert not Link.objects.exists()


def test_only_the_office_of_the_branch_makes_links(client, crew):
    client.force_login(builders.user(of=crew.branch, role=Role.LEAD))
    assert make(client, crew).status_code == 403
    client.force_login(builders.user(of=builders.branch()))
    assert make(client, crew).status_code == 404

    assert not Link.objects.exists()


def test_a_lead_does_not_see_the_addresses(client, desk, crew):
    make(desk, crew)
    client.force_login(builders.user(of=crew.branch, role=Role.LEAD))

    assert Link.objects.get().token not in client.get(reverse("crews")).content.decode()
