"""The check itself: `broken` finds nothing in sound rows and something in each kind of damage."""

from collections.abc import Callable
from datetime import timedelta

import pytest

from dispatch.models import (
    Absence,
    Booking,
    CalendarEntry,
    Claim,
    EntryStatus,
    Stint,
    StintState,
)
from dispatch.services import bookings
from jobs.models import AuditEvent, Job, JobState
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_bookings import MORNING, House, ask
from tests.invariants import broken

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def house(transactional_db: None) -> House:
    """Two bookings, one of them moved, one called off and booked again, and somebody away."""
    house = House()
    one = house.book(house.first, ask(house.north, machines=(house.grinder,)))
    two = house.book(house.second, ask(house.south))
    common = {"branch": house.branch, "by": house.by, "now": NOW}
    later = ask(house.north, start=MORNING + timedelta(days=1))
    bookings.move(booking_id=one.pk, version=one.version, ask=later, **common)
    bookings.call_off(booking_id=two.pk, version=two.version, why="rain", **common)
    house.second.refresh_from_db()
    house.book(house.second, ask(house.south))
    builders.absence(who=house.grinder.resource, start=MORNING, end=MORNING + timedelta(hours=1))
    return house


def _second_crew(house: House) -> None:
    """North's visit is given to South by hand; claims and calendar know nothing of it."""
    Stint.objects.filter(crew=house.north).update(crew=house.south)


def _same_day(house: House) -> None:
    """Both visits are given to North on one day by hand, each with its own claims removed."""
    Claim.objects.all().delete()
    Stint.objects.update(crew=house.north, start=MORNING, end=MORNING + timedelta(hours=8))


def _foreign_machine(house: House) -> None:
    stranger = builders.machine(of=builders.branch())
    Stint.objects.filter(crew=house.north).get().machines.add(stranger)


DAMAGE: dict[str, tuple[Callable[[House], object], str]] = {
    "a claim is lost": (lambda _: Claim.objects.filter(absence=None).first().delete(), "lacks 1"),
    "a claim is left": (
        lambda _: Claim.objects.filter(absence=None).update(stint=Stint.objects.first()),
        "not its own",
    ),
    "a visit is called off by hand": (
        lambda _: Stint.objects.update(state=StintState.CALLED_OFF),
        "still shows",
    ),
    "another crew": (_second_crew, "wrong calendars"),
    "two visits at once": (_same_day, "in two places"),
    "another branch's machine": (_foreign_machine, "another branch's"),
    "an absence is longer": (
        lambda _: Absence.objects.update(end=MORNING + timedelta(hours=2)),
        "does not hold its own time",
    ),
    "a booked job waits": (
        lambda house: Job.objects.filter(pk=house.first.pk).update(state=JobState.WAITING),
        "say otherwise",
    ),
    "the calendar lags": (
        lambda _: CalendarEntry.objects.filter(status=EntryStatus.CONFIRMED).update(start=NOW),
        "another time",
    ),
    "a change off the record": (
        lambda _: Booking.objects.update(version=7),
        "is at 7, with",
    ),
    "a record that was edited": (
        lambda _: AuditEvent.objects.filter(action="book").update(after={}),
        "a gap in its record",
    ),
}


def test_sound_rows_have_nothing_to_say(house):
    assert broken() == []
    assert broken(house.branch) == []


@pytest.mark.parametrize("damage", DAMAGE)
def test_each_kind_of_damage_is_found(house, damage):
    do, said = DAMAGE[damage]

    do(house)

    assert said in " ".join(broken()), broken()
    assert broken(builders.branch()) == []
