"""The page of weather services, whom the foot thanks, and two days without any service."""

from datetime import timedelta
from urllib.parse import urlencode

import pytest
from django.urls import reverse
from django.utils import timezone

from dispatch.models import Booking, LinkPurpose, StoredVerdict
from dispatch.services import links, verdicts
from jobs.access import PROGRAM
from jobs.models import AuditEvent, Role
from tests import builders
from tests.dispatch.test_office_pages import Office, desk, office  # noqa: F401  fixtures
from weather import http, services
from weather.models import Forecast, PlaceServiceState, ServiceState

pytestmark = pytest.mark.django_db(transaction=True)

NORWAY = "Weather data from MET Norway (CC BY 4.0), modified"
US = "Forecast: US National Weather Service"


def page_of(desk, name="weather-services", *args) -> str:  # noqa: F811
    answer = desk.get(reverse(name, args=args))
    assert answer.status_code == 200
    return answer.content.decode()


def foot(page: str) -> str:
    return page[page.index('<footer class="foot">') :]


def test_the_page_names_every_service_and_says_why_a_business_needs_a_key(desk, settings):  # noqa: F811
    settings.OPEN_METEO_KEY = ""

    page = page_of(desk)

    for title in ("US National Weather Service", "MET Norway", "Open-Meteo"):
        assert title in page
    assert "Off: no key is set" in page
    assert "non-commercial use only" in page


def test_with_a_key_it_stands_like_the_others_and_the_key_is_not_shown(desk, settings):  # noqa: F811
    settings.OPEN_METEO_KEY = "key-nobody-may-see"

    page = page_of(desk)

    assert "Off: no key is set" not in page
    assert "key-nobody-may-see" not in page


def test_standing_troubles_and_what_is_left_are_shown(desk, settings):  # noqa: F811
    settings.FORECASTS = "live"
    now = timezone.now()
    hour = now.replace(minute=0, second=0, microsecond=0)
    ServiceState.objects.create(
        service="metno",
        not_before=now + timedelta(hours=2),
        trouble="The forecast service answered 429.",
        budget_hour=hour,
        budget_used=40,
        answered_at=now - timedelta(hours=3),
        warning="this version of the service is about to end",
    )

    page = page_of(desk)

    assert "left alone until" in page
    assert "answered 429" in page
    assert "30 questions" in page
    assert "about to end" in page


def test_without_a_contact_the_page_says_that_nothing_is_fetched(desk, settings):  # noqa: F811
    settings.FORECASTS, settings.FORECAST_CONTACT = "live", ""

    assert "SLABCAST_FORECAST_CONTACT" in page_of(desk)


def test_the_foot_thanks_those_whose_weather_is_shown_and_nobody_else(desk, office):  # noqa: F811
    only_us = foot(page_of(desk))
    builders.forecast(
        at=builders.place(latitude="40.713", longitude="-74.006", name="Elsewhere"),
        start=office.now,
        source="metno",
    )
    still = foot(page_of(desk))
    row = builders.forecast(
        at=office.branch.depot_place,
        start=office.now,
        issued_at=office.now - timedelta(hours=1),
        source="metno",
    )
    Forecast.objects.filter(pk=row.pk).update(second=True)
    both = foot(page_of(desk))

    assert US in only_us
    assert NORWAY not in only_us
    assert NORWAY not in still  # another place's forecast is not on this branch's pages
    assert NORWAY in both
    assert "https://api.met.no/doc/License" in both
    assert US in both


def test_the_table_of_wet_months_is_kept_with_who_changed_it(desk, office):  # noqa: F811
    answer = desk.post(reverse("wet-months"), {"month-12": "33", "month-1": " 40 % "})

    office.branch.refresh_from_db()
    event = AuditEvent.objects.get(action="changed the wet months")
    assert answer.status_code == 302
    assert office.branch.wet_months == {"12": 33, "1": 40}
    assert event.actor_name == office.user.username
    assert "Reckoned: 1 day in 3" in page_of(desk)


@pytest.mark.parametrize("typed", ["101", "-1", "many", "3.5", "²"])
def test_a_share_that_is_none_is_refused_in_a_sentence(desk, office, typed):  # noqa: F811
    answer = desk.post(reverse("wet-months"), {"month-2": typed})

    office.branch.refresh_from_db()
    assert answer.status_code == 400
    assert "from 0 to 100" in answer.content.decode()
    assert office.branch.wet_months == {}


@pytest.mark.parametrize("role", [Role.LEAD, Role.INSTALLER, Role.READER])
def test_others_than_the_office_neither_see_nor_change_it(client, office, role):  # noqa: F811
    client.force_login(builders.user(of=office.branch, role=role))

    assert client.get(reverse("weather-services")).status_code == 403
    assert client.post(reverse("wet-months"), {"month-1": "5"}).status_code == 403


@pytest.fixture
def two_days_down(desk, office, settings, monkeypatch):  # noqa: F811
    """A booked floor; then nothing has answered for two days."""
    monkeypatch.setattr(http, "PACE_S", 0.0)
    office.book(desk)
    settings.FORECASTS, settings.FORECAST_CONTACT = "live", "ops@floors.example"
    settings.NWS_URL = settings.METNO_URL = "http://127.0.0.1:9"
    place = office.branch.depot_place
    old = timezone.now() - timedelta(hours=50)
    Forecast.objects.update(issued_at=old, fetched_at=old)
    StoredVerdict.objects.update(made_at=old)
    result = services.refresh(place, now=timezone.now())
    verdicts.judge_due(now=timezone.now())
    assert result.outcome is services.Outcome.FAILED
    return office


def screens_of(office: Office) -> dict[str, str]:  # noqa: F811
    """The address of every screen an office and its crews work with, by name."""
    waiting, booked = office.new_job(), office.job.bookings.get()
    stint = booked.stints.get()
    day = stint.start.astimezone(office.branch.tz).date().isoformat()
    phone = links.make_link(
        branch=office.branch,
        purpose=LinkPurpose.PHONE,
        name="lead",
        by=PROGRAM,
        now=timezone.now(),
        crew=stint.crew,
    )
    names = ["week", "needs", "waiting", "take-in", "quick-answer", "mails", "crews", "stock"]
    names += ["weather-services", "import-backlog", "called"]
    caller = {
        "postal_code": "35203",
        "area": "450",
        "exposure": "garage",
        "system_id": office.job.system_id,
        "condition": "bare",
    }
    return {
        **{name: reverse(name) for name in names},
        "quick answer with days": f"{reverse('quick-answer')}?{urlencode(caller)}",
        "offers": reverse("offers", args=[waiting.pk]),
        "booking": reverse("booking", args=[booked.pk]),
        "move": reverse("move", args=[booked.pk]),
        "exchange": reverse("exchange", args=[booked.pk]),
        "final call": reverse("final-call-day", args=[day]),
        "day sheet": reverse("day-sheet", args=[stint.pk]),
        "phone": f"/p/{phone.token}/",
        "sheet on the phone": f"/p/{phone.token}/{stint.pk}/",
    }


def test_two_days_without_a_service_every_screen_says_how_old_and_why(desk, two_days_down):  # noqa: F811
    for name, address in screens_of(two_days_down).items():
        answer = desk.get(address)
        page = answer.content.decode()

        assert answer.status_code == 200, name
        assert "50 h old" in page, name
        assert page.count("Why: no service gives a newer one") == 1, name
        assert "US National Weather Service: The forecast service cannot be reached" in page, name


def test_while_the_forecast_is_fresh_no_screen_speaks_of_its_age_as_a_trouble(desk, office):  # noqa: F811
    office.book(desk)

    for name, address in screens_of(office).items():
        assert "Why: " not in desk.get(address).content.decode(), name


def customers_page(booking: Booking) -> str:
    return f"/c/{links.for_booking(booking, now=timezone.now()).token}/"


def test_two_days_without_a_service_the_customer_is_told_that_the_day_stands(client, two_days_down):
    booking = two_days_down.job.bookings.get()
    Booking.objects.filter(pk=booking.pk).update(promise="confirmed")

    page = client.get(customers_page(booking)).content.decode()

    assert "The weather services give us no new forecast at the moment" in page
    assert "Your day stands" in page
    assert "ConnectionError" not in page


def test_with_a_fresh_forecast_the_customer_reads_nothing_of_it(client, desk, office):  # noqa: F811
    office.book(desk)
    booking = office.job.bookings.get()
    Booking.objects.filter(pk=booking.pk).update(promise="confirmed")

    page = client.get(customers_page(booking)).content.decode()

    assert "no new forecast" not in page


def test_two_days_without_a_service_the_office_still_books_and_nothing_is_green(
    desk,  # noqa: F811
    two_days_down,
):
    waiting = two_days_down.new_job()

    page = desk.get(reverse("offers", args=[waiting.pk]))
    answer = two_days_down.book(desk, waiting)

    levels = {offer.verdict.level.value for offer in page.context["offers"].best}
    assert levels == {"unknown"}
    assert answer.status_code == 302
    assert waiting.bookings.count() == 1
    assert not StoredVerdict.objects.filter(latest=True).exclude(level="unknown").exists()


def test_an_empty_contact_is_named_as_the_reason(desk, two_days_down, settings):  # noqa: F811
    settings.FORECAST_CONTACT = ""

    assert "SLABCAST_FORECAST_CONTACT is empty" in page_of(desk, "week")


def test_a_service_that_fails_for_this_place_only_is_named_too(desk, two_days_down):  # noqa: F811
    ServiceState.objects.all().delete()
    PlaceServiceState.objects.filter(service="nws").update(
        trouble="The forecast service answered 503 (ForecastGridExpired)."
    )

    assert "503 (ForecastGridExpired)" in page_of(desk, "week")
