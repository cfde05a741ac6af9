"""Heaters placed in a room: one at a time, felt by slab, cure and verdict of the booking."""

from datetime import timedelta

import numpy as np
import pytest

from dispatch.models import Claim, HeaterStay, MachineKind
from dispatch.reads.chain import lay, setting_for
from dispatch.services import claims, heating
from jobs.models import AuditEvent
from jobs.refusals import Invalid, NotFound, Refusal
from tests import builders
from tests.builders import NOW
from tests.racing import race

pytestmark = pytest.mark.django_db(transaction=True)
DAY = timedelta(days=1)


@pytest.fixture
def branch(transactional_db):
    return builders.branch()


@pytest.fixture
def heater(branch):
    return builders.machine(of=branch, kind=MachineKind.HEATER, name="Heater 1")


@pytest.fixture
def garage(branch):
    builders.forecast(
        at=branch.depot_place,
        start=NOW - 14 * DAY,
        count=25 * 24,
        issued_at=NOW,
        air_c=4.0,
        dew_c=-4.0,
    )
    return builders.job(of=branch)


def place(branch, heater, job, *, start=NOW, days=3.0, **more) -> HeaterStay:
    asked = {"power_kw": 9.0, **more}
    return heating.place_heater(
        branch=branch,
        machine_id=heater.pk,
        site_id=job.site_id,
        start=start,
        end=start + days * DAY,
        by=builders.actor(of=branch),
        now=NOW,
        **asked,
    )


def test_a_heater_is_in_one_room_only(branch, heater, garage):
    other = builders.job(of=branch)
    place(branch, heater, garage)

    with pytest.raises(claims.SlotTaken, match="Heater 1"):
        place(branch, heater, other, start=NOW + DAY)

    assert HeaterStay.objects.count() == 1
    assert Claim.objects.filter(resource=heater.resource).count() == 3 * 24 * 4


def test_a_heater_that_leaves_gives_its_time_back(branch, heater, garage):
    stay = place(branch, heater, garage)
    by = builders.actor(of=branch)

    heating.take_heater_away(branch=branch, stay_id=stay.pk, by=by, now=NOW + DAY)

    stay.refresh_from_db()
    assert stay.end == NOW + DAY
    assert Claim.objects.filter(resource=heater.resource).count() == 24 * 4
    place(branch, heater, builders.job(of=branch), start=NOW + DAY)


def test_a_stay_that_never_began_is_called_off_and_kept(branch, heater, garage):
    stay = place(branch, heater, garage, start=NOW + DAY)

    heating.take_heater_away(branch=branch, stay_id=stay.pk, by=builders.actor(), now=NOW)

    stay.refresh_from_db()
    assert stay.called_off_at == NOW
    assert not Claim.objects.filter(resource=heater.resource).exists()
    assert not HeaterStay.objects.standing().exists()
    assert AuditEvent.objects.filter(subject="site").count() == 2


def test_of_eight_people_who_take_one_heater_away_one_does(branch, heater, garage):
    stay = place(branch, heater, garage, start=NOW + DAY)
    given = {"branch": branch, "stay_id": stay.pk, "by": builders.actor(of=branch), "now": NOW}

    answers = race(8, lambda _: heating.take_heater_away(**given).pk)

    assert sorted(code for code, _ in answers) == ["not_found"] * 7 + ["ok"]
    assert AuditEvent.objects.filter(action="take heater away").count() == 1


def test_the_slab_of_the_booking_feels_it_and_the_floor_is_ready_sooner(branch, heater, garage):
    start = NOW + 2 * DAY
    before = setting_for(garage, now=NOW)
    plain = lay(before, crew_size=2, start=start)
    place(branch, heater, garage, days=6)

    warmed = setting_for(garage, now=NOW)
    heated = lay(warmed, crew_size=2, start=start)

    assert warmed.grounds[0].slab.at_c(start) > before.grounds[0].slab.at_c(start) + 3
    assert heated.end < plain.end
    assert heated.drive_on < plain.drive_on


def test_fumes_left_in_the_room_raise_its_dew_point_and_vented_ones_do_not(branch, heater, garage):
    at = NOW + DAY
    outside = setting_for(garage, now=NOW).grounds[0].hours
    stay = place(branch, heater, garage, vented=False)
    wet = setting_for(garage, now=NOW).grounds[0].hours
    HeaterStay.objects.filter(pk=stay.pk).update(vented=True)
    vented = setting_for(garage, now=NOW).grounds[0].hours

    i = outside.index(at)
    assert wet.dew_c[i] > outside.dew_c[i] + 5
    assert np.allclose(vented.dew_c, outside.dew_c, equal_nan=True)


def test_a_patio_is_not_warmed(branch, heater, garage):
    patio = garage.floors.get()
    patio.exposure = "open"
    patio.save()
    before = setting_for(garage, now=NOW).grounds[0].slab
    place(branch, heater, garage)

    after = setting_for(garage, now=NOW).grounds[0].slab
    assert np.allclose(before.mid_c, after.mid_c, equal_nan=True)


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"power_kw": None}, "Type what it gives"),
        ({"power_kw": 0.0}, "above 0"),
        ({"power_kw": float("nan")}, "above 0"),
        ({"power_kw": 9000.0}, "500 kW"),
        ({"days": -1.0}, "before it is placed"),
        ({"days": 40.0}, "21 days"),
        ({"most_c": 90.0}, "thermostat"),
    ],
)
def test_what_no_heater_does_is_refused(branch, heater, garage, more, sentence):
    with pytest.raises(Invalid, match=sentence):
        place(branch, heater, garage, **more)

    assert not Claim.objects.exists()


def test_a_grinder_heats_nothing_and_a_stranger_places_nothing(branch, heater, garage):
    with pytest.raises(Refusal, match="no heater"):
        place(branch, builders.machine(of=branch), garage)
    with pytest.raises(NotFound):
        place(builders.branch(), heater, garage)
