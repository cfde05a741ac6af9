"""The crews page: people, machines, stays in crews and absences, with refusals beside them."""

import re
from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from dispatch.models import Absence, Claim, CrewMembership, Installer, Machine
from dispatch.services import bookings, crews
from jobs.models import Role
from tests import builders
from tests.dispatch.battery.office import ask
from tests.invariants import broken

pytestmark = pytest.mark.django_db(transaction=True)

# A Monday far enough ahead, seven in the morning at the branch of the builders.
DAY = date(2027, 6, 7)


@pytest.fixture
def branch(transactional_db):
    return builders.branch()


@pytest.fixture
def desk(client, branch):
    client.force_login(builders.user(of=branch))
    return client


def change(desk, form, **typed):
    return desk.post(reverse("staff-change", args=[form]), typed)


def words(answer):
    return answer.content.decode()


def away(desk, resource, start, end, **typed):
    return change(desk, "away", resource_id=resource.pk, start=start, end=end, **typed)


def test_a_crew_its_people_and_three_grinders_are_entered_and_shown(desk, branch):
    assert change(desk, "crew", name="West").status_code == 302
    assert change(desk, "person", name="Ben Ode", telephone="555 0100").status_code == 302
    assert change(desk, "machine", kind="grinder", name="Large", count="3").status_code == 302
    crew, ben = branch.crews.get(), Installer.objects.get()
    today = branch.today(timezone.now())
    joined = change(desk, "join", installer_id=ben.pk, crew_id=crew.pk, from_day=today.isoformat())

    assert joined.status_code == 302
    page = words(desk.get("/crews/"))
    assert "West" in page
    assert "Ben Ode" in page
    assert [machine.name for machine in Machine.objects.order_by("pk")] == [
        "Large 1",
        "Large 2",
        "Large 3",
    ]
    assert Machine.objects.values("resource").distinct().count() == 3


def test_a_person_pressed_twice_is_one_and_another_by_the_same_page_is_asked_about(desk, branch):
    key = re.search(r'name="key" value="([0-9a-f]{32})"', words(desk.get("/crews/")))[1]

    for _ in range(2):
        assert change(desk, "person", name="Ben Ode", key=key).status_code == 302

    assert Installer.objects.count() == 1
    other = change(desk, "person", name="Ana Ode", key=key)
    assert other.status_code == 409
    assert "If this is another person, send it again." in words(other)
    assert Installer.objects.count() == 1
    fresh = re.search(r'name="key" value="([0-9a-f]{32})"', words(other))[1]
    assert fresh != key
    assert change(desk, "person", name="Ana Ode", key=fresh).status_code == 302
    namesake = re.search(r'name="key" value="([0-9a-f]{32})"', words(desk.get("/crews/")))[1]
    assert change(desk, "person", name="Ben Ode", key=namesake).status_code == 302
    assert Installer.objects.filter(name="Ben Ode").count() == 2


def test_what_a_grinder_does_and_needs_is_typed_in_the_branchs_units_and_shown(desk, branch):
    grinder = builders.machine(of=branch, name="Large")
    typed = {"machine_id": grinder.pk, "m2_per_h": "400", "width_m": "31.5"}

    answer = change(desk, "needs", **typed, volts="220", amps="30")

    assert answer.status_code == 302
    grinder.refresh_from_db()
    # 400 sq ft are 37.16 m², 31.5 in are 0.80 m (NIST SP 811).
    assert grinder.m2_per_h == pytest.approx(37.16, abs=0.01)
    assert grinder.width_m == pytest.approx(0.80, abs=0.001)
    assert "Large (floor grinder): 400 sq ft/h, 31.5 in wide, 220 V, 30 A" in words(
        desk.get("/crews/")
    )
    assert change(desk, "needs", machine_id=grinder.pk).status_code == 302
    grinder.refresh_from_db()
    assert grinder.volts is None, "left empty it is taken back"


def test_a_grinder_that_cannot_be_is_refused_beside_what_was_typed(desk, branch):
    grinder = builders.machine(of=branch)

    answer = change(desk, "needs", machine_id=grinder.pk, width_m="400", volts="12")

    assert answer.status_code == 422
    assert "A machine is 0.2 to 3 m (8 to 118 in) wide." in words(answer)
    assert 'value="400"' in words(answer)
    grinder.refresh_from_db()
    assert grinder.volts is None


def test_a_machine_of_another_branch_is_not_described(desk, branch):
    stranger = builders.machine(of=builders.branch())

    answer = change(desk, "needs", machine_id=stranger.pk, volts="240")

    assert answer.status_code == 404
    stranger.refresh_from_db()
    assert stranger.volts is None


def test_a_stay_in_another_crew_is_dated_and_shown_before_it_begins(desk, branch):
    north, south = (builders.crew(of=branch, name=name) for name in ("North", "South"))
    lent = north.memberships.first().installer
    CrewMembership.objects.filter(installer=lent).update(from_day=date(2026, 1, 5))

    answer = change(desk, "join", installer_id=lent.pk, crew_id=south.pk, from_day=DAY.isoformat())

    assert answer.status_code == 302
    stays = CrewMembership.objects.filter(installer=lent).order_by("from_day")
    assert [(stay.crew, stay.until_day) for stay in stays] == [
        (north, DAY - timedelta(days=1)),
        (south, None),
    ]
    assert f"{lent}: Jun 7 on" in words(desk.get("/crews/"))


def test_somebody_in_a_crew_already_is_refused_beside_what_was_typed(desk, branch):
    south = builders.crew(of=branch, name="South")
    busy = south.memberships.first().installer
    CrewMembership.objects.filter(installer=busy).update(from_day=date(2028, 1, 3))

    typed = {"installer_id": busy.pk, "crew_id": south.pk, "from_day": "2027-06-07"}
    answer = change(desk, "join", **typed)

    assert answer.status_code == 400
    assert f"{busy} is in South from Mon Jan 3 already." in words(answer)
    assert 'value="2027-06-07"' in words(answer)


def test_who_leaves_a_crew_is_in_none_and_said_so(desk, branch):
    crew = builders.crew(of=branch, name="North")
    gone = crew.memberships.first().installer
    yesterday = branch.today(timezone.now()) - timedelta(days=1)
    CrewMembership.objects.filter(installer=gone).update(from_day=date(2026, 1, 5))

    answer = change(desk, "leave", installer_id=gone.pk, last_day=yesterday.isoformat())

    assert answer.status_code == 302
    assert "In no crew today" in words(desk.get("/crews/"))
    again = change(desk, "leave", installer_id=gone.pk, last_day="2027-06-07")
    assert f"{gone} is in no crew on Mon Jun 7." in words(again)


def test_an_absence_claims_its_time_and_can_be_ended(desk, branch):
    crew = builders.crew(of=branch, name="North")
    person = crew.memberships.first().installer

    answer = away(desk, person.resource, "2027-06-07T07:00", "2027-06-09T07:00", why="Course")

    assert answer.status_code == 302
    absence = Absence.objects.get()
    assert Claim.objects.filter(absence=absence).count() == 2 * 24 * 4
    assert "Course" in words(desk.get("/crews/"))
    assert desk.post(reverse("staff-back", args=[absence.pk])).status_code == 302
    assert not Claim.objects.exists()
    assert desk.post(reverse("staff-back", args=[absence.pk])).status_code == 404


def test_an_absence_that_has_begun_keeps_what_has_passed(branch):
    crew = builders.crew(of=branch)
    start = datetime(2027, 6, 7, 11, tzinfo=UTC)
    given = {"branch": branch, "by": builders.actor(of=branch)}
    absence = crews.add_absence(
        resource_id=crew.resource_id,
        start=start,
        end=start + timedelta(hours=8),
        now=start,
        **given,
    )

    crews.end_absence(absence_id=absence.pk, now=start + timedelta(hours=2), **given)

    absence.refresh_from_db()
    assert absence.end == start + timedelta(hours=2)
    assert Claim.objects.filter(absence=absence).count() == 8
    assert broken(branch) == []


def test_an_absence_over_work_is_refused_and_names_the_work(desk, branch):
    crew = builders.crew(of=branch, name="North")
    job = builders.job(of=branch)
    wanted = ask(crew, start=datetime(2027, 6, 7, 12, tzinfo=UTC))
    given = {"branch": branch, "by": builders.actor(of=branch), "now": timezone.now()}
    bookings.book(job_id=job.pk, version=job.version, ask=wanted, **given)

    answer = away(desk, crew.resource, "2027-06-07T07:00", "2027-06-08T07:00", why="Fair")

    assert answer.status_code == 409
    assert "North is already booked" in words(answer)
    assert 'value="Fair"' in words(answer)
    assert not Absence.objects.exists()


def test_a_time_that_clocks_skip_is_refused_at_its_box(desk, branch):
    # The Sunday on which clocks go forward in the United States: 2 AM to 3 AM do not exist.
    crew = builders.crew(of=branch)

    answer = away(desk, crew.resource, "2027-03-14T02:30", "2027-03-15T07:00")

    assert answer.status_code == 400
    assert "does not exist" in words(answer)


@pytest.mark.parametrize("kind", ["crew", "person", "machine", "join", "leave", "away"])
def test_an_empty_form_says_what_is_missing(desk, kind):
    answer = change(desk, kind)

    assert answer.status_code == 422
    assert "Please fill this in." in words(answer)


def test_things_of_another_branch_are_not_found(desk):
    other = builders.crew(of=builders.branch())

    answer = away(desk, other.resource, "2027-06-07T07:00", "2027-06-08T07:00")

    assert answer.status_code == 404
    assert not Absence.objects.exists()


def test_a_crew_lead_sees_the_crews_and_changes_nothing(client, branch):
    client.force_login(builders.user(of=branch, role=Role.LEAD))

    assert client.get("/crews/").status_code == 200
    assert "New machine" not in words(client.get("/crews/"))
    assert change(client, "crew", name="West").status_code == 403
    assert change(client, "nothing").status_code == 403
