"""Earlier years entered in bulk: done and over, claiming nothing, nobody in two places."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from dispatch.models import (
    Booking,
    BookingState,
    CalendarEntry,
    Claim,
    Notice,
    Stamp,
    StampKind,
    Stint,
)
from dispatch.rules.asking import PlannedStint
from dispatch.services.past_work import PastWork, enter_past
from jobs.models import AuditEvent, Job, JobState
from jobs.refusals import NotFound, Refusal
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db(transaction=True)

THEN = datetime(2023, 5, 3, 12, tzinfo=UTC)
DAY, HOUR = timedelta(days=1), timedelta(hours=1)


class Past:
    """A branch with one crew of two and a grinder, and what they did long ago."""

    def __init__(self) -> None:
        self.branch = builders.branch()
        self.by = builders.actor(of=self.branch)
        self.crew = builders.crew(of=self.branch)
        self.grinder = builders.machine(of=self.branch)
        self.people = tuple(
            self.crew.memberships.order_by("pk").values_list("installer_id", flat=True)
        )

    def day(self, start=THEN, **given):
        stint = PlannedStint(
            crew_id=self.crew.pk,
            start=start,
            end=start + 8 * HOUR,
            machine_ids=(self.grinder.pk,),
            installer_ids=self.people,
            travel_before_min=20,
            travel_after_min=20,
        )
        return PastWork(
            job=builders.job(of=self.branch, created_at=start - 9 * DAY),
            stint=replace(stint, **given),
            booked_at=start - 7 * DAY,
            drive_on_at=start + 32 * HOUR,
            stamps={StampKind.LEFT: start + 8 * HOUR},
        )

    def enter(self, *work):
        return enter_past(branch=self.branch, work=work, by=self.by, now=NOW)


@pytest.fixture
def past(transactional_db) -> Past:
    return Past()


def test_past_work_is_done_and_stands_in_calendars_and_histories(past):
    (booking,) = past.enter(past.day())

    kept = Booking.objects.get()
    assert (kept.pk, kept.state, kept.job.state) == (booking.pk, BookingState.DONE, JobState.DONE)
    stint = kept.stints.get()
    assert set(stint.installers.values_list("pk", flat=True)) == set(past.people)
    assert stint.machines.get() == past.grinder
    assert set(CalendarEntry.objects.values_list("audience", flat=True)) == {
        f"crew:{past.crew.pk}",
        f"branch:{past.branch.pk}",
        f"machine:{past.grinder.pk}",
    }
    assert CalendarEntry.objects.earliest("pk").created_at == THEN - 7 * DAY
    assert Stamp.objects.get().at == THEN + 8 * HOUR
    event = AuditEvent.objects.get(subject="booking", subject_id=booking.pk)
    assert (event.action, event.at, event.actor_name) == ("enter past", NOW, past.by.name)


def test_what_is_over_claims_nothing_and_tells_nobody(past):
    past.enter(past.day())

    assert not Claim.objects.exists()
    assert not Notice.objects.exists()


def test_fifty_days_take_hardly_more_queries_than_five(past):
    counts = []
    for first, number in ((0, 5), (100, 50)):
        work = [past.day(THEN + (first + each) * DAY) for each in range(number)]
        with CaptureQueriesContext(connection) as asked:
            past.enter(*work)
        counts.append(len(asked))

    assert counts[1] <= counts[0] + 5


def nothing_written() -> bool:
    return not (Booking.objects.exists() or Stint.objects.exists() or Stamp.objects.exists())


def test_what_is_not_over_is_refused(past):
    with pytest.raises(Refusal, match="only what is over can be entered as done"):
        past.enter(past.day(), past.day(NOW - HOUR))

    assert nothing_written()
    assert Job.objects.filter(state=JobState.WAITING).count() == 2


def test_nobody_was_in_two_places(past):
    other = builders.crew(of=past.branch)
    theirs = past.day(THEN + 8 * HOUR, crew_id=other.pk, machine_ids=(), installer_ids=())
    # The same people with another crew, whose road overlaps the road of the first.
    lent = past.day(THEN + 8 * HOUR, crew_id=other.pk, machine_ids=())

    with pytest.raises(Refusal, match="in two places at once"):
        past.enter(past.day(), lent)
    assert nothing_written()

    past.enter(past.day(), theirs)
    with pytest.raises(Refusal, match="in two places at once"):
        past.enter(past.day(THEN + 7 * HOUR))  # beside what stands already
    assert Booking.objects.count() == 2


def test_an_order_is_entered_once_and_only_by_its_branch(past):
    work = past.day()
    again = replace(work, stint=past.day(THEN + DAY).stint)
    with pytest.raises(Refusal, match="not waiting"):
        past.enter(work, again)

    past.enter(work)
    with pytest.raises(Refusal, match="not waiting"):
        past.enter(again)
    stranger = builders.job(of=builders.branch())
    with pytest.raises(Refusal, match="not waiting"):
        past.enter(replace(again, job=stranger))


def test_a_stranger_s_crew_is_refused(past):
    stranger = builders.crew(of=builders.branch())

    with pytest.raises(NotFound):
        past.enter(past.day(crew_id=stranger.pk))

    assert nothing_written()
