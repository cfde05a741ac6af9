"""The final call: decided once by a named person, with a reason where it overrules; else shown."""

from datetime import timedelta

import pytest

from dispatch.models import FinalCall, Notice, StoredVerdict
from dispatch.reads import needs
from dispatch.rules.final_call import Decision, call_moment
from dispatch.services import final_calls
from jobs.access import PROGRAM
from jobs.models import AuditEvent, Membership, Role
from jobs.refusals import Invalid, Refusal, Stale
from tests import builders
from tests.dispatch.test_bookings import MORNING, House, ask

pytestmark = pytest.mark.django_db(transaction=True)

EVENING = MORNING - timedelta(hours=14)  # 5 PM in Chicago, the day before


@pytest.fixture
def house(transactional_db) -> House:
    return House()


@pytest.fixture
def booking(house):
    return house.book(house.first, ask(house.north))


def judged(booking, level: str) -> StoredVerdict:
    (stint,) = booking.stints.all()
    stint.verdicts.update(latest=False)
    return StoredVerdict.objects.create(
        stint=stint, made_at=EVENING, level=level, headline="Rain 40 % at 3 PM.", latest=True
    )


def decide(house, booking, decision=Decision.KEEP, *, at=EVENING, by=None, **said):
    (stint,) = booking.stints.all()
    return final_calls.decide(
        branch=house.branch,
        stint_id=stint.pk,
        version=said.pop("version", booking.version),
        decision=decision,
        by=by or house.by,
        now=at,
        **said,
    )


def kinds(house, now):
    return [need.kind for need in needs.everything(house.branch, now=now)]


def test_a_decision_keeps_who_when_and_the_verdict_it_rests_on(house, booking):
    verdict = judged(booking, "go")

    call = decide(house, booking)

    assert (call.decision, call.by_name, call.at, call.verdict) == (
        "keep",
        house.by.name,
        EVENING,
        verdict,
    )
    assert not call.overrules
    assert AuditEvent.objects.filter(action__contains="final call").exists()


def test_against_the_verdict_only_with_a_reason(house, booking):
    judged(booking, "no")

    with pytest.raises(Invalid):
        decide(house, booking)
    call = decide(house, booking, why="The tent is up, the foreman has seen it.")

    assert call.overrules
    assert call.why == "The tent is up, the foreman has seen it."


def test_pressing_twice_decides_once(house, booking):
    judged(booking, "go")

    decide(house, booking)
    told = Notice.objects.count()
    decide(house, booking)

    assert FinalCall.objects.filter(stint__booking=booking).count() == 1
    assert Notice.objects.count() == told


def test_a_page_that_is_out_of_date_decides_nothing(house, booking):
    judged(booking, "go")

    with pytest.raises(Stale):
        decide(house, booking, version=booking.version + 1)
    assert not FinalCall.objects.exists()


def test_the_program_decides_nothing(house, booking):
    judged(booking, "go")

    with pytest.raises(Refusal):
        decide(house, booking, by=PROGRAM)


def test_what_nobody_decided_is_shown_once_the_hour_has_passed(house, booking):
    judged(booking, "go")
    hour = call_moment(MORNING.date(), at=house.branch.final_call_at, zone=house.branch.tz)

    assert "final" not in kinds(house, hour - timedelta(minutes=5))
    assert "final" in kinds(house, hour + timedelta(minutes=5))
    decide(house, booking, at=hour + timedelta(minutes=6))
    assert "final" not in kinds(house, hour + timedelta(minutes=7))


def test_the_page_shows_the_floor_and_takes_the_press(house, booking, client, monkeypatch):
    judged(booking, "go")
    (stint,) = booking.stints.all()
    client.force_login(builders.user(of=house.branch, role=Role.OFFICE))
    monkeypatch.setattr("django.utils.timezone.now", lambda: EVENING)

    page = client.get("/final-call/2026-06-02/")
    pressed = client.post(
        f"/final-call/{stint.pk}/decide/",
        {"decision": "keep", "version": booking.version, "why": ""},
    )

    assert page.status_code == 200
    assert b"Rain 40 % at 3 PM." in page.content
    assert pressed.status_code == 302
    assert FinalCall.objects.get().decision == "keep"
    assert b"On as planned" in client.get("/final-call/2026-06-02/").content


def test_a_stranger_and_a_reader_decide_nothing(house, booking, client):
    (stint,) = booking.stints.all()
    path = f"/final-call/{stint.pk}/decide/"
    said = {"decision": "keep", "version": booking.version}

    client.force_login(builders.user(of=house.branch, role=Role.READER))
    assert client.post(path, said).status_code == 403
    client.force_login(builders.user(of=builders.branch()))
    assert client.post(path, said).status_code == 404


def test_the_owner_names_who_decides(house, client):
    client.force_login(builders.user(of=house.branch, role=Role.OWNER, username="boss"))
    owner = Membership.objects.get(user__username="boss")

    client.post(
        "/final-call/people/",
        {"owner": owner.pk, "deputy": "", "call_at": "18:15", "check_at": "05:45"},
    )

    house.branch.refresh_from_db()
    assert house.branch.final_call_at.isoformat() == "18:15:00"
    assert b"boss decides" in client.get("/final-call/").content


def test_what_fell_against_what_was_called_has_a_page(house, client):
    client.force_login(builders.user(of=house.branch, role=Role.OFFICE))

    assert client.get("/called/").status_code == 200
