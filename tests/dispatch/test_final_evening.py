"""The evening and the morning after it: every day of the week, and nothing turns by itself."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from dispatch.models import FinalCall, Notice, NoticeKind, StoredVerdict
from dispatch.reads import needs
from dispatch.reads.last_word import customer_word, final_word
from dispatch.rules.final_call import Decision, call_moment
from dispatch.services import final_calls, verdicts
from jobs.models import AuditEvent, FinalCallDuty, Membership, Role
from jobs.refusals import Invalid, NotFound, Refusal
from tests import builders
from tests.dispatch.test_bookings import MORNING, House, ask

pytestmark = pytest.mark.django_db(transaction=True)

CHICAGO = ZoneInfo("America/Chicago")
CALL_AT = datetime(2026, 6, 1, 17, 30, tzinfo=CHICAGO)
CHECK_AT = datetime(2026, 6, 2, 5, 30, tzinfo=CHICAGO)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def house(transactional_db) -> House:
    return House()


@pytest.fixture
def stint(house):
    return house.book(house.first, ask(house.north)).stints.get()


def judged(stint, level: str, *, at: datetime, headline: str = "Rain 40 % at 3 PM.") -> None:
    stint.verdicts.update(latest=False)
    StoredVerdict.objects.create(
        stint=stint, made_at=at, level=level, headline=headline, latest=True
    )


def decide(house, stint, decision=Decision.KEEP, *, at=CALL_AT, **said):
    stint.refresh_from_db()
    return final_calls.decide(
        branch=house.branch, stint_id=stint.pk, version=stint.booking.version, decision=decision,
        by=house.by, now=at, **said,
    )  # fmt: skip


def shown(house, *, at: datetime) -> dict[str, needs.Need]:
    return {need.kind: need for need in needs.everything(house.branch, now=at)}


@pytest.mark.parametrize("day", range(8, 15))
def test_every_day_is_decided_the_evening_before_a_sunday_as_any_other(day):
    moment = call_moment(date(2026, 6, day), at=time(17, 30), zone=CHICAGO)

    assert moment == datetime(2026, 6, day - 1, 17, 30, tzinfo=CHICAGO)


def test_the_evening_before_a_clock_change_keeps_its_hour_on_the_wall():
    # Energy Policy Act of 2005: clocks go forward on the second Sunday of March, the 8th in 2026.
    moment = call_moment(date(2026, 3, 9), at=time(17, 30), zone=CHICAGO)

    assert (moment.hour, moment.minute) == (17, 30)
    assert moment.utcoffset() == timedelta(hours=-5)
    before = call_moment(date(2026, 3, 8), at=time(17, 30), zone=CHICAGO)
    assert before.utcoffset() == timedelta(hours=-6)


def test_a_monday_nobody_decided_is_a_need_on_sunday_evening(house):
    monday = MORNING + timedelta(days=6)
    booking = house.book(house.first, ask(house.north, start=monday))
    sunday = datetime(2026, 6, 7, 17, 31, tzinfo=CHICAGO)

    need = shown(house, at=sunday)["final"]

    assert need.booking == booking.pk
    assert "not decided" in need.title
    assert "final" not in shown(house, at=sunday - 2 * MINUTE)


def test_a_crew_reads_that_nobody_decided_and_not_that_it_is_on(house, stint):
    judged(stint, "go", at=CALL_AT)

    waits, missed = (final_word(stint, now=at) for at in (CALL_AT - MINUTE, CALL_AT + MINUTE))

    assert waits.text == "The final call comes Mon Jun 1, 5:30 PM."
    assert missed.text == "Not decided yet; ring the office."
    assert missed.level == "no"
    assert customer_word(stint.booking, now=CALL_AT + MINUTE) == ()


def test_the_morning_check_shows_what_turned_and_changes_nothing(house, stint):
    judged(stint, "go", at=CALL_AT - MINUTE)
    decide(house, stint)
    judged(stint, "no", at=CALL_AT + timedelta(hours=6))

    assert "morning" not in shown(house, at=CHECK_AT - MINUTE)
    need = shown(house, at=CHECK_AT)["morning"]

    assert need.level == "no"
    assert "The verdict was go at the final call and is no" in need.reason
    assert "stands until you change it" in need.reason
    assert FinalCall.objects.get(stint=stint).decision == Decision.KEEP


def test_a_verdict_that_says_the_same_asks_nobody_in_the_morning(house, stint):
    judged(stint, "go", at=CALL_AT - MINUTE)
    decide(house, stint)
    judged(stint, "go", at=CALL_AT + timedelta(hours=6))

    assert "morning" not in shown(house, at=CHECK_AT)


def test_after_the_call_no_forecast_changes_the_day_the_word_or_the_mails(house, stint):
    place = house.branch.depot_place
    builders.forecast(at=place, start=CALL_AT - timedelta(days=16), count=24 * 26,
                      issued_at=CALL_AT - timedelta(hours=1))  # fmt: skip
    verdicts.judge_booking(stint.booking, now=CALL_AT)
    decide(house, stint, why="The foreman has seen the slab.")
    word = final_word(stint, now=CALL_AT)
    told = Notice.objects.exclude(kind=NoticeKind.DRIVE_ON_LATER).count()
    day = (stint.start, stint.end, stint.crew_id, stint.state)

    for number in range(1, 5):
        at = CALL_AT + timedelta(hours=number)
        builders.forecast(
            at=place, start=CALL_AT - timedelta(days=16), count=24 * 26, issued_at=at,
            rain_chance_pct=90.0 * (number % 2),
        )  # fmt: skip
        verdicts.judge_open(now=at)
        stint.refresh_from_db()
        assert final_word(stint, now=at) == word

    assert stint.verdicts.count() > 1
    assert (stint.start, stint.end, stint.crew_id, stint.state) == day
    assert Notice.objects.exclude(kind=NoticeKind.DRIVE_ON_LATER).count() == told
    assert FinalCall.objects.filter(stint=stint).count() == 1


def test_only_a_person_with_a_reason_changes_it_and_the_first_word_is_kept(house, stint):
    judged(stint, "go", at=CALL_AT - MINUTE)
    decide(house, stint)

    with pytest.raises(Invalid, match=r"has decided .*say why it changes"):
        decide(house, stint, Decision.PREPARE_ONLY, at=CHECK_AT)
    decide(house, stint, Decision.PREPARE_ONLY, at=CHECK_AT, why="Thunder at dawn.")

    first, second = FinalCall.objects.filter(stint=stint).order_by("pk")
    assert (first.decision, first.latest) == ("keep", False)
    assert (second.decision, second.latest, second.why) == (
        "prepare_only",
        True,
        "Thunder at dawn.",
    )
    event = AuditEvent.objects.filter(action="final call").latest("pk")
    assert event.before["decision"] == "keep"
    assert event.after["decision"] == "prepare_only"
    assert event.why == "Thunder at dawn."


def test_a_go_that_turns_is_rung_first_and_mailed_half_an_hour_later(house, stint):
    judged(stint, "go", at=CALL_AT - MINUTE)
    decide(house, stint)

    decide(house, stint, Decision.PREPARE_ONLY, at=CHECK_AT, why="Thunder at dawn.")

    waiting = Notice.objects.filter(kind=NoticeKind.FINAL_CALL, state="pending").get()
    assert waiting.due_at == CHECK_AT + timedelta(minutes=30)
    ring = shown(house, at=CHECK_AT + MINUTE)["ring"]
    assert ring.telephone == house.first.customer.telephone
    assert ring.answer_pk == waiting.pk
    assert "ring" not in shown(house, at=CHECK_AT + timedelta(minutes=31))


def test_too_early_and_too_late_nothing_is_decided(house, stint):
    judged(stint, "go", at=CALL_AT)

    with pytest.raises(Refusal, match="until then it may turn"):
        decide(house, stint, at=CALL_AT - timedelta(days=2))
    with pytest.raises(Refusal, match="is over"):
        decide(house, stint, at=CALL_AT + timedelta(days=2))
    assert not FinalCall.objects.exists()


def test_a_deputy_stands_in_under_a_name_of_their_own(house, stint, client, monkeypatch):
    people = [
        Membership.objects.get(
            user=builders.user(of=house.branch, role=role, username=name), branch=house.branch
        )
        for name, role in (("boss", Role.OWNER), ("vera", Role.OFFICE))
    ]
    asked = {"call_at": time(17, 30), "check_at": time(5, 30), "by": house.by, "now": CALL_AT}
    boss, vera = (each.pk for each in people)

    with pytest.raises(Invalid, match="Somebody else"):
        final_calls.name_people(branch=house.branch, owner_id=boss, deputy_id=boss, **asked)
    stranger = Membership.objects.get(user=builders.user(of=builders.branch()))
    with pytest.raises(NotFound):
        final_calls.name_people(branch=house.branch, owner_id=stranger.pk, deputy_id=vera, **asked)
    final_calls.name_people(branch=house.branch, owner_id=boss, deputy_id=vera, **asked)

    duties = Membership.objects.filter(branch=house.branch).exclude(final_call="")
    assert {each.final_call: each.pk for each in duties} == {
        FinalCallDuty.OWNER: boss,
        FinalCallDuty.DEPUTY: vera,
    }
    judged(stint, "go", at=CALL_AT - MINUTE)
    monkeypatch.setattr("django.utils.timezone.now", lambda: CALL_AT)
    client.force_login(people[1].user)
    said = {"decision": "keep", "version": stint.booking.version}
    assert client.post(f"/final-call/{stint.pk}/decide/", said).status_code == 302
    assert FinalCall.objects.get().by_name == "vera"
    assert b"boss decides, vera stands in" in client.get("/final-call/2026-06-02/").content


LATER = MORNING + timedelta(days=2)


def move_away(house, stint, *crews, **said):
    stint.refresh_from_db()
    return final_calls.move_away(
        branch=house.branch, stint_id=stint.pk, version=stint.booking.version,
        ask=ask(*(crews or (house.north,)), start=LATER), by=house.by, now=CALL_AT, **said,
    )  # fmt: skip


def test_a_floor_moved_at_the_call_keeps_the_verdict_that_moved_it(house, stint):
    judged(stint, "no", at=CALL_AT - MINUTE, headline="Rain 70 % from 2 PM.")
    verdict = stint.verdicts.get(latest=True)

    moved = move_away(house, stint)

    stint.refresh_from_db()
    assert stint.start == LATER
    assert moved.moves == 1
    call = FinalCall.objects.get(stint=stint)
    assert (call.decision, call.day, call.verdict) == ("move", MORNING.date(), verdict)
    assert call.why == "Rain 70 % from 2 PM."


@pytest.mark.parametrize("trouble", ["no reason", "a taken crew", "a crash"])
def test_the_move_and_its_word_are_kept_both_or_neither(house, stint, trouble, monkeypatch):
    judged(stint, "go" if trouble == "no reason" else "no", at=CALL_AT - MINUTE)
    crew, refusal = house.north, Refusal
    if trouble == "a taken crew":
        crew = house.south
        house.book(house.second, ask(house.south, start=LATER))
    if trouble == "a crash":

        def crash(*_, **__):
            raise RuntimeError("the machine stops")

        monkeypatch.setattr(final_calls, "_write", crash)
        refusal = RuntimeError
    told = Notice.objects.count()

    with pytest.raises(refusal):
        move_away(house, stint, crew)

    stint.refresh_from_db()
    assert (stint.start, stint.booking.moves) == (MORNING, 0)
    assert not FinalCall.objects.exists()
    assert Notice.objects.count() == told
