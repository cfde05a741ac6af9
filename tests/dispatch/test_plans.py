"""Plans: from waiting floors and bookings to a stored proposal, and from a proposal to bookings."""

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

import pytest

from dispatch.models import Booking, LineKind, PlanState, StoredPlan
from dispatch.reads.offers import on_day
from dispatch.reads.plan_floors import Away
from dispatch.services import bookings, planning
from dispatch.services.planning import apply_plan, ask_plan, make_due, make_plan
from jobs.access import PROGRAM
from jobs.models import DayWish, Job, JobState
from jobs.refusals import NotFound
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_offers import weather
from tests.invariants import broken

pytestmark = pytest.mark.django_db(transaction=True)

TUESDAY = date(2026, 6, 2)
WET = {"rain_chance_pct": 90.0, "rain_mm": 3.0}


# Cool enough for a slab under the June sun.
MILD = {"air_c": 16.0, "dew_c": 4.0, "humidity_pct": 45.0, "cloud_pct": 100.0}


def rain(place, *, first: int, until: int) -> None:
    """A newer forecast: the same mild air, with rain from one hour after now to another."""
    builders.forecast(
        at=place,
        start=NOW - timedelta(days=15),
        count=24 * 24,
        issued_at=NOW - timedelta(minutes=5),
        rows={24 * 15 + hour: WET for hour in range(first, until)},
        **MILD,
    )


class Yard:
    """A branch with crews, a grinder each, and fair weather."""

    def __init__(self, crews: int = 2, **of_branch) -> None:
        self.branch = builders.branch(**of_branch)
        self.crews = [builders.crew(of=self.branch, name=f"Crew {n}") for n in range(crews)]
        for n in range(crews):
            builders.machine(of=self.branch, name=f"Grinder {n}")
        weather(self.branch.depot_place, **MILD)

    def floor(self, **given) -> Job:
        row = builders.job(of=self.branch, **{"price": 2500, **given})
        return Job.objects.with_floors().get(pk=row.pk)

    def book(self, job: Job, day: date, crew: int = 0) -> Booking:
        """The job on that day with that crew, as an offer of the page."""
        offers = on_day(job, day, now=NOW).best
        offer = next(each for each in offers if each.crew == self.crews[crew])
        return bookings.book(
            branch=self.branch, job_id=job.pk, version=job.version, ask=offer.ask(), by=PROGRAM,
            now=NOW,
        )  # fmt: skip

    def plan(self, days: int = 10, away: Sequence[Away] = ()) -> StoredPlan:
        plan = ask_plan(branch=self.branch, by=PROGRAM, now=NOW, days=days, away=away)
        assert make_plan(plan.pk, now=NOW)
        return StoredPlan.objects.get(pk=plan.pk)

    def apply(self, plan: StoredPlan, rings: int = 0, **given):
        return apply_plan(
            branch=self.branch, plan_id=plan.pk, most_rings=rings, by=PROGRAM, now=NOW, **given
        )


def lines(plan: StoredPlan, rings: int = 0):
    option = plan.options.get(most_rings=rings)
    return {line.job_id: line for line in option.lines.select_related("crew", "booking")}


def versions() -> list[tuple[int, int]]:
    return sorted(Booking.objects.values_list("pk", "version"))


def test_a_plan_gives_waiting_floors_a_day_and_books_nothing_by_itself(transactional_db):
    yard = Yard()
    jobs = [yard.floor() for _ in range(3)]

    plan = yard.plan()

    assert plan.state == PlanState.READY
    assert {line.kind for line in lines(plan).values()} == {LineKind.PLACE}
    assert set(lines(plan)) == {job.pk for job in jobs}
    assert Booking.objects.count() == 0
    assert plan.options.get(most_rings=0).proof == "optimal"


def test_an_applied_plan_is_booked_as_planned_and_applying_twice_changes_nothing(transactional_db):
    yard = Yard()
    jobs = [yard.floor(area_m2=20 + 10 * n) for n in range(4)]
    plan = yard.plan()

    first = yard.apply(plan)
    after = versions()
    second = yard.apply(plan)

    assert [each.why for each in first if not each.done] == []
    assert all(each.done for each in second)
    assert versions() == after
    assert Job.objects.filter(state=JobState.BOOKED).count() == len(jobs)
    for job_id, line in lines(plan).items():
        stint = Booking.objects.get(job_id=job_id).stints.get()
        assert (stint.crew_id, stint.start) == (line.crew_id, line.start)
    assert broken() == []


def test_only_the_chosen_lines_are_made_so(transactional_db):
    yard = Yard()
    first, second = yard.floor(), yard.floor()
    plan = yard.plan()

    yard.apply(plan, only=[lines(plan)[second.pk].pk])

    assert list(Booking.objects.values_list("job_id", flat=True)) == [second.pk]
    first.refresh_from_db()
    assert first.state == JobState.WAITING


def test_a_line_that_somebody_overtook_is_refused_by_a_sentence_and_the_rest_is_booked(
    transactional_db,
):
    yard = Yard()
    first, second = yard.floor(), yard.floor()
    plan = yard.plan()
    yard.book(first, TUESDAY + timedelta(days=3))

    applied = {each.line.job_id: each for each in yard.apply(plan)}

    assert not applied[first.pk].done
    assert "changed by somebody else" in applied[first.pk].why
    assert applied[second.pk].done
    assert broken() == []


def test_a_patio_whose_day_turned_wet_moves_only_where_its_customer_may_be_rung(transactional_db):
    yard = Yard()
    patio = yard.floor(exposure="open")
    booking = yard.book(patio, TUESDAY)
    assert booking.promise == "confirmed"
    rain(yard.branch.depot_place, first=14, until=40)

    plan = yard.plan()

    stays, moves = plan.options.get(most_rings=0), plan.options.get(most_rings=1)
    assert lines(plan, 0)[patio.pk].kind == LineKind.STAY
    moved = lines(plan, 1)[patio.pk]
    assert moved.kind == LineKind.MOVE
    assert moved.rings
    assert moves.cents < stays.cents
    assert (stays.rings, moves.rings) == (0, 1)
    yard.apply(plan, 1)
    stint = booking.stints.get()
    assert stint.start == moved.start
    assert stint.start.astimezone(yard.branch.tz).date() != TUESDAY
    assert broken() == []


def test_more_calls_never_cost_more_and_are_never_exceeded(transactional_db):
    yard = Yard()
    for n in range(4):
        yard.book(yard.floor(exposure="open"), TUESDAY + timedelta(days=n // 2), crew=n % 2)
    rain(yard.branch.depot_place, first=14, until=60)

    options = list(yard.plan().options.all())

    cents = [option.cents for option in options]
    assert cents == sorted(cents, reverse=True)
    assert cents[0] > cents[-1]
    assert all(option.rings <= option.most_rings for option in options)
    assert all(option.bound_cents <= option.cents for option in options)


def test_a_crew_that_lost_a_person_is_replaced_on_that_day(transactional_db):
    yard = Yard()
    booking = yard.book(yard.floor(), TUESDAY)
    person = booking.stints.get().installers.first()
    day = yard.branch.at(TUESDAY, datetime.min.time())
    ill = Away(person.resource_id, day, day + timedelta(days=1))

    line = lines(yard.plan(away=[ill]), 0)[booking.job_id]

    assert line.kind == LineKind.MOVE
    assert line.crew == yard.crews[1]
    assert line.start.astimezone(yard.branch.tz).date() == TUESDAY
    assert not line.rings  # the same day with another crew


def test_floors_without_a_day_are_named_with_what_binds_and_the_rest_is_planned(transactional_db):
    yard = Yard(crews=1)
    days = [(NOW.date() + timedelta(days=n)).isoformat() for n in range(40)]
    closed = yard.floor(impossible_days=days)
    late = yard.floor(car_needed_by=NOW - timedelta(days=2))
    torn = yard.floor(
        day_wish=DayWish.FIXED, wished_day=TUESDAY, impossible_days=[TUESDAY.isoformat()]
    )
    fine = yard.floor()

    plan = yard.plan()

    whys = {each["job"]: each["why"] for each in plan.problems}
    assert set(whys) == {closed.pk, late.pk, torn.pk}
    assert whys[closed.pk]
    assert "needed" in whys[late.pk]
    assert whys[torn.pk]
    assert lines(plan)[fine.pk].kind == LineKind.PLACE


def test_a_branch_without_a_crew_gets_a_plan_that_says_so(transactional_db):
    yard = Yard(crews=0)
    job = yard.floor()

    plan = yard.plan()

    assert plan.state == PlanState.READY
    assert plan.problems == [{"job": job.pk, "why": "There is no crew in this branch yet."}]


def test_one_more_crew_never_costs_more(transactional_db):
    yard = Yard(crews=1)
    for _ in range(6):
        yard.floor()
    before = yard.plan(days=5).options.get(most_rings=0).cents

    builders.crew(of=yard.branch, name="Crew more")
    builders.machine(of=yard.branch, name="Grinder more")
    after = yard.plan(days=5).options.get(most_rings=0).cents

    assert after <= before
    assert after < before  # six floors do not fit into four days of one crew without a cost


def test_two_short_floors_share_a_crew_day_where_that_saves_a_trip(transactional_db):
    yard = Yard(crews=1, day_ends=time(22))
    first, second = yard.floor(area_m2=5), yard.floor(area_m2=5)

    plan = yard.plan()
    yard.apply(plan)

    stints = [Booking.objects.get(job=job).stints.get() for job in (first, second)]
    days = {stint.start.astimezone(yard.branch.tz).date() for stint in stints}
    assert len(days) == 1
    assert broken() == []


def test_a_plan_is_worked_out_once_whoever_asks(transactional_db):
    yard = Yard(crews=1)
    yard.floor()
    first = ask_plan(branch=yard.branch, by=PROGRAM, now=NOW)
    again = ask_plan(branch=yard.branch, by=PROGRAM, now=NOW)

    assert first.pk == again.pk
    assert make_due(now=NOW) == 1
    assert make_due(now=NOW) == 0
    assert not make_plan(first.pk, now=NOW)


def test_a_worker_that_died_leaves_a_lease_that_lapses(transactional_db):
    yard = Yard(crews=1)
    plan = ask_plan(branch=yard.branch, by=PROGRAM, now=NOW)
    StoredPlan.objects.filter(pk=plan.pk).update(
        state=PlanState.SOLVING, leased_until=NOW + planning.LEASE
    )

    assert make_due(now=NOW) == 0
    assert make_due(now=NOW + 2 * planning.LEASE) == 1


def test_a_plan_of_another_branch_is_not_found(transactional_db):
    yard = Yard(crews=1)
    plan = yard.plan()
    other = builders.branch()

    with pytest.raises(NotFound):
        apply_plan(branch=other, plan_id=plan.pk, most_rings=0, by=PROGRAM, now=NOW)


def test_prices_of_crew_days_are_kept_for_the_offers(transactional_db):
    yard = Yard(crews=1)
    for _ in range(8):
        yard.floor()

    prices = yard.plan(days=7).prices

    assert prices["crews"] == [yard.crews[0].pk]
    assert len(prices["cents"][0]) == len(prices["days"]) == 7
    assert max(prices["cents"][0]) > 0  # eight floors want five days
