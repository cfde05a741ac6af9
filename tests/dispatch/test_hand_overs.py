"""One grinder and two floors of one day: offered where a hand-over is in time, else the reason."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta

import pytest

from dispatch.models import Claim
from dispatch.reads.offer import Offer, RefusedDay
from dispatch.reads.offer_search import Search
from dispatch.reads.offers import offer_for
from dispatch.rules.asking import MachineSpan
from dispatch.services import bookings
from dispatch.services.claims import SlotTaken
from jobs.models import Job
from jobs.refusals import Refusal
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_bookings import MORNING, House, ask
from tests.dispatch.test_offers import weather
from tests.invariants import broken

pytestmark = pytest.mark.django_db(transaction=True)

TUESDAY, WEDNESDAY = date(2026, 6, 2), date(2026, 6, 3)


@pytest.fixture
def house(transactional_db):
    """North has a double garage on Tuesday with the one grinder; South is free."""
    house = House()
    weather(house.branch.depot_place)
    return house


def answer(job: Job, *, crew, day: date) -> Offer | RefusedDay:
    """What the search says of one crew on one day."""
    search = Search(job=Job.objects.with_floors().get(pk=job.pk), now=NOW, moving=None)
    crews = [each.name for each in search.staff.crews]
    return list(search.on(day))[crews.index(crew.name)]


def book(house, job, offer, **changed):
    wanted = offer.ask()
    if changed:
        (stint,) = wanted.stints
        wanted = replace(wanted, stints=(replace(stint, **changed),))
    job.refresh_from_db()
    return house.book(job, wanted)


def test_a_floor_whose_grinder_is_out_is_told_the_hand_over_and_offered_another_day(house):
    offer = answer(house.first, crew=house.north, day=TUESDAY)
    book(house, house.first, offer)
    house.branch.day_ends = time(17, 0)
    house.branch.save()

    tuesday = answer(house.second, crew=house.south, day=TUESDAY)

    assert isinstance(tuesday, RefusedDay)
    assert "Big grinder is needed for Ada Fields until" in tuesday.why
    assert "even with everything masked beforehand the crew would leave at" in tuesday.why
    assert "work ends at 5:00 PM" in tuesday.why
    assert isinstance(answer(house.second, crew=house.south, day=WEDNESDAY), Offer)


def test_a_grinder_booked_for_its_own_hours_is_offered_from_a_later_hour(house):
    house.branch.day_ends = time(20, 0)
    house.branch.save()
    offer = answer(house.first, crew=house.north, day=TUESDAY)
    grind = next(stage for stage in offer.plan.visits[0].stages if stage.kind == "grind")
    span = MachineSpan(house.grinder.pk, offer.plan.start, grind.end, travel_after_min=30)
    book(house, house.first, offer, machine_spans=(span,))

    later = answer(house.second, crew=house.south, day=TUESDAY)

    assert isinstance(later, Offer), later
    assert later.grinder_from >= grind.end
    ground = next(stage for stage in later.plan.visits[0].stages if stage.kind == "grind")
    assert later.grinder_from == ground.start
    again = offer_for(Job.objects.with_floors().get(pk=house.second.pk), later.key, now=NOW)
    book(house, house.second, again)
    assert broken() == []


def test_a_grinder_that_could_be_handed_over_but_is_booked_all_day_says_so(house):
    house.branch.day_ends = time(20, 0)
    house.branch.save()
    offer = answer(house.first, crew=house.north, day=TUESDAY)
    booked = book(house, house.first, offer)

    refused = answer(house.second, crew=house.south, day=TUESDAY)

    assert isinstance(refused, RefusedDay), refused
    assert "if it is handed over" in refused.why

    (grind,) = [s for s in booked.stints.get().stages if s["kind"] == "grind"]
    bookings.hand_over(
        branch=house.branch,
        booking_id=booked.pk,
        version=booked.version,
        machine_id=house.grinder.pk,
        until=datetime.fromisoformat(grind["end"]),
        travel_after_min=30,
        by=house.by,
        now=NOW,
    )
    assert isinstance(answer(house.second, crew=house.south, day=TUESDAY), Offer)
    assert broken() == []


def spanned(house, crew, start, *, frm, until, road_min=0):
    """A day of `crew` with the grinder from hour `frm` to hour `until` of it."""
    wanted = ask(crew, start=start, machines=(house.grinder,))
    span = MachineSpan(
        house.grinder.pk,
        start + timedelta(hours=frm),
        start + timedelta(hours=until),
        road_min,
    )
    return replace(wanted, stints=(replace(wanted.stints[0], machine_spans=(span,)),))


def test_a_machine_is_claimed_for_its_hours_and_its_road_only(house):
    house.book(house.first, spanned(house, house.north, MORNING, frm=0, until=3.75, road_min=35))

    # Three and three quarter hours and 35 minutes: 4 h 20 min touch 18 quarters.
    assert Claim.objects.filter(resource=house.grinder.resource).count() == 18
    assert Claim.objects.filter(resource=house.north.resource).count() == 32
    assert broken() == []


def test_two_crews_share_a_machine_one_after_the_other_but_never_its_road(house):
    house.book(house.first, spanned(house, house.north, MORNING, frm=0, until=3.75, road_min=35))

    with pytest.raises(SlotTaken, match="Big grinder is already booked"):
        house.book(house.second, spanned(house, house.south, MORNING, frm=4.25, until=8))
    house.book(house.second, spanned(house, house.south, MORNING, frm=4.5, until=8))

    assert broken() == []


def test_hours_of_a_machine_that_is_not_taken_along_are_refused(house):
    wanted = spanned(house, house.north, MORNING, frm=0, until=3)
    without = replace(wanted, stints=(replace(wanted.stints[0], machine_ids=()),))
    backwards = spanned(house, house.north, MORNING, frm=3, until=3)

    with pytest.raises(Refusal, match="not among those"):
        house.book(house.first, without)
    with pytest.raises(Refusal, match="before it is needed"):
        house.book(house.first, backwards)


def test_a_shorter_hand_over_is_refused_outside_the_day_it_is_booked_for(house):
    booked = house.book(house.first, ask(house.north, machines=(house.grinder,)))
    common = {
        "branch": house.branch,
        "booking_id": booked.pk,
        "version": booked.version,
        "by": house.by,
        "now": NOW,
    }

    with pytest.raises(bookings.CannotChange, match="not booked"):
        bookings.hand_over(
            machine_id=house.grinder.pk, until=MORNING + timedelta(hours=9), **common
        )
    stranger = builders.machine(of=house.branch)
    with pytest.raises(bookings.CannotChange, match="not booked"):
        bookings.hand_over(machine_id=stranger.pk, until=MORNING + timedelta(hours=2), **common)
