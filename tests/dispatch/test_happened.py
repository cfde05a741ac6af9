"""“What happened” on a booking's page: every service's record is a sentence there."""

from datetime import timedelta

import pytest
from django.urls import reverse

from dispatch.models import BookingState, MachineKind, Proposal
from dispatch.reads.history import history
from dispatch.rules.final_call import Decision
from dispatch.services import bookings, heating, proposals, readiness
from jobs.models import JobState
from jobs.rules.site_readings import NewReading
from jobs.services import dryness, readings
from jobs.services.returning import ComingBack, come_back
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_bookings import MORNING, House, ask
from tests.dispatch.test_final_calls import EVENING, decide, judged

pytestmark = pytest.mark.django_db(transaction=True)
DAY, HOUR = timedelta(days=1), timedelta(hours=1)


@pytest.fixture
def house(transactional_db) -> House:
    return House()


@pytest.fixture
def booking(house):
    return house.book(house.first, ask(house.north))


def told(booking) -> list[str]:
    """What the page says, newest first, without the booking's own first line."""
    return [line.text for line in history(booking).lines][:-1]


def given(house) -> dict:
    return {"branch": house.branch, "by": house.by, "now": NOW}


def test_a_reading_is_told_with_its_numbers_and_its_place(house, booking):
    read = NewReading(at=NOW, spot="by the door", slab_c=20.0, air_c=25.0, humidity_pct=50.0)
    floor = booking.job.floors.get()

    readings.enter(floor_id=floor.pk, new=read, **given(house))

    (line,) = told(booking)
    assert line.startswith(f"{house.by.name} read on ")
    # 20 °C are 68 °F, 25 °C are 77 °F (NIST SP 811).
    assert "(by the door): slab 68 °F, air 77 °F, humidity 50 %, " in line
    assert line.endswith("over the dew point")


def test_a_heater_is_told_when_it_is_placed_and_when_it_leaves_with_what_was_planned(
    house, booking
):
    heater = builders.machine(of=house.branch, kind=MachineKind.HEATER, name="Heater 1")
    asked = {"machine_id": heater.pk, "site_id": booking.job.site_id, "power_kw": 9.0}
    stay = heating.place_heater(**asked, start=NOW, end=NOW + 3 * DAY, **given(house))
    heating.take_heater_away(stay_id=stay.pk, at=NOW + DAY, **given(house))
    later = heating.place_heater(**asked, start=NOW + 2 * DAY, end=NOW + 3 * DAY, **given(house))
    heating.take_heater_away(stay_id=later.pk, **given(house))

    off, _, away, placed = told(booking)

    planned = placed.removeprefix(f"{house.by.name} placed Heater 1, 9 kW: ")
    assert planned != placed
    assert away.startswith(f"{house.by.name} took Heater 1 away: it stood ")
    assert away.endswith(f"; it was to stand {planned}")
    assert away.count(planned) == 1
    assert "called Heater 1 off before it was placed; it was to stand" in off


def test_what_somebody_saw_of_a_wet_floor_is_told_with_what_was_noted_before(house, booking):
    floor = booking.job.floors.get()
    dryness.note(
        floor_id=floor.pk, wetted_at=NOW - 5 * HOUR, wetted_by="irrigation", **given(house)
    )
    dryness.note(floor_id=floor.pk, looked_dry_at=NOW - HOUR, **given(house))

    dry, wet = told(booking)

    assert "saw that the floor was wetted from sprinklers on " in wet
    assert "before" not in wet
    assert "saw that the floor looked dry on " in dry
    assert "; noted before: wetted on " in dry


def test_other_water_is_told_with_what_was_noted_before(house, booking):
    floor = booking.job.floors.get()
    for seen in (["slope"], ["slope", "washing"]):
        dryness.note_waters(floor_id=floor.pk, seen=seen, **given(house))

    second, first = told(booking)

    assert first.endswith("noted what wets it besides rain: water from the drive; before: nothing")
    assert second.endswith("water from the drive, water from a wash; before: water from the drive")


def test_a_final_call_and_its_change_are_told_with_the_reason(house, booking):
    judged(booking, "go")
    decide(house, booking)
    decide(house, booking, Decision.PREPARE_ONLY, why="The truck is late.", at=EVENING + HOUR)

    changed, first = told(booking)

    assert first == f"{house.by.name} made the final call for Tue Jun 2: “keep”"
    assert changed == (
        f"{house.by.name} made the final call for Tue Jun 2: “prepare only”, instead of “keep”: "
        "The truck is late."
    )


@pytest.mark.parametrize("answer", ["accept", "another"])
def test_the_answer_to_a_proposed_day_is_told(house, booking, answer):
    start = MORNING + 7 * DAY
    asked_of = Proposal.objects.create(
        booking=booking,
        starts=[MORNING.isoformat()],
        was=[start.isoformat()],
        asked_at=NOW,
        answer_by=NOW + HOUR,
    )
    who = {"by": house.by, "how": proposals.TELEPHONE, "now": NOW}
    if answer == "accept":
        proposals.accept(asked_of.pk, **who)
    else:
        proposals.want_another(asked_of.pk, words="We are away.", **who)

    (line,) = told(booking)

    expected = {
        "accept": "accepted Tue Jun 2 (telephone)",
        "another": "wants another day than Tue Jun 2 (telephone): We are away.",
    }
    assert line == f"{house.by.name} {expected[answer]}"


def test_what_was_answered_about_readiness_is_told(house, booking):
    for ready, words in ((False, "The shelves are heavy."), (True, "")):
        readiness.answer(
            booking,
            topic="emptied",
            ready=ready,
            by=house.by,
            how="telephone",
            now=NOW,
            words=words,
        )

    yes, no = told(booking)

    assert no.endswith(
        "answered for Tue Jun 2 that this is not ready: emptied (telephone): The shelves are heavy."
    )
    assert yes.endswith("answered for Tue Jun 2 that this is ready: emptied (telephone)")


def test_a_return_visit_is_told_on_both_bookings(house, booking):
    booking = bookings.leave(
        stint_id=booking.stints.get().pk, **{**given(house), "now": MORNING + 8 * HOUR}
    )
    assert (booking.state, booking.job.state) == (BookingState.DONE, JobState.DONE)
    spot = ComingBack(cause="bubbles", area_m2=4.0, notes="By the door.")
    job = come_back(job_id=booking.job_id, what=spot, **given(house))
    again = house.book(job, ask(house.north, start=MORNING + 9 * DAY))

    # 4 m² are 43.06 sq ft (NIST SP 811).
    words = "visit in line for 43 sq ft, because: bubbles or pinholes: By the door."
    assert f"{house.by.name} put a return {words}" in told(booking)
    lines = [line.text for line in history(again).lines]
    assert f"{house.by.name} put this return {words}" in lines


def test_the_page_tells_it_in_its_order_and_still_undoes_the_bookings_own_change(
    client, house, booking
):
    client.force_login(builders.user(of=house.branch))
    moved = bookings.move(
        booking_id=booking.pk,
        version=booking.version,
        ask=ask(house.north, start=MORNING + DAY),
        **given(house),
    )
    floor = booking.job.floors.get()
    dryness.note_waters(floor_id=floor.pk, seen=["slope"], **given(house))

    page = client.get(reverse("booking", args=[moved.pk])).content.decode()

    assert page.index("noted what wets it") < page.index("moved it from")
    assert history(moved).undoable.startswith(f"{house.by.name} moved it from")


def test_what_happened_on_another_site_is_not_told_here(house, booking):
    other = house.second.floors.get()
    dryness.note_waters(floor_id=other.pk, seen=["slope"], **given(house))

    assert told(booking) == []
