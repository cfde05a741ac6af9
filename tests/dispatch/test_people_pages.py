"""Who signs in, days off and one's own passphrase, on their pages."""

import re
from datetime import timedelta
from html import unescape

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from jobs.models import AuditEvent, Holiday, Membership, Role, User
from tests import builders
from tests.dispatch.days import book

pytestmark = pytest.mark.django_db(transaction=True)
NEW = {
    "full_name": "Bea Lund",
    "username": "bea",
    "role": "office",
    "password": "a long dry summer",
}


@pytest.fixture
def branch(transactional_db):
    return builders.branch()


@pytest.fixture
def owner(branch, client):
    client.force_login(builders.user(of=branch, username="owner", role=Role.OWNER))
    return client


def member(name):
    return Membership.objects.get(user__username=name)


def gives(client, name, role):
    return client.post(reverse("people-role", args=[member(name).pk]), {"role": role})


def test_the_owner_lets_somebody_sign_in_with_a_role(owner, branch):
    answer = owner.post(reverse("people"), NEW)

    assert answer.status_code == 302
    desk = Client()
    assert desk.login(username="bea", password="a long dry summer")
    assert desk.get("/").status_code == 200
    assert desk.get(reverse("people")).status_code == 403
    assert "Bea Lund" in owner.get(reverse("people")).text
    said = AuditEvent.objects.get(subject="member")
    assert (said.action, said.after) == ("add", {"sign_in": "bea", "role": "office"})


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"username": ""}, "Please name the sign-in"),
        ({"username": "owner"}, "There is already somebody"),
        ({"password": "short"}, "too short"),
        ({"role": "king"}, "Please choose a role"),
    ],
)
def test_what_is_wrong_is_said_and_nobody_is_let_in(owner, changed, sentence):
    answer = owner.post(reverse("people"), {**NEW, **changed})

    assert answer.status_code == 422
    assert sentence in unescape(answer.text)
    assert User.objects.count() == 1


def test_a_role_changes_at_once_in_an_open_browser(owner, branch):
    owner.post(reverse("people"), NEW)
    desk = Client()
    desk.login(username="bea", password="a long dry summer")

    gives(owner, "bea", "reader")

    assert desk.get("/").status_code == 200
    assert desk.post(reverse("days-off"), {}).status_code == 403


def test_whoever_left_every_branch_is_out_at_once(owner):
    owner.post(reverse("people"), NEW)
    desk = Client()
    desk.login(username="bea", password="a long dry summer")

    gives(owner, "bea", "none")

    assert desk.get("/")["Location"].startswith("/sign-in/")
    assert not Client().login(username="bea", password="a long dry summer")
    assert User.objects.filter(username="bea").exists()  # what they did keeps its name


@pytest.mark.parametrize("role", ["office", "none"])
def test_a_branch_keeps_an_owner(owner, role):
    answer = gives(owner, "owner", role)

    assert "A branch needs an owner" in answer.text
    assert member("owner").role == Role.OWNER


def test_an_owner_cannot_touch_another_branch(owner):
    other = builders.user(of=builders.branch(name="Elsewhere"), username="other", role=Role.OWNER)

    answer = gives(owner, "other", "reader")

    assert answer.status_code == 404
    assert Membership.objects.get(user=other).role == Role.OWNER


def test_a_day_off_is_entered_shown_and_worked_on_after_all(owner, branch):
    day = branch.today(timezone.now()) + timedelta(days=40)

    owner.post(reverse("days-off"), {"day": str(day), "name": "Company outing"})
    version = type(branch).objects.get(pk=branch.pk).calendar_version
    held = Holiday.objects.get(branch=branch)
    assert "Company outing" in owner.get(reverse("days-off")).text
    owner.post(reverse("work-on", args=[held.pk]))

    assert not Holiday.objects.exists()
    branch.refresh_from_db()
    assert branch.calendar_version > version > 0
    assert [each.action for each in AuditEvent.objects.filter(subject="holiday")] == [
        "add",
        "remove",
    ]


def test_what_is_booked_on_a_day_off_is_told(owner, branch):
    now = timezone.now()
    day = branch.today(now) + timedelta(days=9)
    start = branch.at(day, branch.day_starts)
    book(branch, builders.crew(of=branch), start, now=now)

    answer = owner.post(reverse("days-off"), {"day": str(day), "name": "Outing"}, follow=True)

    assert "Booked on it already: 1. Please move those." in answer.text


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"day": "", "name": "Outing"}, "Please fill this in."),
        ({"day": "soon", "name": "Outing"}, "is not a day"),
        ({"day": "2001-01-01", "name": "Outing"}, "between today and two years"),
        ({"day": None, "name": " "}, "Please fill this in."),
    ],
)
def test_a_day_off_that_cannot_be_is_refused_beside_what_was_typed(owner, branch, typed, sentence):
    day = typed["day"]
    if day is None:
        day = str(branch.today(timezone.now()) + timedelta(days=3))

    answer = owner.post(reverse("days-off"), {**typed, "day": day})

    assert answer.status_code == 422
    assert sentence in answer.text
    assert not Holiday.objects.exists()


def test_one_changes_ones_own_passphrase_and_cannot_guess_the_old_one(branch):
    builders.user(of=branch, username="desk", role=Role.OFFICE)
    desk = Client()
    desk.login(username="desk", password=builders.PASSWORD)
    path = reverse("passphrase")
    new = {"new_password1": "a warm slab in May", "new_password2": "a warm slab in May"}

    tries = [desk.post(path, {"old_password": "?", **new}).status_code for _ in range(6)]

    assert tries == [200] * 5 + [429]
    assert Client().get(path)["Location"].startswith("/sign-in/")


def test_a_changed_passphrase_opens_the_door(branch):
    builders.user(of=branch, username="desk", role=Role.OFFICE)
    desk = Client()
    desk.login(username="desk", password=builders.PASSWORD)
    sent = {"old_password": builders.PASSWORD, "new_password1": "a warm slab in May"}

    answer = desk.post(reverse("passphrase"), {**sent, "new_password2": "a warm slab in May"})

    assert answer.status_code == 302
    assert Client().login(username="desk", password="a warm slab in May")


def test_whoever_works_in_two_branches_changes_between_them(owner, branch):
    other = builders.branch(name="Elsewhere")
    Membership.objects.create(user=User.objects.get(username="owner"), branch=other, role="owner")
    shown = owner.get(reverse("settings")).text
    named = re.search(r'name="branch" value="(\d+)">Work in ([^<]+)<', shown)

    owner.post(reverse("choose-branch"), {"branch": named[1]})

    assert f"You work in {named[2]}" in owner.get(reverse("settings")).text
    strange = builders.branch(name="Strange")
    owner.post(reverse("choose-branch"), {"branch": strange.pk})
    assert f"You work in {named[2]}" in owner.get(reverse("settings")).text


@pytest.mark.parametrize(("role", "books"), [("office", True), ("reader", False)])
def test_the_frame_leads_nobody_to_a_page_they_may_not_open(branch, role, books):
    client = Client()
    client.force_login(builders.user(of=branch, username="x", role=Role(role)))

    for path in ("/", reverse("passphrase")):
        shown = client.get(path).text
        for name in ("plans", "quick-answer", "take-in"):
            assert (f'<a href="{reverse(name)}"' in shown) is books, name
