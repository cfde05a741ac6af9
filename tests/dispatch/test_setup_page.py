"""The page of an empty installation: only with its code, only once, and nothing half done."""

import io

import pytest
from django.core.management import CommandError, call_command

from dispatch.models import Crew, Machine
from jobs.models import Branch, Membership, User

pytestmark = pytest.mark.django_db(transaction=True)

GIVEN = {
    "company": "Level Best Floors",
    "name": "Peoria",
    "depot": "1 Depot Road, Peoria, IL",
    "postal_code": "61602",
    "units": "us",
    "country": "US",
    "crews": "North: Ana Ruiz, Ben Cole\nSouth: Cy Day, Di Eck\n",
    "grinders": "2",
    "owner": "ana",
    "password": "a slab of one's own",
    "again": "a slab of one's own",
}


def code():
    out = io.StringIO()
    call_command("setup_code", stdout=out)
    return out.getvalue().strip()


def typed(client, **changed):
    return client.post("/set-up/", {"code": code(), **GIVEN, **changed})


def test_an_empty_installation_leads_to_its_set_up(client):
    answer = client.get("/", follow=True)

    assert answer.request["PATH_INFO"] == "/set-up/"
    assert "Set-up code" in answer.text


def test_the_first_office_opens_and_its_owner_is_signed_in(client):
    answer = typed(client)

    assert answer.status_code == 302, answer.text
    branch = Branch.objects.get()
    assert (branch.company, branch.zone) == ("Level Best Floors", "America/Chicago")
    assert {crew.memberships.count() for crew in Crew.objects.all()} == {2}
    assert Machine.objects.count() == 2
    assert Membership.objects.get().role == "owner"
    shown = client.get(answer["Location"])
    assert "Check every coating system" in shown.text
    assert "Ana Ruiz" in shown.text


def test_afterwards_it_is_a_way_to_sign_in_and_gives_no_code(client):
    typed(client)
    client.logout()

    assert client.get("/set-up/")["Location"] == "/sign-in/"
    assert client.post("/set-up/", {**GIVEN, "code": "x"})["Location"] == "/sign-in/"
    with pytest.raises(CommandError, match="set up already"):
        code()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"code": "0" * 20}, "not the set-up code"),
        ({"code": ""}, "Please fill this in."),
        ({"company": " "}, "Please fill this in."),
        ({"again": "another one"}, "The two passphrases differ."),
        ({"password": "short", "again": "short"}, "too short"),
        ({"postal_code": "00000"}, "No US postal code 00000"),
        ({"postal_code": ""}, "give the depot"),
        ({"crews": "North"}, "A crew is written"),
        ({"crews": "North: Ana\nnorth: Ben"}, "Two crews are called"),
        ({"grinders": "200"}, "20 grinders at most"),
        ({"country": "Norway"}, "A country has two letters"),
        ({"email": "ana at home"}, "is not an e-mail address"),
        ({"owner": "ana ruiz"}, "without a space"),
        ({"units": "furlongs"}, "choose the units"),
        ({"name": "\x00"}, "needs a name of its own"),
    ],
)
def test_what_is_wrong_is_said_beside_what_was_typed_and_nothing_is_opened(
    client, changed, sentence
):
    answer = typed(client, **changed)

    assert answer.status_code == 422
    assert sentence in answer.text.replace("&#x27;", "'")
    assert not Branch.objects.exists()
    assert not User.objects.exists()
    assert "1 Depot Road" in answer.text


def test_codes_cannot_be_guessed_at_leisure(client):
    answers = [typed(client, code="0" * 20).status_code for _ in range(6)]

    assert answers == [422] * 5 + [429]
    assert typed(client).status_code == 429
