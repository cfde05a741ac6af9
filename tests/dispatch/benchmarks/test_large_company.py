"""The invented large company: as large as asked for, the same for one seed, and in nobody's way."""

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from dispatch.models import Booking, BookingState, Notice, NoticeState, Stint, StoredVerdict
from jobs.models import Branch, JobState
from jobs.models.orders import Job
from tests import builders
from tests.invariants import quarters

pytestmark = pytest.mark.django_db(transaction=True)
SIZE = {"branches": 2, "crews": 5, "years": 1, "floors": 41}


def company(**given):
    out = StringIO()
    call_command("large_company", "--json", **{**SIZE, **given}, stdout=out)
    return json.loads(out.getvalue())


def days():
    return list(
        Stint.objects.order_by("start", "crew__branch_id", "crew__name").values_list(
            "start", "crew__branch__name", "crew__name", "booking__job__site__street"
        )
    )


def test_a_company_is_as_large_as_asked_for_and_all_of_it_is_over():
    told = company()

    assert told["floors"] == 41
    assert Branch.objects.count() == 2
    assert [branch.crews.count() for branch in Branch.objects.order_by("pk")] == [3, 2]
    assert Booking.objects.filter(state=BookingState.DONE).count() == 41
    assert Job.objects.filter(state=JobState.DONE).count() == 41
    assert StoredVerdict.objects.filter(latest=True).count() == 41
    assert not Notice.objects.exclude(state=NoticeState.SENT).exists()


def test_nobody_was_in_two_places():
    company(floors=400)

    claimed = [
        claim
        for stint in Stint.objects.select_related("crew").prefetch_related("installers", "machines")
        for claim in quarters(stint)
    ]
    assert len(claimed) == len(set(claimed))


def test_another_company_is_refused_where_there_is_one():
    builders.user(of=builders.branch())

    with pytest.raises(CommandError, match="There is an office already"):
        company()


def test_more_floors_than_crew_days_are_refused():
    with pytest.raises(CommandError, match="crew-days"):
        company(floors=5_000)
