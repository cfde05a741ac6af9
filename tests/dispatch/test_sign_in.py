"""Signing in: right words open the week, guessing is stopped before a password is hashed."""

from datetime import timedelta

import pytest
from django.utils import timezone

from jobs.services import sign_in
from tests import builders
from tests.builders import NOW, PASSWORD
from tests.racing import race

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def user(transactional_db):
    return builders.user(of=builders.branch(), username="ana")


def enter(client, password: str, username: str = "ana"):
    return client.post("/sign-in/", {"username": username, "password": password})


def test_the_right_password_opens_the_week(client, user):
    assert enter(client, PASSWORD)["Location"] == "/"


def test_a_wrong_password_is_said_without_telling_which_part_was_wrong(client, user):
    known = enter(client, "wrong").content.decode()
    unknown = enter(client, "wrong", username="nobody").content.decode()

    assert "correct username and password" in known
    assert "correct username and password" in unknown


def test_after_five_wrong_tries_even_the_right_one_waits(client, user):
    for _ in range(sign_in.TRIES_AN_ACCOUNT):
        enter(client, "wrong")

    answer = enter(client, PASSWORD)

    assert answer.status_code == 429
    assert int(answer["Retry-After"]) > 0
    assert "Too many tries" in answer.content.decode()


def test_a_success_forgets_earlier_slips(client, user):
    for _ in range(sign_in.TRIES_AN_ACCOUNT - 1):
        enter(client, "wrong")
    enter(client, PASSWORD)
    client.post("/sign-out/")

    for _ in range(sign_in.TRIES_AN_ACCOUNT - 1):
        assert enter(client, "wrong").status_code == 200


def test_of_thirty_guesses_in_the_same_instant_five_get_through(user):
    now = timezone.now()

    answers = race(30, lambda n: sign_in.claim_try(username="ana", address=f"10.0.0.{n}", now=now))

    assert [code for code, _ in answers].count("ok") == sign_in.TRIES_AN_ACCOUNT
    assert {code for code, _ in answers} == {"ok", "too_many_tries"}


def test_many_accounts_from_one_address_are_stopped_as_well(user):
    for number in range(sign_in.TRIES_AN_ADDRESS):
        sign_in.claim_try(username=f"guess{number}", address="10.0.0.1", now=NOW)

    with pytest.raises(sign_in.TooManyTries):
        sign_in.claim_try(username="another", address="10.0.0.1", now=NOW)
    sign_in.claim_try(username="another", address="10.0.0.2", now=NOW + timedelta(minutes=1))


def test_signing_in_never_leads_to_another_host(client, user):
    answer = client.post(
        "/sign-in/?next=//evil.example/", {"username": "ana", "password": PASSWORD}
    )

    assert answer["Location"] == "/"
