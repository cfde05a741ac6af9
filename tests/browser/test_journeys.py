"""What people do, in a real browser: office, crew and customer, with and without scripts."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from dispatch.models import Booking, Link, LinkPurpose, Stamp
from dispatch.services import links
from jobs.access import PROGRAM
from jobs.models import Branch, Job
from tests import builders
from tests.browsing import enter
from tests.dispatch.days import book

# Screens: a desk, a phone, and a phone whose browser runs no scripts.
DESK, PHONE = 1280, 390
SCREENS = [
    pytest.param((DESK, True), id="desk"),
    pytest.param((PHONE, True), id="phone"),
    pytest.param((PHONE, False), id="phone-without-scripts"),
]
MOST_PRESSES = 12  # from the sign-in page to a booked floor
TYPED = {
    "Name": "Rosalind Achterberg",
    "Telephone": "205-555-0123",
    "Street and number": "12 Oak Street",
    "Postal code": "35203",
    "Area in sq ft": "450",
}


@dataclass
class Office:
    """A branch that works every day, with weather around the real now and two crews."""

    branch: Branch = field(default_factory=lambda: builders.branch(weekdays=list(range(7))))

    def __post_init__(self) -> None:
        self.now = timezone.now()
        self.crew = builders.crew(of=self.branch, name="North")
        builders.crew(of=self.branch, name="South")
        for number in (1, 2):
            builders.machine(of=self.branch, name=f"Grinder {number}")
        self.system = builders.system(of=self.branch)
        self.user = builders.user(of=self.branch, username="desk")
        # The server asks the real clock, so the weather lies around the real now.
        builders.forecast(
            at=self.branch.depot_place,
            start=self.now - timedelta(days=15),
            count=24 * 24,
            issued_at=self.now - timedelta(minutes=30),
        )

    def booked(self, *, in_days: int = 1, customer: str = "Ada Fields") -> Booking:
        """A confirmed garage, from 8 AM so many days from now."""
        zone = self.branch.tz
        day = self.now.astimezone(zone).date() + timedelta(days=in_days)
        start = datetime.combine(day, datetime.min.time(), tzinfo=zone) + timedelta(hours=8)
        where = builders.site(owner=builders.customer(of=self.branch, name=customer))
        job = builders.job(of=self.branch, floors=[builders.floor(at=where)])
        return book(self.branch, self.crew, start, job=job, now=self.now)

    def phone_link(self) -> Link:
        return links.make_link(
            branch=self.branch,
            purpose=LinkPurpose.PHONE,
            name="lead",
            by=PROGRAM,
            now=self.now,
            crew=self.crew,
        )


class Hand:
    """A person's hand: it types for nothing, and every press on a control is counted."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.presses = 0

    def press(self, control: Locator) -> None:
        control.click()
        self.presses += 1

    def button(self, name: str) -> None:
        self.press(self.page.get_by_role("button", name=name).first)

    def link(self, name: str) -> None:
        self.press(self.page.get_by_role("link", name=name).first)

    def choose(self, label: str, option: str) -> None:
        self.page.get_by_label(label).first.select_option(label=option)
        self.presses += 1  # however a list is opened, choosing from it is one

    def type(self, label: str, text: str) -> None:
        self.page.get_by_label(label).first.fill(text)


@pytest.fixture
def office(live_site: object) -> Office:
    return Office()


@pytest.fixture
def screen(page: Page, request: pytest.FixtureRequest) -> Iterator[Page]:
    """The page at the width asked for, with or without scripts."""
    width, scripts = request.param
    with _sized(page, width, scripts) as sized:
        yield sized


@contextmanager
def _sized(page: Page, width: int, scripts: bool) -> Iterator[Page]:
    size = {"width": width, "height": 900 if width == DESK else 844}
    if scripts:
        page.set_viewport_size(size)  # type: ignore[arg-type]
        yield page
        return
    assert page.context.browser
    address = page.request.get("/healthz").url.removesuffix("/healthz")
    bare = page.context.browser.new_context(
        base_url=address, viewport=size, java_script_enabled=False, locale="en-US"
    )
    tab = bare.new_page()
    tab.set_default_timeout(10_000)
    yield tab
    bare.close()


def sign_in(hand: Hand) -> None:
    hand.page.goto("/sign-in/")
    hand.type("Username", "desk")
    hand.type("Password", builders.PASSWORD)
    hand.button("Sign in")


def take_in(hand: Hand) -> None:
    """The form of a new floor, sent off."""
    hand.link("Book a floor")
    for label, text in TYPED.items():
        hand.type(label, text)
    hand.choose("Where it is", "Closed garage")
    hand.choose("Coating system", "One-day flake")
    hand.button("Take in and see the best days")


def day_of(booking: Booking) -> date:
    start = booking.stints.earliest("start").start
    return start.astimezone(booking.branch.tz).date()


def week_shows(page: Page, booking: Booking) -> Locator:
    """The booking on the page of its week, as picture or as list, whichever is seen."""
    page.goto(f"/?day={day_of(booking)}")
    return page.locator(f"main a[href='/bookings/{booking.pk}/']:visible").first


@pytest.mark.parametrize("screen", SCREENS, indirect=True)
def test_the_office_books_moves_and_calls_off_a_floor(office: Office, screen: Page) -> None:
    hand = Hand(screen)
    sign_in(hand)
    take_in(hand)
    expect(screen.get_by_role("heading", level=1)).to_have_text("Best days for Rosalind Achterberg")
    hand.press(screen.locator("button[name=offer]").first)

    expect(screen.get_by_role("status")).to_contain_text("Booked:")
    assert hand.presses <= MOST_PRESSES, f"booking a floor took {hand.presses} presses"
    booking = Booking.objects.get()
    first_day = day_of(booking)
    expect(week_shows(screen, booking)).to_contain_text("Rosalind Achterberg")

    hand.press(week_shows(screen, booking))
    hand.link("Move")
    hand.type("Why it moves", "The customer asked for another day.")
    hand.press(screen.locator("button[name=offer]").last)
    expect(screen.get_by_role("status")).to_contain_text("Moved:")
    booking.refresh_from_db()
    assert day_of(booking) != first_day
    expect(week_shows(screen, booking)).to_contain_text("Rosalind Achterberg")

    hand.press(week_shows(screen, booking))
    hand.press(screen.locator("summary", has_text="Call off"))
    hand.type("Why (the customer reads this)", "The slab is wet.")
    hand.button("Call off")
    expect(screen.get_by_role("status")).to_contain_text("back in line")
    expect(screen.get_by_role("main")).to_contain_text("Rosalind Achterberg")
    booking.refresh_from_db()
    assert booking.state == "called_off"
    for day in (first_day, day_of(booking)):
        screen.goto(f"/?day={day}")
        expect(screen.locator(f"main a[href='/bookings/{booking.pk}/']")).to_have_count(0)


@pytest.mark.parametrize("screen", SCREENS, indirect=True)
def test_the_crew_confirms_a_change_and_stamps_its_day(office: Office, screen: Page) -> None:
    booking = office.booked()
    hand = Hand(screen)

    screen.goto(f"/p/{office.phone_link().token}/")
    expect(screen.get_by_role("alert")).to_contain_text("Stop: this has changed")
    hand.button("I have seen this")
    expect(screen.get_by_role("alert")).to_have_count(0)

    hand.link("Day sheet")
    expect(screen.get_by_role("heading", level=1)).to_have_text("Ada Fields")
    expect(screen.locator(".clock")).to_contain_text("Last safe pour")
    for moment in ("Arrived", "First resin down", "Top coat done", "Left the site"):
        hand.button(f"{moment} now")
        expect(screen.get_by_role("button", name=f"{moment} now")).to_have_count(0)

    kinds = Stamp.objects.filter(stint__booking=booking).values_list("kind", flat=True)
    assert set(kinds) == {"arrived", "poured", "topped", "left"}
    assert hand.presses == 6


@pytest.mark.parametrize("screen", SCREENS, indirect=True)
def test_the_customer_says_no_and_the_office_sees_it(office: Office, screen: Page) -> None:
    booking = office.booked(in_days=3)
    hand = Hand(screen)
    screen.goto(f"/c/{links.for_booking(booking, now=office.now).token}/")

    expect(screen.get_by_role("heading", level=1)).to_contain_text(f"{day_of(booking):%a %b}")
    expect(screen.get_by_role("main")).to_contain_text("Walk on it from")
    expect(screen.get_by_role("main")).to_contain_text("Drive on it from")
    hand.type("What is in the way", "The movers come that day.")
    hand.button("Tell the office")

    expect(screen.get_by_role("status")).to_contain_text("does not work")
    expect(screen.get_by_role("button", name="Tell the office")).to_have_count(0)
    enter(screen, office.user)
    screen.goto("/needs/")
    expect(screen.get_by_role("main")).to_contain_text("The movers come that day.")
    expect(screen.get_by_role("link", name=booking.job.customer.telephone)).to_be_visible()


def test_the_office_books_a_floor_with_the_keyboard_alone(office: Office, page: Page) -> None:
    keys = Keys(page)
    page.goto("/sign-in/")
    keys.type_into("username", "desk")
    keys.type_into("password", builders.PASSWORD, "Enter")
    keys.go_to(lambda: keys.text() == "Book a floor", "Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Book a floor")

    keys.type_into("customer_name", "Rosalind Achterberg")
    keys.type_into("telephone", "205-555-0123")
    keys.type_into("street", "12 Oak Street")
    keys.type_into("postal_code", "35203")
    keys.type_into("floor0-exposure", "Closed g")  # a list takes what is typed
    keys.type_into("floor0-area", "450")
    keys.type_into("system_id", "One")
    keys.go_to(lambda: keys.text() == "Take in and see the best days", "Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Best days for")
    keys.go_to(lambda: keys.name() == "offer", "Enter")

    expect(page.get_by_role("status")).to_contain_text("Booked:")
    assert Booking.objects.get().job.customer.name == "Rosalind Achterberg"


class Keys:
    """A person at a keyboard who has no mouse: Tab goes on, and what has the focus is used."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def name(self) -> str:
        return str(self.page.evaluate("document.activeElement.name || ''"))

    def text(self) -> str:
        return str(self.page.evaluate("(document.activeElement.textContent || '').trim()"))

    def go_to(self, there: Callable[[], bool], key: str = "") -> None:
        for _ in range(60):
            self.page.keyboard.press("Tab")
            if there():
                break
        else:
            raise AssertionError("the Tab key never came there")
        if key:
            with self.page.expect_navigation():
                self.page.keyboard.press(key)

    def type_into(self, name: str, text: str, key: str = "") -> None:
        if self.name() != name:
            self.go_to(lambda: self.name() == name)
        self.page.keyboard.type(text)
        if key:
            with self.page.expect_navigation():
                self.page.keyboard.press(key)


def rival_books(office: Office, job: Job, key: str) -> None:
    """Somebody else of the office, in a session of their own, books the same offer first."""
    other = Client()
    other.force_login(builders.user(of=office.branch, username="rival"))
    data = {"version": job.version, "offer": key, "key": "rival-1"}
    assert other.post(reverse("book", args=[job.pk]), data).status_code == 302


def test_who_loses_a_race_for_a_floor_reads_who_won(office: Office, page: Page) -> None:
    enter(page, office.user)
    job = builders.job(of=office.branch)
    page.goto(f"/floors/{job.pk}/days/")
    offer = page.locator("button[name=offer]").first
    rival_books(office, job, offer.get_attribute("value") or "")

    offer.click()

    expect(page.get_by_role("alert")).to_have_text("Ada Fields was booked by rival a moment ago.")
    page.get_by_role("link", name="Open it").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Ada Fields")


def test_who_loses_a_race_for_a_day_books_the_next_best_on_the_same_page(
    office: Office, page: Page
) -> None:
    office.branch.crews.exclude(pk=office.crew.pk).update(active=False)
    enter(page, office.user)
    mine, theirs = builders.job(of=office.branch), builders.job(of=office.branch)
    page.goto(f"/floors/{mine.pk}/days/")
    offer = page.locator("button[name=offer]").first
    taken = offer.get_attribute("value") or ""
    rival_books(office, theirs, taken)

    offer.click()

    expect(page.get_by_role("alert")).to_contain_text("That day is no longer free")
    assert taken not in [
        button.get_attribute("value") for button in page.locator("button[name=offer]").all()
    ]
    page.locator("button[name=offer]").first.click()
    expect(page.get_by_role("status")).to_contain_text("Booked:")
    assert mine.bookings.filter(state="booked").count() == 1
