"""An empty installation on its first day: the office opens, and the first floor is booked."""

from datetime import timedelta
from pathlib import Path

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from dispatch.models import Booking
from dispatch.services.opening import setup_code
from tests import builders
from weather.models import Place

WIDTHS = (1280, 390)
HALF_HOUR = timedelta(minutes=30)
OFFICE = {
    "Set-up code": "",
    "Company": "Level Best Floors",
    "Branch": "Peoria",
    "Telephone": "309-555-0100",
    "Depot": "1 Depot Road, Peoria, IL",
    "US postal code of the depot": "61602",
    "Crews and their people": "North: Ana Ruiz, Ben Cole",
    "Your sign-in": "ana",
    "Passphrase": "a slab of one's own",
    "Passphrase again": "a slab of one's own",
}
FLOOR = {
    "Name": "Rosalind Achterberg",
    "Telephone": "309-555-0123",
    "Street and number": "12 Oak Street",
    "Postal code": "61604",
    "Area in sq ft": "450",
}


@pytest.mark.parametrize("width", WIDTHS)
def test_from_nothing_to_a_first_booking(page: Page, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Set up the first office")
    fill(page, {**OFFICE, "Set-up code": setup_code()})
    page.get_by_role("button", name="Open the office").click()
    expect(page.get_by_role("status")).to_contain_text("Peoria is open")
    expect(page.get_by_role("main")).to_contain_text("Ana Ruiz")

    page.goto(reverse("take-in"))
    fill(page, FLOOR)
    page.get_by_label("Where it is").first.select_option(label="Closed garage")
    page.get_by_label("Coating system").select_option(index=1)
    page.get_by_role("button", name="Take in and see the best days").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Best days for")
    expect(page.get_by_role("main")).to_contain_text("No forecast has been fetched")
    forecasts_come_in()
    page.reload()
    page.locator("button[name=offer]").first.click()

    expect(page.get_by_role("status")).to_contain_text("Booked:")
    assert Booking.objects.get().branch.name == "Peoria"


def forecasts_come_in() -> None:
    """What the work loop fetches in its first minutes; the server asks the real clock."""
    now = timezone.now()
    for place in Place.objects.all():
        builders.forecast(
            at=place, start=now - timedelta(days=15), count=24 * 24, issued_at=now - HALF_HOUR
        )


def fill(page: Page, boxes: dict[str, str]) -> None:
    for label, text in boxes.items():
        page.get_by_label(label, exact=False).first.fill(text)


def test_what_is_wrong_is_marked_and_the_rest_stays(page: Page, tmp_path: Path) -> None:
    page.goto("/set-up/")
    fill(page, {**OFFICE, "Set-up code": "guess", "Passphrase again": "another"})
    page.get_by_role("button", name="Open the office").click()

    expect(page.get_by_role("alert")).to_contain_text("Not set up yet")
    expect(page.get_by_label("Company")).to_have_value("Level Best Floors")
    expect(page.get_by_role("main")).to_contain_text("The two passphrases differ.")
    page.screenshot(path=str(tmp_path / "setup.png"), full_page=True)
