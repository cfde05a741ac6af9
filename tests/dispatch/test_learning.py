"""What stamps teach of a branch's rates: shown with its floors, used only when told to."""

import json
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from dispatch.models import BookingState, Stamp, StampKind, StintState
from dispatch.reads.chain import rates_of, rates_set
from dispatch.reads.learning import learnt_of, logs_of
from jobs.models import AuditEvent
from jobs.refusals import Invalid
from jobs.rules.rates import Rates
from jobs.services.rates import use_learnt
from tests import builders
from tests.dispatch.days import NOW, START, book

pytestmark = pytest.mark.django_db(transaction=True)
LATER = START + timedelta(days=30)


@pytest.fixture
def branch(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: LATER)
    row = builders.branch()
    crew = builders.crew(of=row, name="North")
    for n in range(6):
        done(row, crew, start=START + timedelta(days=n))
    return row


def done(branch, crew, *, start, prepare_h=9.0, kinds=tuple(StampKind)):
    """A floor that took long to prepare, with the stamps named."""
    stint = book(branch, crew, start).stints.get()
    stint.installers.set(crew.memberships.values_list("installer", flat=True))
    moments = {
        StampKind.ARRIVED: start,
        StampKind.POURED: start + timedelta(hours=prepare_h),
        StampKind.TOPPED: start + timedelta(hours=prepare_h + 3.5),
        StampKind.LEFT: start + timedelta(hours=prepare_h + 4),
    }
    for kind in kinds:
        at = moments[kind]
        Stamp.objects.create(stint=stint, kind=kind, at=at, noted_at=at, noted_by="lead")
    stint.state = StintState.DONE
    stint.save(update_fields=["state"])
    stint.booking.state = BookingState.DONE
    stint.booking.save(update_fields=["state"])
    return stint


def run(branch, **more):
    out = StringIO()
    call_command("rates", branch=branch.slug, stdout=out, **more)
    return out.getvalue()


def test_factors_are_shown_with_the_floors_behind_them(branch):
    told = json.loads(run(branch, json=True))

    slow = told["learnt"]["North"]["prepare"]
    assert slow["floors"] == 6
    assert slow["factor"] > 1.2
    assert told["learnt"]["all crews"]["prepare"] == slow
    assert told["in_use"] == {}
    assert "6 floors behind it" in run(branch)


def test_nothing_is_used_until_somebody_says_so(branch):
    run(branch)
    branch.refresh_from_db()
    assert rates_of(branch) == rates_set(branch) == Rates()

    run(branch, apply=True)

    branch.refresh_from_db()
    assert rates_of(branch).mask_h > Rates().mask_h
    assert rates_set(branch) == Rates()
    assert AuditEvent.objects.filter(subject="branch", action="learnt rates").count() == 1


def test_learning_again_does_not_add_up(branch):
    run(branch, apply=True)
    branch.refresh_from_db()
    once = rates_of(branch)

    run(branch, apply=True)

    branch.refresh_from_db()
    assert rates_of(branch) == once


def test_it_can_be_forgotten(branch):
    run(branch, apply=True)
    run(branch, forget=True)

    branch.refresh_from_db()
    assert rates_of(branch) == Rates()
    assert branch.rates == {}


def test_what_the_branch_has_set_itself_stays(branch):
    branch.rates = {"mask_h": 1.0}
    branch.save()

    run(branch, apply=True)

    branch.refresh_from_db()
    assert branch.rates["mask_h"] == 1.0
    assert rates_of(branch).mask_h > 1.0


def test_a_missing_stamp_teaches_only_the_rest(branch):
    crew = branch.crews.get()
    done(branch, crew, start=START + timedelta(days=8), kinds=[StampKind.ARRIVED, StampKind.POURED])

    found = learnt_of(branch, now=LATER)["North"]

    assert found["prepare"].floors == 7
    assert found["coat"].floors == found["pack"].floors == 6


def test_a_stranger_teaches_nothing(branch):
    other = builders.branch()

    assert logs_of(other, now=LATER) == []
    with pytest.raises(CommandError, match="nothing to use"):
        run(other, apply=True)


def test_reading_the_log_takes_few_queries(branch, django_assert_max_num_queries):
    with django_assert_max_num_queries(8):
        logs_of(branch, now=LATER)


@pytest.mark.parametrize(
    "asked", [{"branch": "nowhere"}, {"apply": True, "forget": True}], ids=["branch", "both"]
)
def test_bad_input_is_refused(branch, asked):
    with pytest.raises(CommandError):
        call_command("rates", **{"branch": branch.slug, **asked})


@pytest.mark.parametrize("factors", [{"prepare": 99.0}, {"paint": 1.0}, {"coat": float("nan")}])
def test_factors_outside_reason_are_not_kept(branch, factors):
    with pytest.raises(Invalid):
        use_learnt(branch_id=branch.pk, factors=factors, by=builders.actor(of=branch), now=NOW)
