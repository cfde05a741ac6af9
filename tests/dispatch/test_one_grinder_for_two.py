"""Two people save for one crew within two seconds, and two crews want the one large grinder.

Labour for two people, common practice: half an hour each to set up and to mask; 0.55 h of
grinding, repair and vacuuming and 0.2 h each of base, scrape and top per 100 sq ft; 1.5 h of set
on a slab of 20 °C; half an hour to pack.
"""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse

from dispatch.models import Claim, Stint
from dispatch.rules.asking import Ask, MachineSpan, PlannedStint, Promised
from dispatch.rules.firmness import Firmness
from dispatch.rules.hand_over import hand_over, say_too_late
from dispatch.rules.travel import travel_min
from dispatch.services import bookings
from dispatch.services.claims import SlotTaken
from jobs.models import Job
from tests import builders
from tests.builders import NOW
from tests.invariants import broken
from tests.racing import race

pytestmark = pytest.mark.django_db(transaction=True)

CHICAGO = ZoneInfo("America/Chicago")
TUESDAY, WEDNESDAY = "2026-06-02", "2026-06-03"
AN_HOUR = timedelta(hours=1)


def at(clock: str, day: str = TUESDAY) -> datetime:
    return datetime.fromisoformat(f"{day} {clock}").replace(tzinfo=CHICAGO).astimezone(UTC)


def grind(ft2: float) -> timedelta:
    return 0.55 * ft2 / 100 * AN_HOUR


def whole(ft2: float) -> timedelta:
    """From arriving to leaving."""
    coats = 3 * 0.2 * ft2 / 100
    return AN_HOUR + grind(ft2) + (coats + 1.5 + 0.5) * AN_HOUR


class Firm:
    """Two crews, one large grinder and a small one; two garages 35 minutes apart, and a porch."""

    def __init__(self) -> None:
        self.branch = builders.branch(day_ends=time(18, 0))
        self.first_desk, self.second_desk = (builders.actor(of=self.branch) for _ in range(2))
        self.a, self.b = (builders.crew(of=self.branch, name=f"Crew {n}") for n in "AB")
        self.large = builders.machine(of=self.branch, name="Large grinder")
        self.small = builders.machine(of=self.branch, name="Small grinder")
        self.five_hundred = self.job("Ada Fields")
        self.four_fifty = self.job("Ben Ode", latitude=33.521 + 0.149)
        self.porch, self.back_again = self.job("Cleo Park"), self.job("Dan Hill")

    def job(self, name: str, latitude: float = 33.521) -> Job:
        owner = builders.customer(of=self.branch, name=name)
        there = builders.site(owner=owner, closes=time(18, 0), latitude=latitude)
        return builders.job(of=self.branch, floors=[builders.floor(at=there)])

    def book(self, job, crew, start, length, *, machines=(), by=None):
        """One visit; `machines` are (machine, from, until) or machines for the whole of it."""
        spans = tuple(
            MachineSpan(each[0].pk, each[1], each[2])
            for each in machines
            if isinstance(each, tuple)
        )
        rows = [each[0] if isinstance(each, tuple) else each for each in machines]
        stint = PlannedStint(
            crew_id=crew.pk,
            start=start,
            end=start + length,
            machine_ids=tuple(row.pk for row in rows),
            machine_spans=spans,
        )
        later = stint.end + 12 * AN_HOUR
        promised = Promised(level=Firmness.CONFIRMED, walk_on_at=later, drive_on_at=later)
        fresh = Job.objects.get(pk=job.pk)
        return bookings.book(
            branch=self.branch,
            job_id=job.pk,
            version=fresh.version,
            ask=Ask(stints=(stint,), promised=promised),
            by=by or self.first_desk,
            now=NOW,
        )


@pytest.fixture
def firm(transactional_db) -> Firm:
    return Firm()


def test_of_two_saves_at_once_one_wins_and_the_loser_hears_whose_it_is(firm):
    both = (
        (firm.five_hundred, 500, firm.first_desk, "Ada Fields"),
        (firm.four_fifty, 450, firm.second_desk, "Ben Ode"),
    )

    def save(number: int) -> str:
        job, ft2, who, name = both[number]
        firm.book(job, firm.a, at("07:00"), whole(ft2), machines=(firm.large,), by=who)
        return name

    answers = dict(race(2, save))

    assert set(answers) == {"ok", "taken"}
    assert f"for {answers['ok']} at" in answers["taken"]
    assert "is already booked Tue Jun 2, 7:00 AM to" in answers["taken"]
    assert broken(firm.branch) == []


def test_the_large_grinder_handed_over_comes_too_late_for_the_second_garage(firm):
    free_at = at("08:00") + grind(500)
    needed = (firm.large, at("08:00"), free_at)
    firm.book(firm.five_hundred, firm.a, at("07:00"), whole(500), machines=(needed,))
    assert free_at == at("10:45")

    # For the whole of its day the second crew cannot have it, and the database says so.
    with pytest.raises(SlotTaken, match=r"Large grinder is already booked .* for Ada Fields"):
        firm.book(firm.four_fifty, firm.b, at("07:00"), whole(450), machines=(firm.large,))

    points = [
        (each.site.latitude, each.site.longitude) for each in (firm.five_hundred, firm.four_fifty)
    ]
    road = travel_min(*points)
    given = hand_over(
        released=free_at,
        road_min=road,
        earliest=at("07:00"),
        before=AN_HOUR,
        after=whole(450) - AN_HOUR,
        latest=firm.branch.at(at("12:00").date(), firm.four_fifty.site.closes),
    )
    assert road == 35
    assert given.reaches == at("11:20")
    assert given.leaves.replace(second=0) == at("18:30")
    assert not given.fits
    said = say_too_late(given, machine="Large grinder", where="Ada Fields", zone=CHICAGO)
    assert said.endswith("the crew would leave at 6:30 PM; work ends at 6:00 PM.")


def test_the_garage_goes_to_wednesday_and_the_porch_fills_the_day(firm):
    firm.book(firm.five_hundred, firm.a, at("07:00"), whole(500), machines=(firm.large,))
    second_day = firm.job("Eve Lund")
    firm.book(second_day, firm.a, at("07:00", WEDNESDAY), 3 * AN_HOUR)  # a top coat, no grinder

    moved = firm.book(
        firm.four_fifty, firm.b, at("07:00", WEDNESDAY), whole(450), machines=(firm.large,)
    )
    firm.book(firm.porch, firm.b, at("07:00"), 6 * AN_HOUR, machines=(firm.small,))

    assert moved.stints.get().end <= at("18:00", WEDNESDAY)
    days = Stint.objects.filter(crew=firm.b).order_by("start").values_list("start", flat=True)
    assert list(days) == [at("07:00"), at("07:00", WEDNESDAY)]
    assert broken(firm.branch) == []


def test_two_bookings_that_only_touch_are_both_allowed(firm):
    firm.book(firm.porch, firm.b, at("07:00"), 5 * AN_HOUR, machines=(firm.small,))

    firm.book(firm.back_again, firm.b, at("12:00"), 2 * AN_HOUR)

    with pytest.raises(SlotTaken):
        firm.book(firm.four_fifty, firm.b, at("13:59"), AN_HOUR)
    assert Claim.objects.filter(resource=firm.b.resource).count() == 4 * 7


def test_two_crews_of_one_booking_come_and_go_together(firm):
    """Both crews at once and one of them again on the next day: one booking, one transaction."""
    stints = (
        PlannedStint(crew_id=firm.a.pk, start=at("07:00"), end=at("15:00")),
        PlannedStint(crew_id=firm.b.pk, start=at("07:00"), end=at("12:00")),
        PlannedStint(crew_id=firm.a.pk, start=at("07:00", WEDNESDAY), end=at("10:00", WEDNESDAY)),
    )
    promised = Promised(level=Firmness.CONFIRMED, walk_on_at=None, drive_on_at=None)
    job = firm.five_hundred
    given = {"branch": firm.branch, "by": firm.first_desk, "now": NOW}
    booked = bookings.book(
        job_id=job.pk, version=job.version, ask=Ask(stints=stints, promised=promised), **given
    )

    # The other crew's hour is taken, so the whole of a second such booking is refused.
    only_b = (
        PlannedStint(crew_id=firm.a.pk, start=at("16:00"), end=at("17:00")),
        PlannedStint(crew_id=firm.b.pk, start=at("11:45"), end=at("14:00")),
    )
    before = Claim.objects.count()
    with pytest.raises(SlotTaken, match="Crew B is already booked"):
        bookings.book(
            job_id=firm.porch.pk,
            version=firm.porch.version,
            ask=Ask(stints=only_b, promised=promised),
            **given,
        )
    assert Claim.objects.count() == before
    assert booked.stints.count() == 3
    assert broken(firm.branch) == []
    bookings.call_off(
        booking_id=booked.pk, version=booked.version, why="the customer is ill", **given
    )
    assert not Claim.objects.exists()


def test_work_across_midnight_is_claimed_on_both_days(firm):
    firm.book(firm.five_hundred, firm.a, at("20:00"), 8 * AN_HOUR, machines=(firm.large,))

    with pytest.raises(SlotTaken, match="Large grinder"):
        firm.book(firm.porch, firm.b, at("03:30", WEDNESDAY), 6 * AN_HOUR, machines=(firm.large,))
    # The people rest for ten hours after the night; the machine does not.
    with pytest.raises(SlotTaken, match="rests until"):
        firm.book(firm.porch, firm.a, at("07:00", WEDNESDAY), 6 * AN_HOUR)
    firm.book(firm.porch, firm.b, at("07:00", WEDNESDAY), 6 * AN_HOUR, machines=(firm.large,))
    assert broken(firm.branch) == []


def test_a_machine_is_chosen_from_rows_and_never_typed(client, firm):
    """No form that books takes a machine's name; the hand-over takes the key of a booked one."""
    booked = firm.book(firm.five_hundred, firm.a, at("07:00"), whole(500), machines=(firm.large,))
    client.force_login(builders.user(of=firm.branch))

    page = client.get(reverse("exchange", args=[booked.pk])).content.decode()

    assert f'name="machine" value="{firm.large.pk}"' in page
    assert 'type="text" name="machine"' not in page
