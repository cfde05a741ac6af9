"""The demo: an office that stands by the program's own rules, built once."""

from collections import Counter
from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from dispatch.demo.build import AlreadyBuilt, build
from dispatch.demo.offices import OFFICES, PASSPHRASE
from dispatch.models import (
    Booking,
    BookingState,
    Crew,
    Machine,
    MachineKind,
    Notice,
    PromiseLevel,
    Stamp,
    Stint,
)
from dispatch.reads import needs
from jobs.models import Branch, DayWish, Floor, Job, JobState, User
from tests import builders
from tests.invariants import broken
from weather.models import Forecast

# A Wednesday in November, 10 AM in Springfield: the day after the next is worked.
NOW = datetime(2026, 11, 18, 16, 0, tzinfo=UTC)

pytestmark = pytest.mark.django_db(transaction=True)


def springfield() -> Branch:
    return Branch.objects.get(slug="springfield")


def test_the_demo_is_an_office_at_work():
    build(now=NOW)

    # One test looks at everything, because building takes seconds.
    assert Branch.objects.count() == 2
    assert len({branch.zone for branch in Branch.objects.all()}) == 2
    assert Counter(Crew.objects.values_list("branch__slug", flat=True)) == {
        "springfield": 3,
        "columbus": 2,
    }
    assert Machine.objects.filter(kind=MachineKind.GRINDER).count() == 3
    assert all(branch.systems.count() >= 4 for branch in Branch.objects.all())
    check_orders()
    check_history()
    check_calendar()
    check_needs()
    check_signing_in()


def check_orders() -> None:
    """About forty floors wait; together they show every exposure and every wish."""
    waiting = Job.objects.waiting()
    floors = Floor.objects.filter(jobs__in=waiting)
    assert 35 <= floors.count() <= 45
    shown = set(floors.values_list("exposure", flat=True))
    assert shown == {"interior", "garage", "carport", "porch", "open", "pool_deck"}
    assert floors.filter(parts__exposure="apron").exists()
    assert set(waiting.values_list("day_wish", flat=True)) == set(DayWish.values)
    assert waiting.exclude(impossible_days=[]).count() >= 3
    assert waiting.filter(car_needed_by__isnull=False).count() >= 3


def check_history() -> None:
    """Two weeks of coated floors, each with its four stamps."""
    done = Booking.objects.filter(state=BookingState.DONE)
    assert 12 <= done.count() <= 24
    assert Job.objects.filter(state=JobState.DONE).count() == done.count()
    assert Stamp.objects.count() == 4 * done.count()
    oldest = Stint.objects.order_by("start").first()
    assert oldest is not None
    assert NOW - timedelta(days=16) < oldest.start < NOW


def check_calendar() -> None:
    """Nobody is in two places, and every stint holds exactly what it needs."""
    assert 10 <= Booking.objects.open().count() <= 16
    assert broken() == []


def check_needs() -> None:
    """One floor in danger of rain, one hold, one change that a crew has not read."""
    found = needs.everything(springfield(), now=NOW)
    assert [need.level for need in found if need.kind == "weather"] == ["no"]
    assert found[0].kind == "weather"
    assert "Rain 65 %" in found[0].reason
    kinds = Counter(need.kind for need in found)
    assert (kinds["hold"], kinds["receipt"]) == (1, 1)
    in_danger = Booking.objects.get(pk=found[0].answer_pk)
    assert in_danger.promise == PromiseLevel.CONFIRMED
    assert in_danger.job.exposures()[0].value == "open"
    elsewhere = needs.everything(Branch.objects.get(slug="columbus"), now=NOW)
    assert not [need for need in elsewhere if need.level == "no"]
    assert Notice.objects.filter(audience="customer", booking=in_danger).count() == 1
    assert set(Forecast.objects.values_list("source", flat=True)) == {"replay"}


def check_signing_in() -> None:
    """The passphrase opens every account, and --show says so under the address asked for."""
    assert len(PASSPHRASE) >= 12
    assert all(user.check_password(PASSPHRASE) for user in User.objects.all())
    out = StringIO()
    call_command("demo", "--show", "--url", "http://demo.test:1234", stdout=out)
    told = out.getvalue()
    assert PASSPHRASE in told
    assert all(office.signs_in[0] in told for office in OFFICES)
    for path in ("/p/", "/feeds/", "/c/"):
        assert f"http://demo.test:1234{path}" in told


def test_a_database_in_use_is_refused():
    builders.branch()

    with pytest.raises(AlreadyBuilt, match="already"):
        build(now=NOW)
    with pytest.raises(CommandError, match="already"):
        call_command("demo")

    assert User.objects.count() == 0


def test_a_real_office_never_gets_the_public_passphrase(settings):
    settings.DEMO = False

    with pytest.raises(CommandError, match="passphrase is public"):
        call_command("demo")

    assert Branch.objects.count() == 0


def test_without_a_demo_there_is_nothing_to_show():
    with pytest.raises(CommandError, match="no demo"):
        call_command("demo", "--show")
