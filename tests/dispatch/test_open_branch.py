"""An empty installation becomes one with a branch that can book its first floor."""

import io

import pytest
from django.core.management import CommandError, call_command

from dispatch.models import Crew, Machine
from jobs.models import Branch, CoatingSystem, Holiday, Membership

pytestmark = pytest.mark.django_db(transaction=True)

GIVEN = {
    "company": "Level Best Floors",
    "name": "Peoria",
    "depot": "1 Depot Road, Peoria, IL",
    "postal_code": "61602",
    "owner": "ana",
    "crew": ["North: Ana Ruiz, Ben Cole", "South: Cy Day, Di Eck"],
    "grinders": 2,
}


def opened(monkeypatch, *, typed: str = "a slab of one's own", **changed) -> str:
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{typed}\n"))
    out = io.StringIO()
    call_command("open_branch", stdout=out, **{**GIVEN, **changed})
    return out.getvalue()


def test_a_branch_opens_with_everything_a_first_booking_needs(client, monkeypatch):
    said = opened(monkeypatch)

    branch = Branch.objects.get()
    assert "Peoria is open" in said
    assert branch.zone == "America/Chicago"
    assert CoatingSystem.objects.filter(branch=branch).count() >= 4
    assert Holiday.objects.filter(branch=branch, name__contains="Christmas").exists()
    assert {crew.memberships.count() for crew in Crew.objects.all()} == {2}
    assert Machine.objects.count() == 2
    assert Membership.objects.get().role == "owner"
    assert client.login(username="ana", password="a slab of one's own")
    assert client.get("/").status_code == 200


def test_a_place_outside_the_united_states_is_given_by_hand(monkeypatch):
    opened(
        monkeypatch,
        postal_code=None,
        latitude="59.91",
        longitude="10.75",
        zone="Europe/Oslo",
        country="NO",
        units="metric",
    )

    assert Branch.objects.get().zone == "Europe/Oslo"
    assert Holiday.objects.filter(day__month=5, day__day=17).exists()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"postal_code": "00000"}, "No US postal code 00000"),
        ({"postal_code": None}, "Please give the depot's US postal code"),
        ({"typed": "short"}, "too short"),
        ({"crew": ["North"]}, "A crew is written"),
        ({"name": "!!"}, "needs a name of its own"),
        ({"owner": " "}, "name the sign-in"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_opened(monkeypatch, changed, sentence):
    with pytest.raises(CommandError, match=sentence):
        opened(monkeypatch, **changed)

    assert not Branch.objects.exists()


def test_a_second_branch_of_the_same_name_is_refused(monkeypatch):
    opened(monkeypatch)

    with pytest.raises(CommandError, match="already somebody who signs in as ana"):
        opened(monkeypatch)
    with pytest.raises(CommandError, match="name of its own"):
        opened(monkeypatch, owner="bea")
