"""Booking, moving and calling off: claims, calendar, audit and notices stand or fall together."""

from datetime import datetime, timedelta

import pytest
from django.contrib.auth.models import AnonymousUser
from django.db import OperationalError, connection

from dispatch.models import (
    Booking,
    BookingState,
    CalendarEntry,
    Claim,
    Crew,
    EntryStatus,
    Machine,
    Notice,
    NoticeKind,
    Stint,
)
from dispatch.rules.asking import Ask, PlannedStint, Promised
from dispatch.rules.firmness import Firmness
from dispatch.services import bookings, changing
from dispatch.services.claims import SlotTaken
from jobs.idempotency import KeyReused
from jobs.models import AuditEvent, Branch, Customer, Floor, Job, JobState, Site
from jobs.refusals import NotFound, Refusal, Stale
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db(transaction=True)

MORNING = datetime.fromisoformat("2026-06-02T12:00+00:00")  # Tuesday, 7 AM in Chicago


def ask(
    *crews: object,
    start: datetime = MORNING,
    hours: float = 8,
    machines: tuple[object, ...] = (),
    level: Firmness = Firmness.CONFIRMED,
    key: str = "",
    held_until: datetime | None = None,
) -> Ask:
    stints = tuple(
        PlannedStint(
            crew_id=crew.pk,
            start=start + timedelta(days=n),
            end=start + timedelta(days=n, hours=hours),
            machine_ids=tuple(machine.pk for machine in machines),
        )
        for n, crew in enumerate(crews)
    )
    walk_on = start + timedelta(hours=hours + 8)
    promised = Promised(level=level, walk_on_at=walk_on, drive_on_at=walk_on + timedelta(days=1))
    return Ask(stints=stints, promised=promised, key=key, held_until=held_until)


class House:
    """One branch with two crews, a grinder and two waiting jobs."""

    def __init__(self) -> None:
        self.branch = builders.branch()
        self.by = builders.actor(of=self.branch)
        self.north = builders.crew(of=self.branch, name="North")
        self.south = builders.crew(of=self.branch, name="South")
        self.grinder = builders.machine(of=self.branch, name="Big grinder")
        self.first = builders.job(of=self.branch)
        self.second = builders.job(of=self.branch)

    def book(self, job: object, wanted: Ask, branch: Branch | None = None) -> object:
        return bookings.book(
            branch=branch or self.branch,
            job_id=job.pk,
            version=job.version,
            ask=wanted,
            by=self.by,
            now=NOW,
        )


@pytest.fixture
def house(transactional_db: None) -> House:
    return House()


def test_a_booking_claims_the_crew_its_people_and_its_machine(house):
    house.book(house.first, ask(house.north, machines=(house.grinder,)))

    claimed = set(Claim.objects.values_list("resource__label", flat=True))
    people = {m.installer.name for m in house.north.memberships.all()}
    assert claimed == {"North", "Big grinder"} | people
    assert Claim.objects.filter(resource=house.north.resource).count() == 8 * 4


def test_a_booking_leaves_audit_notice_and_calendar_entries(house):
    booking = house.book(house.first, ask(house.north))

    event = AuditEvent.objects.get(subject="booking", subject_id=booking.pk)
    assert (event.action, event.actor) == ("book", house.by.user)
    assert Notice.objects.filter(booking=booking, kind=NoticeKind.BOOKED).count() == 1
    audiences = set(CalendarEntry.objects.values_list("audience", flat=True))
    assert audiences == {f"crew:{house.north.pk}", f"branch:{house.branch.pk}", "customer"}


def test_a_second_booking_of_the_same_crew_is_told_who_has_it(house):
    house.book(house.first, ask(house.north))

    with pytest.raises(SlotTaken, match=r"North is already booked Tue Jun 2, 7:00 AM to 3:00 PM"):
        house.book(house.second, ask(house.north, start=MORNING + timedelta(hours=7)))

    house.second.refresh_from_db()
    assert house.second.state == JobState.WAITING
    assert not house.second.bookings.exists()


def test_two_crews_cannot_have_one_grinder(house):
    house.book(house.first, ask(house.north, machines=(house.grinder,)))

    with pytest.raises(SlotTaken, match="Big grinder is already booked"):
        house.book(house.second, ask(house.south, machines=(house.grinder,)))


def test_a_person_who_changed_crew_is_still_in_one_place(house):
    lent = house.north.memberships.first().installer
    house.south.memberships.create(installer=lent, from_day=MORNING.date())

    house.book(house.first, ask(house.north))

    with pytest.raises(SlotTaken, match=lent.name):
        house.book(house.second, ask(house.south))


def test_bookings_that_only_touch_are_allowed(house):
    house.book(house.first, ask(house.north, hours=4))
    house.book(house.second, ask(house.north, start=MORNING + timedelta(hours=4), hours=4))

    assert Claim.objects.filter(resource=house.north.resource).count() == 8 * 4


def test_somebody_who_is_away_cannot_be_booked(house):
    ill = house.north.memberships.first().installer
    builders.absence(who=ill.resource, start=MORNING, end=MORNING + timedelta(hours=2))

    with pytest.raises(SlotTaken, match=f"{ill.name} is away"):
        house.book(house.first, ask(house.north))


def test_a_move_keeps_the_calendar_identity_and_raises_its_sequence(house):
    booking = house.book(house.first, ask(house.north))
    before = CalendarEntry.objects.get(audience=f"crew:{house.north.pk}")

    moved = bookings.move(
        branch=house.branch,
        booking_id=booking.pk,
        version=booking.version,
        ask=ask(house.north, start=MORNING + timedelta(days=2)),
        by=house.by,
        now=NOW + timedelta(minutes=5),
    )

    after = CalendarEntry.objects.get(audience=f"crew:{house.north.pk}")
    assert (after.uid, after.sequence) == (before.uid, before.sequence + 1)
    assert after.start == MORNING + timedelta(days=2)
    assert moved.moves == 1
    assert Claim.objects.filter(resource=house.north.resource).count() == 8 * 4


def test_a_floor_given_to_another_crew_is_called_off_in_the_first_crews_calendar(house):
    booking = house.book(house.first, ask(house.north))

    bookings.move(
        branch=house.branch,
        booking_id=booking.pk,
        version=booking.version,
        ask=ask(house.south),
        by=house.by,
        now=NOW,
    )

    north = CalendarEntry.objects.get(audience=f"crew:{house.north.pk}")
    south = CalendarEntry.objects.get(audience=f"crew:{house.south.pk}")
    assert (north.status, north.sequence) == (EntryStatus.CANCELLED, 1)
    assert (south.status, south.sequence) == (EntryStatus.CONFIRMED, 0)
    assert north.uid != south.uid


def test_two_crews_can_swap_days_in_two_moves_without_being_in_two_places(house):
    one = house.book(house.first, ask(house.north))
    house.book(house.second, ask(house.south))

    with pytest.raises(SlotTaken):
        bookings.move(
            branch=house.branch,
            booking_id=one.pk,
            version=one.version,
            ask=ask(house.south),
            by=house.by,
            now=NOW,
        )

    one.refresh_from_db()
    assert one.stints.get().crew == house.north
    assert Claim.objects.filter(resource=house.north.resource).count() == 8 * 4


def test_calling_off_frees_the_time_and_puts_the_floor_back_in_line(house):
    booking = house.book(house.first, ask(house.north))

    bookings.call_off(
        branch=house.branch,
        booking_id=booking.pk,
        version=booking.version,
        by=house.by,
        now=NOW,
        why="Rain from noon",
    )

    house.first.refresh_from_db()
    booking.refresh_from_db()
    assert house.first.state == JobState.WAITING
    assert booking.state == BookingState.CALLED_OFF
    assert not Claim.objects.exists()
    entries = CalendarEntry.objects.all()
    assert {entry.status for entry in entries} == {EntryStatus.CANCELLED}
    assert all(entry.summary.startswith("NOT ON") for entry in entries)
    house.book(house.first, ask(house.north))  # and it can be booked again


def test_a_change_by_somebody_else_makes_the_old_page_stale(house):
    booking = house.book(house.first, ask(house.north))
    old = booking.version
    bookings.confirm(branch=house.branch, booking_id=booking.pk, version=old, by=house.by, now=NOW)

    with pytest.raises(Stale, match="changed by somebody else"):
        bookings.call_off(
            branch=house.branch,
            booking_id=booking.pk,
            version=old,
            by=house.by,
            now=NOW,
            why="x",
        )


def test_a_job_that_somebody_changed_is_not_booked_from_the_old_page(house):
    Job.objects.filter(pk=house.first.pk).update(version=house.first.version + 1)

    with pytest.raises(Stale, match="Ada Fields was changed by somebody else"):
        house.book(house.first, ask(house.north))

    assert not house.first.bookings.exists()


def test_a_job_with_an_open_booking_is_not_booked_again(house):
    house.book(house.first, ask(house.north))
    house.first.refresh_from_db()

    with pytest.raises(bookings.AlreadyBooked, match="already has a booking"):
        house.book(house.first, ask(house.south))

    # Whatever the job itself says of its state, the booking that stands decides.
    Job.objects.filter(pk=house.first.pk).update(state=JobState.WAITING)
    with pytest.raises(bookings.AlreadyBooked):
        house.book(house.first, ask(house.south))


@pytest.mark.parametrize("state", [JobState.DONE, JobState.CALLED_OFF])
def test_a_job_that_waits_no_longer_is_not_booked(house, state):
    Job.objects.filter(pk=house.first.pk).update(state=state)

    with pytest.raises(bookings.AlreadyBooked):
        house.book(house.first, ask(house.north))


def test_a_repeated_request_makes_one_booking(house):
    wanted = ask(house.north, key="press-1")

    first = house.book(house.first, wanted)
    again = house.book(house.first, wanted)

    assert first.pk == again.pk
    assert house.first.bookings.count() == 1


def test_a_key_used_for_something_else_is_refused(house):
    house.book(house.first, ask(house.north, key="press-1"))

    with pytest.raises(KeyReused):
        house.book(house.second, ask(house.south, key="press-1"))


def test_another_branch_finds_neither_job_nor_crew_nor_booking(house):
    other = House()
    booking = house.book(house.first, ask(house.north))

    with pytest.raises(NotFound):
        other.book(house.second, ask(other.north))
    with pytest.raises(NotFound):
        other.book(other.first, ask(house.south))
    with pytest.raises(NotFound, match="no such machine"):
        other.book(other.first, ask(other.north, machines=(house.grinder,)))
    with pytest.raises(NotFound):
        bookings.confirm(
            branch=other.branch, booking_id=booking.pk, version=1, by=other.by, now=NOW
        )


def test_a_member_of_one_branch_is_shown_nothing_of_another(house):
    other = House()
    house.book(house.first, ask(house.north))
    other.book(other.first, ask(other.north))

    for table in (Job, Customer, Site, Floor, Crew, Machine, Booking, Stint, Notice, AuditEvent):
        mine = set(table.objects.of_branch(house.branch))
        theirs = set(table.objects.of_branch(other.branch))
        assert mine, table
        assert not mine & theirs, table
        assert set(table.objects.visible_to(house.by.user)) == mine, table
        assert not table.objects.visible_to(AnonymousUser()).exists(), table


def test_somebody_who_was_let_go_is_shown_nothing(house):
    house.by.user.is_active = False

    assert not Job.objects.visible_to(house.by.user).exists()


def test_a_hold_lapses_by_itself_and_says_nothing_to_the_customer(house):
    held = house.book(house.first, ask(house.north, held_until=NOW + timedelta(minutes=30)))

    assert bookings.lapse_holds(now=NOW + timedelta(minutes=29)) == 0
    assert bookings.lapse_holds(now=NOW + timedelta(minutes=30)) == 1
    assert bookings.lapse_holds(now=NOW + timedelta(minutes=31)) == 0

    held.refresh_from_db()
    assert held.state == BookingState.CALLED_OFF
    assert not Notice.objects.filter(audience="customer").exists()


def test_a_promise_moves_later_by_itself_but_never_earlier(house):
    booking = house.book(house.first, ask(house.north))
    promised = booking.drive_on_at

    with pytest.raises(bookings.CannotChange):
        bookings.promise_later(
            branch=house.branch,
            booking_id=booking.pk,
            version=booking.version,
            promised=Promised(
                level=Firmness.CONFIRMED,
                walk_on_at=None,
                drive_on_at=promised - timedelta(hours=1),
            ),
            now=NOW,
            why="warmer",
        )
    later = bookings.promise_later(
        branch=house.branch,
        booking_id=booking.pk,
        version=booking.version,
        promised=Promised(
            level=Firmness.CONFIRMED,
            walk_on_at=None,
            drive_on_at=promised + timedelta(hours=6),
        ),
        now=NOW,
        why="colder",
    )

    assert later.drive_on_at == promised + timedelta(hours=6)
    assert Notice.objects.filter(kind=NoticeKind.DRIVE_ON_LATER).count() == 1


def crew_notices(crew) -> list[str]:
    found = Notice.objects.filter(kind=NoticeKind.CREW_CHANGE, facts__crew=crew.pk)
    return [notice.facts["text"] for notice in found.order_by("pk")]


def test_a_crew_that_loses_tomorrow_is_told_even_if_the_floor_moves_far_away(house):
    booking = house.book(house.first, ask(house.north))

    bookings.move(
        branch=house.branch,
        booking_id=booking.pk,
        version=booking.version,
        ask=ask(house.south, start=MORNING + timedelta(days=9)),
        by=house.by,
        now=NOW,
    )

    assert crew_notices(house.north)[-1].startswith("Not on: Ada Fields")
    assert crew_notices(house.south) == []  # nine days ahead its calendar is quick enough


def test_a_crew_is_told_of_both_visits_of_a_two_day_floor_in_one_notice(house):
    house.book(house.first, ask(house.north, house.north))

    (text,) = crew_notices(house.north)
    assert text.count("Ada Fields") == 2


def test_a_change_a_week_away_waits_for_the_calendar(house):
    house.book(house.first, ask(house.north, start=MORNING + timedelta(days=7)))

    assert crew_notices(house.north) == []


def test_leaving_the_site_ends_the_stint_and_with_the_last_one_the_job(house):
    booking = house.book(house.first, ask(house.north, house.north))
    first, second = booking.stints.order_by("number")

    bookings.leave(branch=house.branch, stint_id=first.pk, by=house.by, now=NOW)
    booking.refresh_from_db()
    assert booking.state == BookingState.BOOKED
    bookings.leave(branch=house.branch, stint_id=second.pk, by=house.by, now=NOW)

    booking.refresh_from_db()
    house.first.refresh_from_db()
    assert (booking.state, house.first.state) == (BookingState.DONE, JobState.DONE)


def test_what_fails_after_the_commit_does_not_take_the_answer_away(house, monkeypatch):
    def fail(_: int) -> None:
        raise OperationalError("the database went away after the commit")

    monkeypatch.setattr(changing, "_raise_calendar", fail)

    if not connection.features.has_select_for_update:  # there it belongs to the transaction
        with pytest.raises(OperationalError):
            house.book(house.first, ask(house.north))
        assert not Booking.objects.exists()
        return
    booked = house.book(house.first, ask(house.north))

    assert Booking.objects.get() == booked


def test_one_stretch_of_work_is_shorter_than_three_days(house):
    with pytest.raises(Refusal, match="less than three days"):
        house.book(house.first, ask(house.north, hours=72))

    assert not Stint.objects.exists()
