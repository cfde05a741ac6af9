"""What holds of every offer: it can be booked, breaks nothing, and is no worse for more crews."""

from datetime import date, datetime, time, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dispatch.models import Crew, Stint
from dispatch.reads.free_time import prepared
from dispatch.reads.latest_starts import latest_starts
from dispatch.reads.offers import best_days, offer_for
from dispatch.rules.asking import Ask, PlannedStint, Promised
from dispatch.rules.firmness import Firmness
from dispatch.services import bookings
from dispatch.services.claims import SlotTaken
from jobs.models import Branch, Job
from jobs.rules.catalogue import TWO_DAY
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_offers import weather
from tests.invariants import broken

pytestmark = pytest.mark.django_db(transaction=True)

# Each example makes an office of its own in one database, since tables are emptied slowly.
SEVERAL = settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
WORK = st.lists(
    st.tuples(st.integers(0, 1), st.integers(1, 5), st.integers(5, 20), st.integers(2, 11)),
    max_size=6,
)
FLOORS = st.lists(
    st.tuples(st.sampled_from(["garage", "open", "porch", "interior"]), st.floats(4.0, 60.0)),
    min_size=1,
    max_size=3,
)


def office(*, crews: int = 2, grinders: int = 1) -> Branch:
    """A branch with weather, some crews and fewer grinders."""
    branch = builders.branch()
    for _ in range(crews):
        builders.crew(of=branch)
    for _ in range(grinders):
        builders.machine(of=branch)
    if not branch.depot_place.forecasts.exists():
        weather(branch.depot_place)
    return branch


def waiting(branch: Branch, **given) -> Job:
    """A floor in the line, read as the pages read it."""
    return Job.objects.with_floors().get(pk=builders.job(of=branch, **given).pk)


def fill(branch: Branch, work) -> None:
    """Book other work where it fits: (crew, day, hour, hours)."""
    crews = list(branch.crews.all())
    for crew, ahead, hour, hours in work:
        day = branch.today(NOW) + timedelta(days=ahead)
        start = branch.at(day, time(hour))
        stint = PlannedStint(
            crew_id=crews[crew].pk,
            start=start,
            end=start + timedelta(hours=hours),
            travel_before_min=15,
            travel_after_min=25,
        )
        job = builders.job(of=branch)
        ask = Ask((stint,), Promised(Firmness.PLANNED, None, None))
        by = builders.actor(of=branch)
        try:
            bookings.book(branch=branch, job_id=job.pk, version=0, ask=ask, by=by, now=NOW)
        except SlotTaken:
            continue


def book(branch: Branch, job: Job, offer) -> None:
    bookings.book(
        branch=branch,
        job_id=job.pk,
        version=job.version,
        ask=offer.ask(),
        by=builders.actor(of=branch),
        now=NOW,
    )


@SEVERAL
@given(work=WORK, floors=FLOORS)
def test_an_offer_can_be_booked_unless_somebody_was_faster_and_breaks_nothing(
    transactional_db, work, floors
):
    branch = office()
    fill(branch, work)

    for exposure, area_m2 in floors:
        job = waiting(branch, exposure=exposure, area_m2=area_m2)
        found = best_days(job, now=NOW)
        for offer in found.best:
            again = offer_for(job, offer.key, now=NOW)
            assert again is not None, "what is shown can be asked for by its key"
            assert again.plan == offer.plan
        if found.best:
            book(branch, job, offer_for(job, found.best[-1].key, now=NOW))
            assert offer_for(waiting(branch), found.best[-1].key, now=NOW) is None

    assert broken(branch) == []


@SEVERAL
@given(work=WORK, exposure=st.sampled_from(["garage", "open", "porch"]))
def test_another_crew_never_makes_the_best_day_worse(transactional_db, work, exposure):
    branch = office(grinders=3)
    fill(branch, work)
    job = waiting(branch, exposure=exposure)
    before = best_days(job, now=NOW).best

    builders.crew(of=branch, installers=3)
    after = best_days(job, now=NOW).best

    assert len(after) >= len(before)
    if before:
        assert after[0].cost <= before[0].cost + 1e-6


@SEVERAL
@given(work=WORK)
def test_the_calendar_that_is_kept_and_renewed_is_the_one_that_is_read_anew(transactional_db, work):
    branch = office()
    prepared(branch, now=NOW)
    fill(branch, work)
    renewed = prepared(branch, now=NOW)

    Branch.objects.filter(pk=branch.pk).update(slug=f"again-{branch.slug}")
    branch.refresh_from_db()
    anew = prepared(branch, now=NOW)

    assert renewed.version == anew.version
    for name in ("start", "end", "people"):
        assert (getattr(renewed.free, name) == getattr(anew.free, name)).all()
    points = [each.points[each.free.before] for each in (renewed, anew)]
    assert (points[0] == points[1]).all()


def test_a_called_off_day_falls_free_in_the_kept_calendar(transactional_db):
    branch = office(crews=1)
    job = waiting(branch)
    offer = best_days(job, now=NOW).best[0]
    book(branch, job, offer)
    assert offer_for(waiting(branch), offer.key, now=NOW) is None
    booking = Stint.objects.get().booking

    bookings.call_off(
        branch=branch,
        booking_id=booking.pk,
        version=booking.version,
        by=builders.actor(of=branch),
        now=NOW,
        why="Changed plans.",
    )

    assert offer_for(waiting(branch), offer.key, now=NOW) is not None


def test_somebody_who_is_away_leaves_a_crew_of_three_two_people_and_a_crew_of_two_none(
    transactional_db,
):
    branch = office(crews=1, grinders=2)
    three = builders.crew(of=branch, installers=3)
    day = date(2026, 6, 3)
    for crew in Crew.objects.of_branch(branch):
        builders.absence(
            who=crew.lead.resource,
            start=branch.at(day, time(0)),
            end=branch.at(day + timedelta(days=1), time(0)),
        )
    job = waiting(branch)

    offers = [each for each in best_days(job, now=NOW, every=True).best if each.day == day]
    offers += [each for each in best_days(job, now=NOW, every=True).others if each.day == day]

    assert [(each.crew, each.crew_size) for each in offers[:1]] == [(three, 2)]
    book(branch, job, offers[0])
    assert three.lead not in Stint.objects.get().installers.all()
    assert broken(branch) == []


def test_a_two_day_floor_is_a_pair_with_the_same_crew_free_on_both_days(transactional_db):
    branch = office(crews=1)
    system = builders.system(of=branch, name="Two-day flake", card=TWO_DAY)
    fill(branch, [(0, 2, 6, 11)])  # Wednesday is taken

    found = best_days(waiting(branch, using=system), now=NOW)

    assert date(2026, 6, 2) not in {offer.day for offer in found.best}
    assert all(len(offer.plan.visits) == 2 for offer in found.best)


def test_a_room_that_opens_again_is_reckoned_backwards_with_a_margin(transactional_db):
    branch = office(crews=1)
    opens = datetime(2026, 6, 3, 8, tzinfo=branch.tz)
    job = waiting(branch, exposure="interior", reopens_at=opens)

    found = best_days(job, now=NOW)

    assert found.best
    assert all(offer.walk_on + timedelta(minutes=60) <= opens for offer in found.best)


def test_on_a_hot_day_a_crew_may_begin_before_the_branch_opens(transactional_db):
    branch = builders.branch(early_from=time(5))
    builders.crew(of=branch)
    builders.machine(of=branch)
    warm = builders.place(latitude="33.900", longitude="-86.802", name="Hot place")
    weather(warm, air_c=33.0, dew_c=12.0)
    branch.depot_place = warm
    branch.save()
    floor = builders.floor(at=builders.site(owner=builders.customer(of=branch), at=warm))
    job = waiting(branch, floors=[floor])

    found = best_days(job, now=NOW)

    starts = {offer.plan.start.astimezone(branch.tz).time() for offer in found.best}
    assert min(starts) < time(7)
    grinds = [
        stage.start.astimezone(branch.tz).time()
        for offer in found.best
        for stage in offer.plan.visits[0].stages
        if stage.kind.noisy
    ]
    assert all(each >= branch.quiet_until for each in grinds)


def test_the_latest_start_of_a_date_to_meet_is_told_for_every_system(client, transactional_db):

    branch = office(crews=1)
    builders.system(of=branch)
    builders.system(of=branch, name="Two-day flake", card=TWO_DAY)
    needed = datetime(2026, 6, 12, 17, tzinfo=branch.tz)
    job = waiting(branch, car_needed_by=needed)

    found = latest_starts(job, now=NOW)

    assert {each.system for each in found} == {"One-day flake", "Two-day flake"}
    for each in found:
        assert each.start is None or each.start < needed
        assert "at the latest" in each.sentence or "no start is early enough" in each.sentence
    assert any(each.start for each in found)


def test_a_roofed_floor_begins_later_where_rain_stops_at_a_known_hour(transactional_db):
    branch = builders.branch(day_ends=time(20))
    builders.crew(of=branch)
    builders.machine(of=branch)
    # Tuesday until 1 PM in Chicago, which is up to 27 hours after NOW (10 AM on Monday).
    rain = {n: {"rain_chance_pct": 80.0, "gust_kmh": 30.0} for n in range(15, 27)}
    weather(branch.depot_place, rows=rain)
    job = waiting(branch, exposure="carport", area_m2=15.0)

    found = best_days(job, now=NOW, every=True)

    tuesday = [o for o in (*found.best, *found.others) if o.day == date(2026, 6, 2)]
    assert tuesday, "the afternoon is dry enough for a small floor"
    assert tuesday[0].plan.pour >= branch.at(date(2026, 6, 2), time(13))
