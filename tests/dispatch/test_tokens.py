"""Other programs at the API: what a token opens, for how long, and how often.

Bearer tokens and their refusals: RFC 6750 sections 2.1 and 3; 429: RFC 6585 section 4.
"""

import re
from datetime import timedelta

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from dispatch.api.tokens import PerCaller
from jobs.access import person
from jobs.models import AccessToken, AuditEvent, Job, Membership, Role
from jobs.services import programs
from tests import builders

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def nobody_counted():
    cache.clear()


@pytest.fixture
def branch(transactional_db):
    row = builders.branch()
    builders.system(of=row)
    return row


@pytest.fixture
def owner(branch):
    return builders.user(of=branch, username="owner", role=Role.OWNER)


def secret_of(branch, owner, *, scope="write", days=None, now=None):
    made = programs.make_token(
        branch=branch,
        name="Web form",
        scope=scope,
        days=days,
        by=person(owner),
        now=now or timezone.now(),
    )
    return made[1]


def call(secret, path="week", **given):
    client = Client(enforce_csrf_checks=True)
    return client.get(f"/api/v1/{path}", headers={"Authorization": f"Bearer {secret}"}, **given)


def order(branch, secret):
    body = {
        "customer_name": "Ada Fields",
        "email": "ada@mail.example",
        "street": "12 Oak Street",
        "postal_code": "35203",
        "system_id": branch.systems.get().pk,
        "floors": [{"name": "Garage", "exposure": "garage", "area_m2": 42.0, "edge_m": 26}],
    }
    return Client(enforce_csrf_checks=True).post(
        "/api/v1/floors",
        body,
        content_type="application/json",
        headers={"Authorization": f"Bearer {secret}", "Idempotency-Key": "one"},
    )


def test_a_program_takes_in_a_floor_without_a_browser(branch, owner):
    answer = order(branch, secret_of(branch, owner))

    assert answer.status_code == 201, answer.content
    said = AuditEvent.objects.filter(subject="job").latest("pk")
    assert said.actor_name == "Web form, for owner"
    assert AccessToken.objects.get().last_used_at is not None


def test_a_token_for_reading_reads_only(branch, owner):
    secret = secret_of(branch, owner, scope="read")

    assert call(secret).status_code == 200
    refused = order(branch, secret)
    assert refused.status_code == 403
    assert refused.json()["detail"] == "This token may read only."
    assert not Job.objects.exists()


def test_a_token_opens_its_own_branch_only(branch, owner):
    other = builders.branch(name="Elsewhere", slug="elsewhere")
    Membership.objects.create(user=owner, branch=other, role=Role.OWNER)
    secret = secret_of(branch, owner)

    assert call(secret, f"week?branch={branch.slug}").status_code == 200
    assert call(secret, "week?branch=elsewhere").status_code == 404


@pytest.mark.parametrize("end", ["stopped", "run out", "its person left", "its person's role"])
def test_a_token_that_does_not_hold_any_more_is_refused_at_once(branch, owner, end):
    now = timezone.now()
    builders.user(of=branch, username="second", role=Role.OWNER)
    early = now - timedelta(days=8)
    secret = secret_of(branch, owner, days=7, now=early if end == "run out" else now)
    if end == "stopped":
        programs.stop_token(
            branch=branch, token_id=AccessToken.objects.get().pk, by=person(owner), now=now
        )
    if end == "its person left":
        owner.is_active = False
        owner.save()
    if end == "its person's role":
        Membership.objects.filter(user=owner).update(role=Role.READER)
        assert order(branch, secret).status_code == 403
        return

    answer = call(secret)

    assert answer.status_code == 401
    assert answer["WWW-Authenticate"].startswith("Bearer")
    assert answer.json()["detail"] == "This token is not known, was stopped or has run out."


@pytest.mark.parametrize("header", ["Bearer", "Bearer x", "Bearer " + "x" * 10_000, "Bearer é"])
def test_what_is_no_token_is_refused_in_a_sentence(branch, header):
    answer = Client().get("/api/v1/week", headers={"Authorization": header})

    assert answer.status_code == 401
    assert "not known" in answer.json()["detail"]


def test_only_the_digest_is_stored_and_the_page_shows_the_secret_once(branch, owner):
    client = Client()
    client.force_login(owner)

    shown = client.post(reverse("programs"), {"name": "Bookkeeping", "scope": "read", "days": "30"})
    secret = re.search(r"Bearer (slab_[\w-]+)", shown.text)[1]

    assert call(secret).status_code == 200
    assert secret not in client.get(reverse("programs")).text
    token = AccessToken.objects.get()
    assert secret not in str(vars(token))
    assert 29 <= (token.ends_at - timezone.now()).days <= 30
    client.post(reverse("program-stop", args=[token.pk]))
    assert call(secret).status_code == 401
    assert [each.action for each in AuditEvent.objects.filter(subject="token")] == ["make", "stop"]


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"name": " "}, "Please name the program"),
        ({"scope": "all"}, "choose what it may do"),
        ({"days": "9000"}, "1 to 730 days"),
        ({"days": "soon"}, "is not a count"),
    ],
)
def test_what_is_wrong_is_said_and_no_token_is_made(branch, owner, typed, sentence):
    client = Client()
    client.force_login(owner)

    answer = client.post(
        reverse("programs"), {"name": "Bookkeeping", "scope": "read", "days": "", **typed}
    )

    assert answer.status_code == 422
    assert sentence in answer.text
    assert not AccessToken.objects.exists()


def test_whoever_asks_too_often_is_told_when_to_ask_again(branch, owner, monkeypatch):
    monkeypatch.setattr(PerCaller, "rate", "3/min")
    secret, second = secret_of(branch, owner), secret_of(branch, owner)

    answers = [call(secret) for _ in range(4)]

    assert [each.status_code for each in answers] == [200, 200, 200, 429]
    assert 1 <= int(answers[-1]["Retry-After"]) <= 60
    assert answers[-1].json()["status"] == 429
    assert call(second).status_code == 200
