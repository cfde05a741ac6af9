"""The page of the plan: asked for, looked at, made so; and what a refusal looks like there."""

import json

import pytest
from django.core.management import CommandError, call_command

from dispatch.models import Booking, StoredPlan
from dispatch.services.planning import ask_plan, make_due
from jobs.access import PROGRAM
from jobs.models import Role
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_plans import Yard, lines

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def desk(client, transactional_db):
    """A yard whose office is signed in."""
    yard = Yard(crews=1)
    client.force_login(builders.user(of=yard.branch, role=Role.OFFICE))
    yard.client = client
    return yard


def test_a_plan_that_was_asked_for_tells_its_progress_until_it_is_ready(desk):
    desk.floor()

    asked = desk.client.post("/plans/ask/", follow=True).content.decode()

    assert "Being worked out" in asked
    assert StoredPlan.objects.count() == 1


def test_the_page_names_options_changes_and_reasons_and_books_what_is_marked(desk):
    job = desk.floor()
    plan = desk.plan()
    line = lines(plan)[job.pk]

    page = desk.client.get(f"/plans/{plan.pk}/").content.decode()

    assert "0 to ring" in page
    assert "12 to ring" in page
    assert "proven: no plan costs less" in page
    assert "Why here and not there" in page
    assert "more than here" in page
    assert f'value="{line.pk}"' in page
    assert Booking.objects.count() == 0


def test_floors_without_a_day_are_on_the_page_with_their_reason(desk):
    days = [desk.branch.today(NOW).replace(day=n).isoformat() for n in range(1, 31)]
    desk.floor(impossible_days=days)

    page = desk.client.get(f"/plans/{desk.plan().pk}/").content.decode()

    assert "Floors without a day" in page
    assert "Ada Fields cannot" in page or "Ada Fields needs a day" in page


def test_nothing_marked_books_nothing(desk):
    desk.floor()
    plan = desk.plan()

    page = desk.client.post(f"/plans/{plan.pk}/apply/", {"ring": "0"}, follow=True)

    assert "0 of 0 made so" in page.content.decode()
    assert Booking.objects.count() == 0


def test_a_plan_of_another_branch_is_404(desk):
    other = ask_plan(branch=builders.branch(), by=PROGRAM, now=NOW)

    assert desk.client.get(f"/plans/{other.pk}/").status_code == 404
    assert desk.client.post(f"/plans/{other.pk}/apply/", {"ring": "0"}).status_code == 404


def test_the_command_prints_the_plan_as_json(desk, capsys):
    desk.floor()

    call_command("plan", branch=desk.branch.slug, json=True)

    told = json.loads(capsys.readouterr().out)
    assert told["state"] == "ready"
    assert [each["most_rings"] for each in told["options"]] == [0, 1, 2, 3, 5, 8, 12]
    assert make_due(now=NOW) == 0


def test_the_command_refuses_an_unknown_branch_by_name(desk):
    with pytest.raises(CommandError, match="There is no branch 'nowhere'"):
        call_command("plan", branch="nowhere", json=True)
