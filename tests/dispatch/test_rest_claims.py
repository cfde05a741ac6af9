"""Rest after night work is claimed like work: nobody is sent out again before it is over."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from dispatch.models import Claim
from dispatch.rules.granules import granules
from dispatch.services import bookings, crews
from dispatch.services.claims import SlotTaken
from tests.builders import NOW
from tests.dispatch.test_bookings import House, ask
from tests.invariants import broken

pytestmark = pytest.mark.django_db(transaction=True)

CHICAGO = ZoneInfo("America/Chicago")


def local(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=CHICAGO)


EVENING = local("2026-06-02 17:00")  # until 1 AM, then rest until 11 AM


@pytest.fixture
def house(transactional_db) -> House:
    return House()


def test_after_a_night_nobody_of_it_works_before_ten_hours_are_over(house):
    house.book(house.first, ask(house.north, start=EVENING))
    early = local("2026-06-03 10:00")

    with pytest.raises(SlotTaken, match=r"rests until Wed Jun 3, 11:00 AM, after night work"):
        house.book(house.second, ask(house.north, start=early, hours=4))
    house.book(house.second, ask(house.north, start=local("2026-06-03 11:00"), hours=4))

    assert broken() == []


def test_a_person_lent_to_another_crew_rests_there_too(house):
    house.book(house.first, ask(house.north, start=EVENING))
    lent = house.north.memberships.first().installer
    house.south.memberships.create(installer=lent, from_day=local("2026-06-03 00:00").date())

    with pytest.raises(SlotTaken, match=f"{lent.name} rests"):
        house.book(house.second, ask(house.south, start=local("2026-06-03 07:00")))


def test_neither_the_machine_nor_the_crew_as_such_rests(house):
    house.book(house.first, ask(house.north, start=EVENING, machines=(house.grinder,)))

    morning = local("2026-06-03 07:00")
    house.book(house.second, ask(house.south, start=morning, machines=(house.grinder,)))

    crew = Claim.objects.filter(resource=house.north.resource)
    assert crew.count() == 32
    assert broken() == []


def test_a_night_that_is_called_off_or_moved_gives_its_rest_back(house):
    booking = house.book(house.first, ask(house.north, start=EVENING))
    moved = bookings.move(
        branch=house.branch,
        booking_id=booking.pk,
        version=booking.version,
        ask=ask(house.north, start=local("2026-06-03 07:00")),
        by=house.by,
        now=NOW,
    )

    assert Claim.objects.count() == 3 * 32
    bookings.call_off(
        branch=house.branch,
        booking_id=moved.pk,
        version=moved.version,
        by=house.by,
        now=NOW,
        why="rain",
    )
    assert not Claim.objects.exists()


@pytest.mark.parametrize("away_first", [True, False])
def test_being_away_after_a_night_is_rest_enough(house, away_first):
    person = house.north.memberships.first().installer
    day_off = {
        "start": local("2026-06-03 01:00"),
        "end": local("2026-06-04 01:00"),
        "branch": house.branch,
        "resource_id": person.resource_id,
        "by": house.by,
        "now": NOW,
    }

    if away_first:
        crews.add_absence(**day_off)
    house.book(house.first, ask(house.north, start=EVENING))
    if not away_first:
        crews.add_absence(**day_off)

    assert broken() == []


def test_an_absence_never_overrides_the_night_itself(house):
    person = house.north.memberships.first().installer
    house.book(house.first, ask(house.north, start=EVENING))

    with pytest.raises(SlotTaken, match="is already booked"):
        crews.add_absence(
            branch=house.branch,
            resource_id=person.resource_id,
            start=local("2026-06-03 00:30"),
            end=local("2026-06-04 00:00"),
            by=house.by,
            now=NOW,
        )

    assert broken() == []


# 15 U.S.C. 260a: the clock skips an hour on 8 March 2026 and has one twice on 1 November 2026.
@pytest.mark.parametrize(
    ("start", "end", "quarters"),
    [
        ("2026-03-07 20:00", "2026-03-08 04:00", 7 * 4),
        ("2026-10-31 20:00", "2026-11-01 04:00", 9 * 4),
        ("2026-06-02 20:00", "2026-06-03 04:00", 8 * 4),
    ],
)
def test_a_night_is_claimed_in_elapsed_quarters_and_its_rest_too(house, start, end, quarters):
    began, ended = local(start), local(end)
    hours = (ended.timestamp() - began.timestamp()) / 3600

    house.book(house.first, _night(house, began, hours))

    person = house.north.memberships.first().installer
    assert Claim.objects.filter(resource=house.north.resource).count() == quarters
    assert Claim.objects.filter(resource=person.resource).count() == quarters + 10 * 4
    assert broken() == []


def _night(house, began, hours):
    return ask(house.north, start=began.astimezone(ZoneInfo("UTC")), hours=hours)


def test_a_booking_of_a_night_and_the_next_morning_contradicts_itself(house):
    night, morning = (
        ask(house.north, start=start).stints[0] for start in (EVENING, local("2026-06-03 08:00"))
    )
    wanted = ask(house.north, start=EVENING)

    with pytest.raises(SlotTaken, match="rests until"):
        house.book(house.first, type(wanted)(stints=(night, morning), promised=wanted.promised))

    assert not Claim.objects.exists()


def test_granules_of_a_night_have_no_gap_where_the_clock_jumps():
    before, after = local("2026-03-08 01:45"), local("2026-03-08 03:00")

    assert len(granules(before, after)) == 1  # a quarter of an hour later by any watch
