"""Coating systems on their pages: the owner changes cards and prices, no one by accident."""

from decimal import Decimal
from html import unescape

import pytest
from django.urls import reverse

from jobs.models import AuditEvent, CoatingSystem, Role
from tests import builders

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def branch(transactional_db):
    return builders.branch()


@pytest.fixture
def system(branch):
    return builders.system(of=branch)


@pytest.fixture
def owner(branch, client):
    client.force_login(builders.user(of=branch, username="owner", role=Role.OWNER))
    return client


def boxes(client, path):
    """What a browser would send back for the form of a page."""
    form = client.get(path).context["form"]
    sent = {name: form[name].value() for name in form.fields}
    sent = {name: value for name, value in sent.items() if value is not False}
    return {**sent, "was": client.get(path).context["was"]}


def test_keeping_a_card_untouched_changes_nothing(owner, system):
    path = reverse("system", args=[system.pk])
    before = ({**system.card_json, "name": system.name}, system.price_per_m2)

    answer = owner.post(path, boxes(owner, path))

    assert answer.status_code == 302, answer.context["form"].errors
    system.refresh_from_db()
    assert (system.card_json, system.price_per_m2) == before


def test_a_changed_card_is_kept_with_who_and_what(owner, branch, system):
    path = reverse("system", args=[system.pk])

    owner.post(path, {**boxes(owner, path), "slab_min_c": "55", "price_per_m2": "7.50"})

    system.refresh_from_db()
    assert system.card.slab_min_c == pytest.approx((55 - 32) / 1.8)
    assert system.price_per_m2 == Decimal("80.73")  # $7.50 by sq ft
    event = AuditEvent.objects.get(subject="system")
    assert (event.actor_name, event.action) == ("owner", "change")
    assert "slab_min_c" in event.before
    assert "slab_max_c" not in event.after


def test_what_is_wrong_stands_beside_what_was_typed(owner, system):
    path = reverse("system", args=[system.pk])

    before = system.card_json
    answer = owner.post(path, {**boxes(owner, path), "slab_min_c": "hot", "drive_on": "one day"})

    assert answer.status_code == 422
    text = unescape(answer.text)
    assert "is not a number" in text
    assert '"one day" is no row' in text
    system.refresh_from_db()
    assert system.card_json == before


def test_nobody_writes_over_what_somebody_else_changed(owner, system):
    path = reverse("system", args=[system.pk])
    mine = boxes(owner, path)
    owner.post(path, {**mine, "slab_max_c": "88"})

    answer = owner.post(path, {**mine, "humidity_max_pct": "70"})

    assert answer.status_code == 409
    assert "Somebody changed this system meanwhile" in answer.text
    system.refresh_from_db()
    assert system.card.humidity_max_pct != 70


def test_a_copy_becomes_a_system_of_its_own(owner, branch, system):
    path = reverse("system-copy", args=[system.pk])
    same = owner.post(path, boxes(owner, path))
    made = owner.post(path, {**boxes(owner, path), "name": "Winter flake", "slab_min_c": "45"})

    assert "There is already a system called" in same.text
    assert made.status_code == 302
    assert CoatingSystem.objects.filter(branch=branch).count() == 2
    listed = owner.get(reverse("systems")).text
    assert "Winter flake" in listed


def test_what_is_not_sold_any_more_cannot_be_chosen(owner, system):
    path = reverse("system", args=[system.pk])
    sent = boxes(owner, path)
    sent.pop("sold")

    owner.post(path, sent)

    assert "not sold any more" in owner.get(reverse("systems")).text
    assert f'value="{system.pk}"' not in owner.get(reverse("take-in")).text


@pytest.mark.parametrize("role", [role for role in Role if role != Role.OWNER])
def test_only_the_owner_changes_a_card_and_everybody_may_read(client, branch, system, role):
    client.force_login(builders.user(of=branch, username="other", role=role))

    assert client.get(reverse("systems")).status_code == 200
    for name in ("system", "system-copy"):
        assert client.get(reverse(name, args=[system.pk])).status_code == 403
        assert client.post(reverse(name, args=[system.pk]), {}).status_code == 403


def test_a_system_of_another_branch_is_not_there(owner, branch):
    other = builders.system(of=builders.branch(name="Elsewhere"))

    assert owner.get(reverse("system", args=[other.pk])).status_code == 404
