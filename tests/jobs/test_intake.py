"""Taking in a floor: what becomes of it, and a sentence for everything that cannot be."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.idempotency import KeyReused
from jobs.models import AuditEvent, Customer, Floor, Job, JobState, Site
from jobs.models.branches import Units
from jobs.rules.units import m2_from_ft2
from jobs.services import intake
from jobs.services.intake import Invalid, NewFloor, NewJob
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def branch():
    return builders.branch()


@pytest.fixture
def system(branch):
    return builders.system(of=branch)


@pytest.fixture
def by(branch):
    return builders.actor(of=branch)


@pytest.fixture
def garage():
    return NewFloor(exposure="garage", area_m2=m2_from_ft2(450), name="Garage", edge_m=26.0)


@pytest.fixture
def new(system, garage):
    return NewJob(
        customer_name="Ada Fields",
        email="ada@mail.example",
        telephone="205-555-0123",
        street="12 Oak Street",
        town="Birmingham",
        region="AL",
        postal_code="35203",
        system_id=system.pk,
        floors=(garage,),
    )


def refused(branch, new, *, now=NOW):
    """The problems by field."""
    return intake.problems_of(branch=branch, new=new, now=now)


def test_a_floor_that_is_taken_in_waits_with_customer_site_price_and_record(branch, new, by):
    job = intake.take_in(branch=branch, new=new, by=by, now=NOW)

    job.refresh_from_db()
    assert (job.state, job.created_at) == (JobState.WAITING, NOW)
    assert str(job.site) == "12 Oak Street, Birmingham, AL 35203"
    assert job.site.zone == "America/Chicago"
    assert float(job.site.latitude) == pytest.approx(33.5, abs=0.1)
    assert job.price == Decimal("3135.48")  # 450 sq ft are 41.8064 m², at 75.00
    (floor,) = job.floors.all()
    assert floor.area_m2 == pytest.approx(41.806, abs=0.001)
    kept = AuditEvent.objects.get(subject="job", subject_id=job.pk)
    assert (kept.action, kept.actor) == ("take in", by.user)


def test_the_town_comes_from_the_postal_code_when_it_is_left_empty(branch, new, by):
    job = intake.take_in(branch=branch, new=replace(new, town="", region=""), by=by, now=NOW)

    assert (job.site.town, job.site.region) == ("Birmingham", "AL")


def test_a_place_by_hand_needs_no_postal_code(branch, new, by):
    by_hand = replace(
        new, postal_code="", latitude="51.05", longitude="13.74", zone="Europe/Berlin"
    )

    job = intake.take_in(branch=branch, new=by_hand, by=by, now=NOW)

    assert (job.site.latitude, job.site.zone) == (51.05, "Europe/Berlin")
    (remark,) = intake.remarks_on(branch=branch, new=by_hand, now=NOW)
    assert "miles from the depot" in remark


def test_the_same_key_gives_the_same_job(branch, new, by):
    first = intake.take_in(branch=branch, new=new, by=by, now=NOW, key="k1")
    again = intake.take_in(branch=branch, new=new, by=by, now=NOW, key="k1")

    assert (first.pk, Job.objects.count()) == (again.pk, 1)


def test_a_key_is_not_for_two_orders(branch, new, by):
    intake.take_in(branch=branch, new=new, by=by, now=NOW, key="k1")

    with pytest.raises(KeyReused):
        intake.take_in(branch=branch, new=replace(new, color="gray"), by=by, now=NOW, key="k1")

    assert Job.objects.count() == 1


@pytest.mark.parametrize(
    "changes",
    [
        {"customer_name": "A. Fields", "email": "ADA@mail.example"},
        {"email": "", "telephone": "(205) 555 0123"},
    ],
)
def test_a_customer_who_is_known_is_not_made_twice(branch, new, by, changes):
    intake.take_in(branch=branch, new=new, by=by, now=NOW)
    intake.take_in(branch=branch, new=replace(new, **changes), by=by, now=NOW)

    assert (Customer.objects.count(), Site.objects.count(), Floor.objects.count()) == (1, 1, 2)


def test_namesakes_with_other_telephones_stay_two_people(branch, new, by):
    intake.take_in(branch=branch, new=new, by=by, now=NOW)
    other = replace(new, email="", telephone="205-555-9999")
    intake.take_in(branch=branch, new=other, by=by, now=NOW)

    assert Customer.objects.count() == 2


def test_what_was_missing_of_a_known_customer_is_added(branch, new, by):
    intake.take_in(branch=branch, new=replace(new, email=""), by=by, now=NOW)
    intake.take_in(branch=branch, new=new, by=by, now=NOW)

    assert Customer.objects.get().email == "ada@mail.example"
    assert AuditEvent.objects.filter(subject="customer", action="complete").exists()


def test_a_customer_of_another_branch_is_nobody_here(branch, new, by):
    elsewhere = builders.branch()
    builders.customer(of=elsewhere, name="Ada Fields", email="ada@mail.example")

    job = intake.take_in(branch=branch, new=new, by=by, now=NOW)

    assert job.customer.branch == branch


def test_a_system_of_another_branch_is_not_found(branch, new):
    foreign = builders.system(of=builders.branch(), name="Foreign")

    problems = refused(branch, replace(new, system_id=foreign.pk))

    assert list(problems) == ["system_id"]
    assert "no such coating system in this branch" in problems["system_id"]


@pytest.mark.parametrize("number", [0, -1, 10**30])
def test_a_system_that_never_was_is_not_found(branch, new, number):
    assert "system_id" in refused(branch, replace(new, system_id=number))


def test_a_system_that_is_no_longer_sold_cannot_be_ordered(branch, new, system):
    system.sold = False
    system.save()

    assert "system_id" in refused(branch, new)


@pytest.mark.parametrize(
    ("area_ft2", "said"),
    [
        (0, "between 11 and 50,000 sq ft, not 0."),
        (1_000_000, "between 11 and 50,000 sq ft, not 1,000,000."),
        (-450, "not -450."),
        (float("nan"), "not nan."),
        (float("inf"), "not inf."),
    ],
)
def test_an_area_that_no_floor_has_is_refused(branch, new, garage, area_ft2, said):
    floor = replace(garage, area_m2=m2_from_ft2(area_ft2))

    problems = refused(branch, replace(new, floors=(floor,)))

    assert said in problems["floors.0.area_m2"]


@pytest.mark.parametrize("area_ft2", [11, 50_000])
def test_the_limits_of_an_area_belong_to_it(branch, new, by, garage, area_ft2):
    floor = replace(garage, area_m2=m2_from_ft2(area_ft2))

    intake.take_in(branch=branch, new=replace(new, floors=(floor,)), by=by, now=NOW)

    assert Floor.objects.get().area_m2 == pytest.approx(m2_from_ft2(area_ft2))


def test_a_metric_branch_is_told_in_square_meters(new, garage):
    metric = builders.branch(units=Units.METRIC, country="DE")

    problems = refused(metric, replace(new, floors=(replace(garage, area_m2=5001),)))

    assert "between 1 and 5,000 m², not 5,001." in problems["floors.0.area_m2"]
    assert "in the United States only" in problems["latitude"]


def test_an_edge_left_empty_is_that_of_a_square_and_said(branch, new, by, garage):
    square = replace(garage, area_m2=100.0, edge_m=None)
    order = replace(new, floors=(square,))

    (remark,) = intake.remarks_on(branch=branch, new=order, now=NOW)
    intake.take_in(branch=branch, new=order, by=by, now=NOW)

    assert remark == "Garage: no edge was given, so 131 ft is assumed, as of a square floor."
    assert Floor.objects.get().edge_m == 40


@pytest.mark.parametrize(
    ("changes", "field", "said"),
    [
        ({"postal_code": ""}, "postal_code", "no place: type a US postal code"),
        ({"postal_code": "00001"}, "postal_code", "No US postal code 00001 is known"),
        ({"postal_code": "3520"}, "postal_code", "needs five digits"),
        ({"latitude": "33.5", "zone": "UTC"}, "longitude", "needs a longitude too"),
        ({"latitude": "33.5", "longitude": "-86.8"}, "zone", "needs a time zone too"),
        ({"latitude": "91", "longitude": "1", "zone": "UTC"}, "latitude", "between -90 and 90"),
        ({"latitude": "x", "longitude": "1", "zone": "UTC"}, "latitude", "is not a latitude"),
        ({"latitude": "1", "longitude": "1", "zone": "../x"}, "zone", "is not a time zone"),
        ({"latitude": "0", "longitude": "0", "zone": "UTC"}, "latitude", "in the Atlantic"),
        ({"customer_name": " \u202e "}, "customer_name", "customer's name"),
        ({"customer_name": "x" * 121}, "customer_name", "120 characters"),
        ({"street": ""}, "street", "street and number"),
        ({"email": "ada at mail"}, "email", "is not an e-mail address"),
        ({"email": "", "telephone": ""}, "telephone", "one of them is needed"),
        ({"telephone": "ring the bell"}, "telephone", "is not a telephone number"),
        ({"notes": "x" * 2001}, "notes", "2000 characters"),
        ({"floors": ()}, "floors", "at least one floor"),
        ({"day_wish": "soon"}, "day_wish", "how much the day matters"),
        ({"day_wish": "fixed"}, "wished_day", "the day that the customer wants"),
        ({"day_wish": "prefers"}, "wished_day", "the day that the customer wants"),
        ({"wished_day": date(2026, 6, 9)}, "day_wish", "preferred or the only one"),
        (
            {"day_wish": "fixed", "wished_day": date(2026, 5, 31)},
            "wished_day",
            "Sun May 31, 2026 has gone by",
        ),
        (
            {"day_wish": "fixed", "wished_day": date(2062, 6, 9)},
            "wished_day",
            "more than two years ahead",
        ),
        (
            {
                "day_wish": "prefers",
                "wished_day": date(2026, 6, 9),
                "impossible_days": (date(2026, 6, 9),),
            },
            "wished_day",
            "Tue Jun 9 is among the days that do not work",
        ),
        ({"impossible_days": (date(2025, 6, 9),)}, "impossible_days", "has gone by"),
        ({"car_needed_by": datetime(2026, 5, 31, 12)}, "car_needed_by", "has gone by"),
        ({"car_needed_by": datetime(1, 1, 1)}, "car_needed_by", "The year 1 cannot be"),
        ({"car_needed_by": datetime.max}, "car_needed_by", "The year 9999 cannot be"),
        ({"car_needed_by": datetime(2026, 6, 1, 9)}, "car_needed_by", "9:00 AM today has gone by"),
        (
            {"car_needed_by": datetime(2027, 3, 14, 2, 30)},
            "car_needed_by",
            "The clocks go forward past 2:30 AM on Sun Mar 14",
        ),
        (
            {
                "day_wish": "fixed",
                "wished_day": date(2026, 6, 9),
                "car_needed_by": datetime(2026, 6, 8, 12),
            },
            "car_needed_by",
            "before the preferred day, Tue Jun 9",
        ),
    ],
)
def test_bad_input_is_answered_with_the_field_and_a_sentence(branch, new, changes, field, said):
    problems = refused(branch, replace(new, **changes))

    assert list(problems) == [field]
    assert said in problems[field]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"exposure": "moon"}, "exposure"),
        ({"condition": "wet"}, "condition"),
        ({"area_m2": None}, "area_m2"),
        ({"edge_m": -1.0}, "edge_m"),
        ({"crack_m": float("nan")}, "crack_m"),
        ({"stem_wall_m": 1e9}, "stem_wall_m"),
        ({"steps": -1}, "steps"),
        ({"spalls": 10**30}, "spalls"),
        ({"name": "x" * 81}, "name"),
    ],
)
def test_each_measure_of_a_floor_has_its_bounds(branch, new, garage, changes, field):
    problems = refused(branch, replace(new, floors=(garage, replace(garage, **changes))))

    assert list(problems) == [f"floors.1.{field}"]


def test_everything_that_is_wrong_is_said_at_once_and_nothing_is_written(branch, new, by, garage):
    bad = replace(
        new,
        customer_name="",
        postal_code="",
        system_id=None,
        floors=(replace(garage, area_m2=0),),
        day_wish="fixed",
    )

    with pytest.raises(Invalid) as refusal:
        intake.take_in(branch=branch, new=bad, by=by, now=NOW)

    assert set(refusal.value.problems) == {
        "customer_name",
        "postal_code",
        "system_id",
        "floors.0.area_m2",
        "wished_day",
    }
    assert (Job.objects.count(), Customer.objects.count()) == (0, 0)


def test_the_car_is_needed_at_the_sites_own_time(branch, new, by):
    # 35203 is on Central time: 5 PM in summer is 22:00 UTC.
    order = replace(new, car_needed_by=datetime(2026, 6, 12, 17, 0))

    job = intake.take_in(branch=branch, new=order, by=by, now=NOW)

    assert job.car_needed_by == datetime(2026, 6, 12, 22, 0, tzinfo=UTC)


def test_a_time_that_the_clocks_show_twice_takes_the_first_and_says_so(branch, new, by):
    # United States clocks go back at 2:00 on the first Sunday of November (15 USC 260a).
    order = replace(new, car_needed_by=datetime(2026, 11, 1, 1, 30))

    (remark,) = intake.remarks_on(branch=branch, new=order, now=NOW)
    job = intake.take_in(branch=branch, new=order, by=by, now=NOW)

    assert remark == (
        "The clocks go back on Sun Nov 1 and show 1:30 AM twice; the car is needed by the first."
    )
    assert job.car_needed_by == datetime(2026, 11, 1, 6, 30, tzinfo=UTC)


def test_today_is_the_sites_day_not_the_servers(branch, new):
    late = datetime(2026, 6, 2, 3, 0, tzinfo=UTC)  # 10 PM on June 1 in Chicago
    order = replace(new, day_wish="fixed", wished_day=date(2026, 6, 1))

    assert refused(branch, order, now=late) == {}
    assert "wished_day" in refused(branch, order, now=late + timedelta(hours=2))


def test_text_is_made_safe_before_it_is_kept(branch, new, by):
    order = replace(
        new,
        customer_name="Ada\r\nBcc: x\u202e\u0000  Fields",
        notes="gate\x07 code\r\n\r\n\r\n\r\n4711 \u2028x",
    )

    job = intake.take_in(branch=branch, new=order, by=by, now=NOW)

    assert job.customer.name == "Ada Bcc: x Fields"
    assert job.notes == "gate  code\n\n4711  x"


def test_several_floors_of_one_order_share_its_least_price(branch, new, by, garage, system):
    system.smallest_price = Decimal(1500)
    system.save()
    small = replace(garage, area_m2=5.0)

    job = intake.take_in(branch=branch, new=replace(new, floors=(small, small)), by=by, now=NOW)

    assert (job.floors.count(), job.price) == (2, Decimal("1500.00"))


def test_bays_a_porous_slab_and_the_way_in_are_kept(branch, new, garage, by):
    block = replace(garage, bays=4, porous=True)
    wide = replace(new, floors=(block,), way_in_m=2.4, volts=240, amps=30)

    job = intake.take_in(branch=branch, new=wide, by=by, now=NOW)

    floor = job.floors.get()
    assert (floor.bays, floor.porous, floor.work.porous) == (4, True, True)
    assert job.bays() == 4
    assert (job.site.way_in_m, job.site.volts, job.site.amps) == (2.4, 240, 30)


def test_what_becomes_known_of_the_way_in_completes_the_site(branch, new, by):
    first = intake.take_in(branch=branch, new=new, by=by, now=NOW)
    assert first.site.volts is None

    again = replace(new, notes="again", volts=240)
    assert intake.take_in(branch=branch, new=again, by=by, now=NOW).site.volts == 240


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"way_in_m": 0.1}, "way_in_m"),
        ({"way_in_m": float("nan")}, "way_in_m"),
        ({"volts": 12}, "volts"),
        ({"amps": 900}, "amps"),
    ],
)
def test_numbers_of_access_that_cannot_be_are_refused(branch, new, changed, field):
    assert field in refused(branch, replace(new, **changed))


@pytest.mark.parametrize("bays", [0, 25])
def test_a_floor_has_at_least_one_bay_and_no_swarm_of_them(branch, new, garage, bays):
    assert "floors.0.bays" in refused(branch, replace(new, floors=(replace(garage, bays=bays),)))


def many(new, number):
    return [
        replace(
            new, customer_name=f"Ada {n}", email=f"{n}@mail.example", street=f"{n} Oak Street",
            telephone=f"205-555-{n:04d}",
        )
        for n in range(number)
    ]  # fmt: skip


def test_many_orders_are_taken_in_in_their_order_or_none_of_them(branch, new, by):
    orders = many(new, 3)
    with pytest.raises(Invalid, match=r"."):
        intake.take_in_all(branch=branch, new=[*orders, replace(new, street="")], by=by, now=NOW)
    assert not Job.objects.exists()

    jobs = intake.take_in_all(branch=branch, new=orders, by=by, now=NOW)

    assert [job.customer.name for job in jobs] == ["Ada 0", "Ada 1", "Ada 2"]
    taken = AuditEvent.objects.filter(subject="job", action="take in")
    assert {event.subject_id for event in taken} == {job.pk for job in jobs}


def test_fifty_orders_take_hardly_more_queries_than_five(branch, new, by):
    counts = []
    for orders in (many(new, 5), many(new, 60)[5:]):
        with CaptureQueriesContext(connection) as asked:
            intake.take_in_all(branch=branch, new=orders, by=by, now=NOW)
        counts.append(len(asked))

    assert counts[1] <= counts[0] + 3
