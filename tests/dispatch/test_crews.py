"""Crews, people and machines: who exists, who is where, who is away."""

from datetime import date, timedelta

import pytest

from dispatch.models import Claim, CrewMembership, Installer, MachineKind, Resource
from dispatch.services import crews
from dispatch.services.claims import SlotTaken
from jobs.models import AuditEvent
from jobs.refusals import NotFound, Refusal
from tests import builders
from tests.builders import NOW
from tests.racing import race

pytestmark = pytest.mark.django_db(transaction=True)
JUNE_1, JUNE_10 = date(2026, 6, 1), date(2026, 6, 10)
AN_HOUR = timedelta(hours=1)


@pytest.fixture
def branch():
    return builders.branch()


@pytest.fixture
def asked(branch):
    """Who asks, where and when."""
    return {"branch": branch, "by": builders.actor(of=branch), "now": NOW}


def test_whatever_can_be_in_one_place_only_is_a_resource_and_on_record(asked, branch):
    crew = crews.add_crew(name="North", **asked)
    person = crews.add_installer(name="Rosa", telephone="205-555-0123", **asked)
    grinder = crews.add_machine(kind=MachineKind.GRINDER, name="Big grinder", **asked)

    resources = {crew.resource, person.resource, grinder.resource}
    assert resources == set(Resource.objects.of_branch(branch))
    assert AuditEvent.objects.filter(action="add").count() == 3
    branch.refresh_from_db()
    assert branch.calendar_version == 3


@pytest.mark.parametrize("name", ["", "  ", "\u202e"])
def test_a_crew_needs_a_name(asked, name):
    with pytest.raises(Refusal, match="needs a name"):
        crews.add_crew(name=name, **asked)


def test_two_crews_of_one_branch_have_two_names(asked):
    crews.add_crew(name="North", **asked)

    with pytest.raises(Refusal, match="already a crew called North"):
        crews.add_crew(name=" North ", **asked)


def test_who_joins_another_crew_leaves_the_first_the_day_before(asked, branch):
    north, south = builders.crew(of=branch, installers=0), builders.crew(of=branch, installers=0)
    rosa = builders.installer(of=branch, crew=north, from_day=JUNE_1)

    crews.join_crew(crew_id=south.pk, installer_id=rosa.pk, from_day=JUNE_10, **asked)

    before, after = (
        CrewMembership.objects.on(day).get(installer=rosa).crew
        for day in (JUNE_10 - timedelta(days=1), JUNE_10)
    )
    assert (before, after) == (north, south)


def test_nobody_is_in_two_crews_on_one_day(asked, branch):
    north, south = builders.crew(of=branch, installers=0), builders.crew(of=branch, installers=0)
    rosa = builders.installer(of=branch, crew=north, from_day=JUNE_10)

    with pytest.raises(Refusal, match="from Wed Jun 10 already"):
        crews.join_crew(crew_id=south.pk, installer_id=rosa.pk, from_day=JUNE_1, **asked)

    assert Installer.objects.get().memberships.get().until_day is None


def test_a_stay_that_ends_before_it_starts_is_refused(asked, branch):
    crew = builders.crew(of=branch, installers=1)

    with pytest.raises(Refusal, match="before the first"):
        crews.join_crew(
            crew_id=crew.pk, installer_id=crew.lead.pk, from_day=JUNE_10, until_day=JUNE_1, **asked
        )


def test_people_and_crews_of_another_branch_are_not_found(asked, branch):
    elsewhere = builders.branch()
    crew, person = builders.crew(of=branch), builders.installer(of=elsewhere)

    with pytest.raises(NotFound):
        crews.join_crew(crew_id=crew.pk, installer_id=person.pk, from_day=JUNE_1, **asked)
    with pytest.raises(NotFound):
        crews.add_absence(resource_id=person.resource_id, start=NOW, end=NOW + AN_HOUR, **asked)

    assert not Claim.objects.exists()


def test_an_absence_claims_its_time(asked, branch):
    machine = builders.machine(of=branch)

    absence = crews.add_absence(
        resource_id=machine.resource_id, start=NOW, end=NOW + AN_HOUR, why="in repair", **asked
    )

    assert absence.claims.count() == 4  # four quarters of an hour


def test_the_record_says_who_is_away_when_and_why(asked, branch):
    rosa = builders.installer(of=branch)
    span = {"start": NOW, "end": NOW + AN_HOUR}
    absence = crews.add_absence(resource_id=rosa.resource_id, why="dentist", **span, **asked)
    crews.end_absence(absence_id=absence.pk, **asked)

    added, ended = AuditEvent.objects.filter(subject="absence").order_by("pk")
    kept = {name: at.isoformat() for name, at in span.items()}
    assert (added.after, added.why) == ({"name": rosa.name, **kept}, "dentist")
    assert (ended.before, ended.after) == (kept, {"name": rosa.name})


def test_of_eight_people_who_end_one_absence_one_does(asked, branch):
    rosa = builders.installer(of=branch)
    absence = builders.absence(who=rosa.resource, start=NOW + AN_HOUR, end=NOW + 2 * AN_HOUR)

    answers = race(8, lambda _: crews.end_absence(absence_id=absence.pk, **asked).pk)

    assert sorted(code for code, _ in answers) == ["not_found"] * 7 + ["ok"]
    assert AuditEvent.objects.filter(subject="absence", action="end").count() == 1
    assert not Claim.objects.exists()


def test_an_absence_over_work_or_absence_is_refused_and_leaves_nothing(asked, branch):
    machine = builders.machine(of=branch)
    builders.absence(who=machine.resource, start=NOW, end=NOW + AN_HOUR)

    with pytest.raises(SlotTaken, match="is away"):
        crews.add_absence(
            resource_id=machine.resource_id, start=NOW, end=NOW + 2 * AN_HOUR, **asked
        )

    assert (machine.resource.absences.count(), Claim.objects.count()) == (1, 4)


@pytest.mark.parametrize("length", [timedelta(0), -AN_HOUR, timedelta(days=400)])
def test_an_absence_has_a_length_that_can_be(asked, branch, length):
    machine = builders.machine(of=branch)

    with pytest.raises(Refusal):
        crews.add_absence(resource_id=machine.resource_id, start=NOW, end=NOW + length, **asked)
