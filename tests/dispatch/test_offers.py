"""Offers: what the office may promise, and the one sentence why not for every other day."""

from datetime import date, datetime, time, timedelta

import pytest

from dispatch.models import Claim
from dispatch.reads.offers import best_days, offer_for
from dispatch.rules.asking import Ask, PlannedStint, Promised
from dispatch.rules.findings import Level
from dispatch.rules.firmness import Firmness
from dispatch.services import bookings
from jobs.models import DayWish, Holiday, Job
from jobs.rules.catalogue import TWO_DAY
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db(transaction=True)

PAST = timedelta(days=15)


def weather(place, *, rows=None, **layers) -> None:
    """Fifteen known days behind and nine ahead; positions in `rows` count from NOW."""
    shifted = {int(PAST / timedelta(hours=1)) + n: row for n, row in (rows or {}).items()}
    builders.forecast(
        at=place,
        start=NOW - PAST,
        count=24 * 24,
        issued_at=NOW - timedelta(minutes=30),
        rows=shifted,
        **layers,
    )


@pytest.fixture
def house(transactional_db):
    branch = builders.branch()
    builders.crew(of=branch, name="North")
    builders.machine(of=branch, name="Grinder 1")
    return branch


def job(branch, **given) -> Job:
    """A waiting order, read as the pages read it."""
    row = builders.job(of=branch, **given)
    return Job.objects.with_floors().get(pk=row.pk)


def test_a_garage_on_mild_dry_days_gets_five_days_with_everything_a_customer_asks(house):
    weather(house.depot_place)

    found = best_days(job(house), now=NOW)

    assert len(found.best) == 5
    first = found.best[0]
    assert first.verdict.level is Level.GO
    assert first.level is Firmness.CONFIRMED
    zone = house.tz
    assert first.plan.start.astimezone(zone).time() == time(7, 0)
    assert first.walk_on > first.plan.top_end
    assert first.drive_on > first.walk_on
    assert {instant.minute % 15 for instant in (first.walk_on, first.drive_on)} == {0}
    assert [offer.cost for offer in found.best] == sorted(offer.cost for offer in found.best)


def test_every_day_is_an_offer_or_has_a_sentence_why_not(house):
    weather(house.depot_place)
    holiday = date(2026, 6, 5)
    Holiday.objects.create(branch=house, day=holiday, name="Founders' day")

    found = best_days(job(house, impossible_days=["2026-06-04"]), now=NOW, every=True)

    whys = {each.day: each.why for each in found.refused}
    offered = {offer.day for offer in (*found.best, *found.others)}
    assert offered | set(whys) == {date(2026, 6, 1) + timedelta(days=n) for n in range(91)}
    assert not offered & set(whys)
    assert "Founders' day" in whys[holiday]
    assert whys[date(2026, 6, 4)] == "Ada Fields cannot on Thu Jun 4."
    assert "does not work on Saturdays" in whys[date(2026, 6, 6)]


def test_rain_on_wet_resin_refuses_an_open_floor_but_not_a_garage(house):
    # Tuesday 2026-06-02, noon to 6 PM in Chicago, is 26 to 32 hours after NOW (10 AM).
    rain = {n: {"rain_chance_pct": 70, "rain_mm": 2.0} for n in range(26, 32)}
    weather(house.depot_place, rows=rain)

    patio = best_days(job(house, exposure="open"), now=NOW, every=True)
    garage = best_days(job(house), now=NOW, every=True)

    tuesday = date(2026, 6, 2)
    assert tuesday not in {offer.day for offer in (*patio.best, *patio.others)}
    assert "70 %" in next(each.why for each in patio.refused if each.day == tuesday)
    assert tuesday in {offer.day for offer in (*garage.best, *garage.others)}


def test_days_beyond_the_forecast_are_offered_as_unknown_and_never_confirmed(house):
    weather(house.depot_place)

    found = best_days(job(house), now=NOW, every=True)

    beyond = [offer for offer in (*found.best, *found.others) if offer.beyond]
    assert beyond
    assert {offer.verdict.level for offer in beyond} == {Level.UNKNOWN}
    assert all(offer.level is not Firmness.CONFIRMED for offer in beyond)


def test_without_any_forecast_nothing_is_green(house):
    found = best_days(job(house), now=NOW, every=True)

    assert not [o for o in (*found.best, *found.others) if o.verdict.level is Level.GO]
    assert "No forecast" in found.setting.nearby


def test_a_floor_that_no_crew_can_finish_says_the_hours(house):
    weather(house.depot_place)

    found = best_days(job(house, area_m2=400.0), now=NOW)

    assert not found.best
    assert "work ends at 6:00 PM" in found.nothing


def test_a_system_that_is_too_cold_for_every_hour_says_so(house):
    weather(house.depot_place, air_c=-12.0, dew_c=-16.0)

    found = best_days(job(house, exposure="carport"), now=NOW)

    assert not [o for o in found.best if o.verdict.level is Level.GO]
    assert "sets at nothing under" in found.nothing
    assert "(13 °F) when the base goes down" in found.nothing


def test_a_car_that_is_needed_sooner_than_drive_on_refuses_the_day(house):
    weather(house.depot_place)
    needed = datetime.combine(date(2026, 6, 3), time(17), tzinfo=house.tz)

    found = best_days(job(house, car_needed_by=needed), now=NOW)

    assert all(offer.drive_on <= needed for offer in found.best)
    late = next(each for each in found.refused if each.day == date(2026, 6, 5))
    assert "after the car is needed at Wed Jun 3, 5:00 PM" in late.why


def test_a_fixed_day_is_the_only_one_offered(house):
    weather(house.depot_place)
    only = date(2026, 6, 4)

    found = best_days(job(house, day_wish=DayWish.FIXED, wished_day=only), now=NOW)

    assert {offer.day for offer in found.best} == {only}


def test_one_grinder_holds_two_crews_apart(house):
    weather(house.depot_place)
    builders.crew(of=house, name="South")
    first = job(house)
    offer = best_days(first, now=NOW).best[0]
    _book(house, first, offer)

    second = best_days(job(house), now=NOW)

    day = next(each for each in second.refused if each.day == offer.day)
    assert "Every grinder is out" in day.why


def test_an_offer_can_be_booked_and_is_gone_then(house):
    weather(house.depot_place)
    first, second = job(house), job(house)
    offer = best_days(first, now=NOW).best[0]

    again = offer_for(first, offer.key, now=NOW)
    booking = _book(house, first, again)

    assert booking.stints.get().start == offer.plan.start
    assert Claim.objects.filter(stint__booking=booking).exists()
    assert offer_for(second, offer.key, now=NOW) is None


def test_a_two_day_system_is_two_stints_with_the_top_inside_the_recoat_window(house):
    weather(house.depot_place, air_c=22.0)
    system = builders.system(of=house, name="Two-day flake", card=TWO_DAY)

    found = best_days(job(house, using=system), now=NOW)

    offer = found.best[0]
    assert len(offer.plan.visits) == 2
    assert len(offer.ask().stints) == 2
    assert offer.plan.recoat_from <= offer.plan.top_start <= offer.plan.recoat_until


def test_more_crews_never_make_the_best_offer_worse(house):
    weather(house.depot_place)
    alone = best_days(job(house), now=NOW).best[0].cost
    builders.crew(of=house, name="South", installers=3)

    assert best_days(job(house), now=NOW).best[0].cost <= alone


def _book(branch, one: Job, offer):
    return bookings.book(
        branch=branch,
        job_id=one.pk,
        version=one.version,
        ask=offer.ask(),
        by=builders.actor(of=branch),
        now=NOW,
    )


def test_a_small_porch_follows_a_finished_floor_of_the_same_crew_with_the_road_between(house):
    weather(house.depot_place)
    first = job(house, area_m2=20.0)
    morning = best_days(first, now=NOW).best[0]
    _book(house, first, morning)
    house.day_ends = time(21)
    house.save()

    found = best_days(job(house, area_m2=10.0), now=NOW, every=True)

    same = next(o for o in (*found.best, *found.others) if o.day == morning.day)
    assert same.plan.start >= morning.plan.end
    _book(house, same.job, same)  # the claims of both, roads included, do not meet


def test_work_late_in_the_day_leaves_the_morning_to_a_small_floor(house):
    weather(house.depot_place)
    late = builders.job(of=house)
    start = datetime(2026, 6, 2, 15, tzinfo=house.tz)
    crew = house.crews.get()
    stint = PlannedStint(crew_id=crew.pk, start=start, end=start + timedelta(hours=2))
    bookings.book(
        branch=house,
        job_id=late.pk,
        version=0,
        ask=Ask((stint,), Promised(Firmness.PLANNED, None, None)),
        by=builders.actor(of=house),
        now=NOW,
    )

    found = best_days(job(house, area_m2=10.0), now=NOW, every=True)

    tuesday = next(o for o in (*found.best, *found.others) if o.day == date(2026, 6, 2))
    assert tuesday.plan.start == datetime(2026, 6, 2, 7, tzinfo=house.tz)


def test_a_move_never_offers_the_place_where_the_floor_stands(house):
    weather(house.depot_place)
    one = job(house)
    booking = _book(house, one, best_days(one, now=NOW).best[0])
    one = Job.objects.with_floors().get(pk=one.pk)

    found = best_days(one, now=NOW, moving=booking.pk, every=True)

    stands = booking.stints.get().start
    assert stands not in {offer.plan.start for offer in (*found.best, *found.others)}


def test_an_offer_east_of_greenwich_can_be_booked_though_its_utc_day_is_the_day_before(
    transactional_db,
):
    place = builders.place(
        latitude="-27.470", longitude="153.020", zone="Australia/Brisbane", name="Brisbane"
    )
    branch = builders.branch(at=place, country="AU", units="metric")
    builders.crew(of=branch, name="East")
    builders.machine(of=branch)
    weather(place)
    customer = builders.customer(of=branch)
    floor = builders.floor(at=builders.site(owner=customer, at=place))
    one = job(branch, floors=[floor])

    offer = best_days(one, now=NOW).best[0]

    assert offer.plan.start.date() < offer.day
    assert offer_for(one, offer.key, now=NOW).key == offer.key


@pytest.mark.parametrize("key", ["", "@", "1@soon", "x@2026-06-02T12:00Z", "1@9999-12-31T23:59Z"])
def test_a_key_that_names_nothing_is_no_offer(house, key):
    weather(house.depot_place)

    assert offer_for(job(house), key, now=NOW) is None


def test_a_floor_a_day_s_drive_away_gets_an_answer_for_every_day(house):
    # Some 800 km from the depot: the road alone fills the stretches that the arrays look at.
    weather(house.depot_place)
    far = builders.site(owner=builders.customer(of=house), latitude=31.0, longitude=-78.0)

    found = best_days(job(house, floors=[builders.floor(at=far)]), now=NOW)

    answered = {each.day for each in (*found.best, *found.others, *found.refused, *found.possible)}
    assert len(answered) == 91
    assert not found.best
    why = {each.why for each in found.refused}
    assert any("by road from the depot: too far for a day" in each for each in why)
