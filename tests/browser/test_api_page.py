"""The page of the API in a real browser, where the content policy could stop it."""

import pytest

from tests import builders
from tests.browsing import enter

pytestmark = pytest.mark.django_db(transaction=True)


def test_the_page_shows_every_address_under_the_content_policy(page):
    enter(page, builders.user(of=builders.branch()))

    page.goto("/api/v1/docs")

    page.locator('[data-path="/api/v1/floors/{id}/bookings"]').first.wait_for()
    assert page.locator("[data-path]").count() >= 10


def test_a_request_is_tried_with_the_readers_own_session(page):
    enter(page, builders.user(of=builders.branch()))

    page.goto("/api/v1/docs")
    page.locator('[data-path="/api/v1/verdicts"]').first.click()
    page.get_by_role("button", name="Try it out").click()
    page.get_by_role("button", name="Execute").click()

    page.locator(".live-responses-table .response-col_status", has_text="200").first.wait_for()
