"""Return visits: ordinary work that knows which floor it comes back to, and why."""

from datetime import timedelta

import pytest
from django.urls import reverse

from dispatch.reads.offers import best_days
from dispatch.services import bookings
from jobs.models import Job, JobState
from jobs.refusals import Invalid, Refusal
from jobs.services.returning import ComingBack, age_days, come_back
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_offers import weather
from tests.invariants import broken

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def coated(transactional_db):
    """A booking whose floor was coated."""
    branch = builders.branch()
    builders.crew(of=branch)
    builders.machine(of=branch)
    weather(branch.depot_place)
    job = Job.objects.with_floors().get(pk=builders.job(of=branch, color="Gray blend").pk)
    by = builders.actor(of=branch)
    ask = best_days(job, now=NOW).best[0].ask()
    booking = bookings.book(branch=branch, job_id=job.pk, version=0, ask=ask, by=by, now=NOW)
    stint = booking.stints.get()
    return bookings.leave(branch=branch, stint_id=stint.pk, by=by, now=stint.end)


def test_a_return_visit_waits_in_line_with_the_same_blend_and_a_promise_of_its_own(coated):
    spot = ComingBack(cause="bubbles", area_m2=4.0, notes="By the door.")

    job = come_back(
        branch=coated.branch,
        job_id=coated.job_id,
        what=spot,
        by=builders.actor(of=coated.branch),
        now=coated.done_at + timedelta(days=20),
    )

    assert job.state == JobState.WAITING
    assert (job.color, job.system, job.site) == ("Gray blend", coated.job.system, coated.job.site)
    assert age_days(job, now=coated.done_at + timedelta(days=20)) == 20
    again = Job.objects.with_floors().get(pk=job.pk)
    offer = best_days(again, now=NOW).best[0]
    assert offer.walk_on is not None
    assert offer.plan.end - offer.plan.start < timedelta(hours=9)
    assert broken() == []


@pytest.mark.parametrize(
    ("spot", "field"),
    [
        (ComingBack(cause="moon", area_m2=4.0), "cause"),
        (ComingBack(cause="missed", area_m2=None), "area_m2"),
        (ComingBack(cause="missed", area_m2=400.0), "area_m2"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(coated, spot, field):
    with pytest.raises(Invalid) as refused:
        come_back(
            branch=coated.branch,
            job_id=coated.job_id,
            what=spot,
            by=builders.actor(of=coated.branch),
            now=NOW,
        )

    assert list(refused.value.problems) == [field]


def test_nobody_comes_back_to_a_floor_that_waits(coated):
    waiting = builders.job(of=coated.branch)

    with pytest.raises(Refusal, match="was not coated yet"):
        come_back(
            branch=coated.branch,
            job_id=waiting.pk,
            what=ComingBack("missed", 4.0),
            by=builders.actor(of=coated.branch),
            now=NOW,
        )


def test_the_page_takes_it_in_once_and_goes_on_to_the_best_days(client, coated):
    client.force_login(builders.user(of=coated.branch))
    address = reverse("return-visit", args=[coated.pk])
    sent = {"cause": "peeling", "area_m2": "40", "notes": "", "key": "r-1"}

    assert client.get(address).status_code == 200
    assert client.post(address, {"key": "r-0"}).status_code == 422
    pages = [client.post(address, sent) for _ in range(2)]

    job = Job.objects.get(returns_to=coated.job_id)
    assert [page.url for page in pages] == [reverse("offers", args=[job.pk])] * 2
