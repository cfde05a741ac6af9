"""Days that a careful office decides: a filler, a floor for two crews, a gate without a socket.

What is expected is common practice; the two cards and the labor are planning figures for tests.
"""

from dataclasses import asdict
from datetime import date, datetime, time, timedelta

import pytest

from dispatch.models import Claim, MachineKind, Stint
from dispatch.reads.offer import Offer
from dispatch.reads.offer_search import Search
from dispatch.reads.offers import best_days, offer_for, on_day
from dispatch.reads.stock import depot, to_order
from dispatch.rules.asking import Ask, PlannedStint, Promised
from dispatch.rules.findings import Level
from dispatch.rules.firmness import Firmness
from dispatch.services import bookings
from dispatch.services.sending import civil_opening
from jobs.models import Branch, DayWish, Holiday, Job, StockKind, StockLot
from jobs.rules.plan import StageKind
from jobs.rules.units import kg_from_lb
from tests import builders
from tests.dispatch.rules.skies import PLANNING_THRESHOLDS
from tests.invariants import broken
from tests.jobs.rules.floors import FAST, FT2_M2, PLANNING_RATES

pytestmark = pytest.mark.django_db(transaction=True)

HOUR = timedelta(hours=1)


def office(*, place, **given) -> Branch:
    """A branch that sells the fast card, with the labor that goes with it."""
    found = builders.branch(
        at=place,
        rates=asdict(PLANNING_RATES),
        thresholds={
            name: value
            for name, value in asdict(PLANNING_THRESHOLDS).items()
            if name.startswith("gust")
        },
        **given,
    )
    builders.system(of=found, name="Fast flake", card=FAST)
    return found


def sky(branch: Branch, now: datetime, *, rows=None, **layers) -> None:
    """Fifteen known days behind `now` and ten ahead; `rows` count from `now`."""
    past = 15 * 24
    builders.forecast(
        at=branch.depot_place,
        start=now - timedelta(days=15),
        count=past + 240,
        issued_at=now - timedelta(minutes=30),
        rows={past + n: row for n, row in (rows or {}).items()},
        **layers,
    )


def floor_of(branch: Branch, *, ft2: float, exposure: str, **given) -> Job:
    """A waiting floor of that many square feet, read as the pages read it."""
    site = builders.site(
        owner=builders.customer(of=branch), at=branch.depot_place, **given.pop("site", {})
    )
    shape = {name: given.pop(name) for name in ("steps", "bays") if name in given}
    area_m2 = ft2 * FT2_M2
    floor = builders.floor(at=site, area_m2=area_m2, exposure=exposure, edge_m=0.0, **shape)
    row = builders.job(of=branch, floors=[floor], **given)
    return Job.objects.with_floors().get(pk=row.pk)


def busy(branch: Branch, crew, start: datetime, hours: float, **given):
    """Other work of a crew, booked."""
    job = floor_of(branch, ft2=320, exposure="garage")
    stint = PlannedStint(
        crew_id=crew.pk,
        start=start,
        end=start + timedelta(hours=hours),
        **{"travel_after_min": 20, **given},
    )
    return bookings.book(
        branch=branch,
        job_id=job.pk,
        version=0,
        ask=Ask((stint,), Promised(Firmness.PLANNED, None, None)),
        by=builders.actor(of=branch),
        now=start - timedelta(days=10),
    )


def book(branch: Branch, job: Job, offer: Offer, *, now: datetime):
    """The offer booked, as its key is worked out afresh."""
    again = offer_for(job, offer.key, now=now)
    assert again is not None
    return bookings.book(
        branch=branch,
        job_id=job.pk,
        version=job.version,
        ask=again.ask(),
        by=builders.actor(of=branch),
        now=now,
    )


class Porch:
    """Ninety square feet of porch in Nashville, and one half day among nine full ones."""

    def __init__(self) -> None:
        place = builders.place(
            latitude="36.163", longitude="-86.782", zone="America/Chicago", name="Nashville, TN"
        )
        self.branch = office(place=place, day_ends=time(18, 30))
        self.zone = self.branch.tz
        self.now = self.at(18, 10)
        self.crew = builders.crew(of=self.branch, name="A")
        builders.machine(of=self.branch)
        shower = {n: {"rain_chance_pct": 35.0} for n in range(102, 108)}  # Friday from 4 PM
        sky(
            self.branch,
            self.now,
            rows=shower,
            air_c=22.0,
            dew_c=13.0,
            humidity_pct=55.0,
            gust_kmh=14.0,
        )
        # Twelve kilometers away, which is twenty minutes with a trailer.
        for day in (19, 20, 25, 26, 27, 28, 29):
            busy(self.branch, self.crew, self.at(day, 7), 10.5)
        busy(self.branch, self.crew, self.at(21, 7), 7 + 5 / 6)
        busy(self.branch, self.crew, self.at(22, 7), 4.5)
        self.job = floor_of(self.branch, ft2=90, exposure="porch", steps=2)
        for stint in Stint.objects.select_related("booking__job__site"):
            site = stint.booking.job.site
            site.latitude, site.longitude = 36.163 + 0.07, -86.782
            site.save()

    def at(self, day: int, hour: float) -> datetime:
        midnight = datetime(2026, 5, day, tzinfo=self.zone)
        return midnight + timedelta(hours=hour)


@pytest.fixture
def porch(transactional_db):
    return Porch()


def friday(porch) -> Offer:
    (offer,) = (
        each for each in best_days(porch.job, now=porch.now).best if each.day == date(2026, 5, 22)
    )
    return offer


def test_a_small_porch_takes_six_hours_and_not_its_share_of_a_big_floor(porch):
    plan = friday(porch).plan

    assert (plan.end - plan.start) / HOUR == pytest.approx(6.0, abs=0.25)
    assert friday(porch).idle_h == pytest.approx(1.5, abs=0.25)


def test_the_porch_is_proposed_behind_the_return_visit_of_friday(porch):
    found = best_days(porch.job, now=porch.now)

    assert found.best[0].day == date(2026, 5, 22)
    start = found.best[0].plan.start.astimezone(porch.zone)
    assert abs(start - porch.at(22, 12.25)) <= timedelta(minutes=15)
    assert found.best[0].plan.pour.astimezone(porch.zone) - start == timedelta(hours=2.5)


def test_the_porch_is_no_extra_behind_a_garage_on_thursday(porch):
    found = best_days(porch.job, now=porch.now)

    whys = {each.day: each.why for each in found.refused}
    assert date(2026, 5, 21) in whys
    assert "h" in whys[date(2026, 5, 21)]


def test_a_shower_of_a_third_is_care_at_most_under_a_roof(porch):
    assert friday(porch).verdict.level in {Level.GO, Level.CARE}


def test_another_way_in_is_asked_for_while_the_porch_is_wet(porch):
    offer = friday(porch)

    asked = [task.what for task in offer.tasks if "another way" in task.what]
    assert asked
    assert "parcels" in asked[0]
    walk_on = offer.walk_on.astimezone(porch.zone)
    assert abs(walk_on - porch.at(23, 5.75)) <= timedelta(minutes=15)
    assert civil_opening(offer.walk_on, porch.zone) is not None, "no message goes out at night"


def test_only_the_hours_of_the_porch_are_claimed_not_the_day(porch):
    booking = book(porch.branch, porch.job, friday(porch), now=porch.now)

    claimed = Claim.objects.filter(stint__booking=booking, resource=porch.crew.resource).count()
    assert claimed * 15 <= 7.5 * 60
    assert broken() == []


class Shop:
    """Three thousand square feet in Boise in four bays, two crews, and one large grinder."""

    def __init__(self) -> None:
        place = builders.place(
            latitude="43.615", longitude="-116.202", zone="America/Boise", name="Boise, ID"
        )
        self.branch = office(place=place, day_ends=time(18, 0))
        self.zone = self.branch.tz
        self.now = datetime(2026, 9, 3, 10, tzinfo=self.zone)
        self.a, self.b = (builders.crew(of=self.branch, name=name) for name in "AB")
        builders.machine(of=self.branch, name="Large grinder")
        start = self.now - timedelta(days=15)
        builders.forecast(
            at=place, start=start, count=24 * 30, issued_at=self.now, air_c=17.0, dew_c=6.0
        )
        self.job = floor_of(
            self.branch,
            ft2=3000,
            exposure="interior",
            bays=4,
            day_wish=DayWish.FIXED,
            wished_day=date(2026, 9, 15),
        )

    def garage(self):
        """B's garage on Wednesday, for a customer who takes any day."""
        return busy(
            self.branch, self.b, datetime(2026, 9, 16, 7, tzinfo=self.zone), 8, machine_ids=()
        )


@pytest.fixture
def shop(transactional_db):
    return Shop()


def test_two_days_with_one_crew_are_refused_with_the_hours_and_a_second_grinder_is_asked(shop):
    found = best_days(shop.job, now=shop.now)

    assert not found.best
    said = " ".join(found.large.said)
    assert "One crew of two needs 3" in said
    assert "about 4 days" in said
    assert "with one large grinder prepare for" in said
    assert "with a second one for 9." in said
    assert "a second one must be hired" in said
    assert "It takes" in {each.day: each.why for each in found.refused}[date(2026, 9, 15)]


def test_with_a_second_grinder_only_the_garage_of_wednesday_is_in_the_way(shop):
    garage = shop.garage()
    builders.machine(of=shop.branch, name="Hired grinder")

    found = best_days(shop.job, now=shop.now)

    assert date(2026, 9, 15) not in {offer.day for offer in found.best}
    (blocking,) = found.large.in_the_way
    assert blocking.booking == garage
    other = best_days(
        Job.objects.with_floors().get(pk=garage.job_id), now=shop.now, moving=garage.pk
    )
    assert other.best, "its customer can be offered another day"


def test_both_crews_do_the_shop_in_two_days_bay_by_bay(shop):
    builders.machine(of=shop.branch, name="Hired grinder")

    offer = best_days(shop.job, now=shop.now).best[0]

    assert offer.day == date(2026, 9, 15)
    first, second = offer.plan.visits
    assert (first.end - first.start) / HOUR == pytest.approx(9.3, abs=0.6)
    assert (second.end - second.start) / HOUR <= 11
    kinds = [stage.kind for stage in second.stages]
    assert kinds.count(StageKind.BASE) == kinds.count(StageKind.TOP) == 4
    assert StageKind.GRIND not in kinds, "no grinding beside wet resin"
    assert StageKind.BASE not in [stage.kind for stage in first.stages]
    drive_on = offer.drive_on.astimezone(shop.zone)
    assert drive_on >= datetime(2026, 9, 18, 16, tzinfo=shop.zone), "Friday evening at the earliest"


def test_the_shop_blocks_both_crews_on_both_days(shop):
    builders.machine(of=shop.branch, name="Hired grinder")
    offer = best_days(shop.job, now=shop.now).best[0]

    booking = book(shop.branch, shop.job, offer, now=shop.now)

    stints = booking.stints.order_by("number")
    assert sorted((stint.crew.name, stint.start.date().day) for stint in stints) == [
        ("A", 15),
        ("A", 16),
        ("B", 15),
        ("B", 16),
    ]
    assert {stint.machines.count() for stint in stints if stint.start.date().day == 15} == {1}
    assert broken() == []


def test_the_flake_of_the_shop_is_short_by_seventy_pounds_with_its_order_date(shop):
    builders.machine(of=shop.branch, name="Hired grinder")
    Job.objects.filter(pk=shop.job.pk).update(color="Granite")
    StockLot.objects.create(
        branch=shop.branch,
        kind=StockKind.FLAKE,
        blend="Granite",
        lot="L1",
        amount=kg_from_lb(260),
        changed_at=shop.now,
    )
    booking = book(shop.branch, shop.job, best_days(shop.job, now=shop.now).best[0], now=shop.now)

    (flake,) = [
        share for share in depot(shop.branch, now=shop.now).shares if "Granite" in share.what
    ]
    booking.refresh_from_db()
    lines = to_order(booking, list(booking.stints.order_by("number")), now=shop.now)

    # Three hundred pounds and a tenth; two hundred and sixty lie in the store.
    # The card throws its flake in kg per square metre, which makes a pound of difference.
    needed, short = (int(each.removesuffix(" lb")) for each in (flake.needed, flake.short))
    assert needed == pytest.approx(330, abs=1)
    assert short == pytest.approx(70, abs=1)
    # Ten whole working days lie between the order and Tuesday the 15th, Labor Day not among
    # them: August 31 to September 4 and September 8 to 14, counted by hand.
    assert any(" lb, order by Fri Aug 28, which has gone by" in line for line in lines), lines


class Gate:
    """Seven hundred square feet behind a gate in the desert of California, without a socket."""

    WINTER = {
        "months": [10, 11, 12, 1, 2, 3, 4],
        "weekdays": [0, 1, 2, 3, 4],
        "opens": "07:00",
        "closes": "17:30",
        "generator_from": "08:00",
        "list_days": 1,
    }

    def __init__(self) -> None:
        place = builders.place(
            latitude="33.720", longitude="-116.375", zone="America/Los_Angeles", name="Palm Desert"
        )
        self.branch = office(
            place=place, day_starts=time(6), day_ends=time(20), weekdays=[0, 1, 2, 3, 4, 5]
        )
        self.zone = self.branch.tz
        self.now = datetime(2026, 10, 19, 9, tzinfo=self.zone)
        self.a = builders.crew(of=self.branch, name="A")
        self.b = builders.crew(of=self.branch, name="B", installers=3)
        for number in range(2):
            builders.machine(of=self.branch, name=f"Grinder {number}")
        self.generator = builders.machine(of=self.branch, kind=MachineKind.GENERATOR)
        sky(self.branch, self.now, air_c=21.0, dew_c=6.0)
        for day in (20, 21):
            busy(self.branch, self.a, self.at(day, 6), 13)
        people = [each.installer_id for each in self.b.memberships.order_by("pk")]
        # On Thursday two of B's three people have work, on the other days all of them.
        for day, going in (
            (20, people),
            (21, people),
            (22, people[:2]),
            (23, people),
            (24, people),
        ):
            busy(self.branch, self.b, self.at(day, 6), 13, installer_ids=tuple(going))
        self.job = floor_of(
            self.branch,
            ft2=700,
            exposure="garage",
            site={
                "gate_rules": [
                    self.WINTER,
                    self.WINTER | {"months": [5, 6, 7, 8, 9], "opens": "06:00"},
                ],
                "needs_generator": True,
            },
            day_wish=DayWish.PREFERS,
            wished_day=date(2026, 10, 23),
        )

    def at(self, day: int, hour: float) -> datetime:
        return datetime(2026, 10, day, tzinfo=self.zone) + timedelta(hours=hour)

    def on(self, day: int):
        """What is said of one day of October."""
        found = on_day(self.job, date(2026, 10, day), now=self.now)
        return found.best[0] if found.best else found.refused[0]


@pytest.fixture
def gate(transactional_db):
    return Gate()


def test_one_day_on_friday_is_refused_with_the_hours_of_the_gate(gate):
    said = gate.on(23)

    assert "It takes 11.0 h from 7:00 AM" in said.why or "It takes 11.1 h from 7:00 AM" in said.why
    assert "work ends at 5:30 PM" in said.why


def test_friday_and_saturday_are_refused_because_of_the_gate(gate):
    assert "lets no contractors in on Saturdays" in gate.on(23).why
    assert "Nobody may return before Mon Oct 26" in gate.on(23).why
    assert "Saturdays" in gate.on(24).why


def test_thursday_is_offered_with_a_third_person_of_the_other_crew(gate):
    offer = gate.on(22)

    assert isinstance(offer, Offer), offer
    assert offer.crew == gate.a
    assert offer.crew_size == 3
    assert [each.crew for each in offer.lent] == [gate.b]
    leaves = offer.plan.end.astimezone(gate.zone)
    assert abs(leaves - gate.at(22, 15 + 25 / 60)) <= timedelta(minutes=15)
    ground = next(s for s in offer.plan.visits[0].stages if s.kind is StageKind.GRIND)
    assert ground.start >= gate.at(22, 8), "the generator runs from 8 AM"


def test_the_generator_is_reserved_like_any_machine(gate):
    booking = book(gate.branch, gate.job, gate.on(22), now=gate.now)

    assert gate.generator in booking.stints.get().machines.all()
    assert Claim.objects.filter(resource=gate.generator.resource).exists()
    assert booking.stints.get().installers.count() == 3
    assert broken() == []


def test_the_names_are_due_at_the_gate_the_day_before(gate):
    due = [task.due for task in gate.on(22).tasks if "gate" in task.what]

    assert due == [date(2026, 10, 21)]


def test_a_day_of_july_would_open_at_six(gate):
    now = datetime(2026, 7, 20, 9, tzinfo=gate.zone)

    days = Search(job=gate.job, now=now, moving=None).site_days

    assert days.opens(date(2026, 7, 24)).astimezone(gate.zone).time() == time(6)
    assert days.opens(date(2026, 10, 23)).astimezone(gate.zone).time() == time(7)


def test_nobody_leaves_after_the_gate_has_closed(gate):
    found = best_days(gate.job, now=gate.now)

    for offer in found.best:
        for visit in offer.plan.visits:
            assert visit.end.astimezone(gate.zone).time() <= time(17, 30)


def test_a_holiday_and_its_bridge_let_nobody_return(gate):
    for day, name in ((22, "Founders' day"), (23, "the bridge day")):
        Holiday.objects.create(branch=gate.branch, day=date(2026, 10, day), name=name)

    said = on_day(gate.job, date(2026, 10, 22), now=gate.now).refused[0]

    assert "Founders' day" in said.why
