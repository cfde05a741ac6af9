"""A plan that is being worked out: its page looks again by itself until the plan is there."""

from datetime import timedelta

from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from dispatch.models import PlanState, StoredPlan
from jobs.models import Role
from tests import builders
from tests.browsing import enter


def test_the_page_of_a_plan_in_work_becomes_the_plan(page: Page) -> None:
    branch, now = builders.branch(), timezone.now()
    enter(page, builders.user(of=branch, role=Role.OFFICE))
    plan = StoredPlan.objects.create(
        branch=branch,
        state=PlanState.SOLVING,
        asked_at=now,
        asked_by="desk",
        progress="Looking at floor 3 of 9",
        leased_until=now + timedelta(minutes=5),
    )
    page.goto(reverse("plan", args=[plan.pk]))
    expect(page.get_by_role("main")).to_contain_text("Looking at floor 3 of 9")

    StoredPlan.objects.filter(pk=plan.pk).update(
        state=PlanState.FAILED, why="Every day is closed.", leased_until=None
    )

    expect(page.get_by_role("main")).to_contain_text("Every day is closed.", timeout=9_000)
