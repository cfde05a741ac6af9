"""A customer who asks what is stored gets all of it, and is gone when they ask to be erased."""

import json
from datetime import timedelta

import pytest
from django.apps import apps
from django.db import models
from django.urls import reverse
from django.utils import timezone

from dispatch.models import BookingState, Link, Notice, NoticeState, Proposal, ProposalState
from dispatch.reads.history import history
from dispatch.rules.history import replayed
from dispatch.services import bookings, links, proposals, readiness
from dispatch.services.privacy import StillBound, erase_customer
from jobs.access import Actor
from jobs.models import ActorKind, AuditEvent, JobState, Role
from jobs.refusals import NotFound
from tests import builders
from tests.dispatch.battery.office import ask
from tests.invariants import broken

pytestmark = pytest.mark.django_db(transaction=True)

PERSONAL = ("Zelda Quist", "zelda@quist.example", "205-555-9753", "77 Lilac Court", "dog bites")


class House:
    """A customer with a floor that was booked, moved and called off, and one that waits."""

    def __init__(self) -> None:
        self.branch = builders.branch()
        self.common = {
            "branch": self.branch,
            "by": builders.actor(of=self.branch),
            "now": timezone.now(),
        }
        name, email, telephone, street, notes = PERSONAL
        self.customer = builders.customer(
            of=self.branch, name=name, email=email, telephone=telephone, notes=notes
        )
        site = builders.site(owner=self.customer, street=street, access=f"{notes}, ring first")
        floors = [builders.floor(at=site) for _ in range(2)]
        self.job, self.waiting = (
            builders.job(of=self.branch, floors=[floor], notes=notes) for floor in floors
        )
        self.crew = builders.crew(of=self.branch)
        self.start = self.common["now"] + timedelta(days=1)
        self.booking = bookings.book(
            job_id=self.job.pk, version=0, ask=ask(self.crew, start=self.start), **self.common
        )
        links.for_booking(self.booking, now=self.common["now"])

    def call_off(self):
        self.booking.refresh_from_db()
        known = {"booking_id": self.booking.pk, "version": self.booking.version}
        self.booking = bookings.call_off(why=f"{PERSONAL[0]} is ill", **known, **self.common)

    def erase(self, **changed):
        return erase_customer(**{**self.common, "customer_id": self.customer.pk, **changed})


@pytest.fixture
def house(transactional_db) -> House:
    return House()


def everything_stored() -> str:
    """Every text of every row of the apps, whatever tables there are."""
    found = []
    for app in ("jobs", "dispatch", "weather"):
        for model in apps.get_app_config(app).get_models():
            texts = [
                field.name
                for field in model._meta.get_fields()
                if isinstance(field, models.CharField | models.TextField | models.JSONField)
            ]
            rows = model._default_manager.values_list(*texts) if texts else ()
            found += [json.dumps(row, default=str) for row in rows]
    return "\n".join(found).casefold()


def test_no_text_of_an_erased_customer_is_left_in_any_table(house):
    house.call_off()
    assert all(text.casefold() in everything_stored() for text in PERSONAL)

    left = house.erase()

    stored = everything_stored()
    assert [text for text in PERSONAL if text.casefold() in stored] == []
    assert (left.sites, left.jobs, left.bookings) == (1, 2, 1)


def test_what_the_customer_answered_goes_with_them_and_that_it_was_answered_stays(house):
    name, *_, notes = PERSONAL
    by = Actor(kind=ActorKind.CUSTOMER, name=name)
    said = {"by": by, "how": "customer's page", "now": house.common["now"]}
    readiness.answer(house.booking, topic="emptied", ready=False, words=f"The {notes}.", **said)
    proposal = Proposal.objects.create(
        booking=house.booking,
        starts=[stint.start.isoformat() for stint in house.booking.stints.all()],
        was=[],
        asked_at=house.start,
        answer_by=house.start,
    )
    proposals.want_another(proposal.pk, words=f"{name} is away.", **said)
    house.call_off()

    house.erase()

    stored = everything_stored()
    assert [text for text in PERSONAL if text.casefold() in stored] == []
    proposal.refresh_from_db()
    assert proposal.state == ProposalState.OTHER
    assert not house.booking.ready_answers.get().ready
    told = [line.text for line in history(house.booking).lines]
    assert any(text.startswith("The customer answered for ") for text in told)
    assert any(text.startswith("The customer wants another day than ") for text in told)


def test_what_was_worked_stays_and_the_record_still_replays(house):
    house.call_off()
    before = [(stint.start, stint.end) for stint in house.booking.stints.all()]

    house.erase()

    house.booking.refresh_from_db()
    assert house.booking.state == BookingState.CALLED_OFF
    assert [(stint.start, stint.end) for stint in house.booking.stints.all()] == before
    events = AuditEvent.objects.filter(subject="booking", subject_id=house.booking.pk)
    assert replayed(events) == bookings.snapshot(house.booking)
    assert broken(house.branch) == []
    erased = AuditEvent.objects.get(action="erase")
    assert erased.actor == house.common["by"].user


def test_nothing_waits_for_an_erased_customer(house):
    house.call_off()

    house.erase()

    house.waiting.refresh_from_db()
    assert house.waiting.state == JobState.CALLED_OFF
    assert not Notice.objects.filter(state=NoticeState.PENDING).exists()
    assert not Link.objects.filter(revoked_at__isnull=True).exists()


def test_others_keep_their_names(house):
    other = builders.job(of=house.branch)
    bookings.book(
        job_id=other.pk,
        version=0,
        ask=ask(house.crew, start=house.start + timedelta(days=3)),
        **house.common,
    )
    house.call_off()

    house.erase()

    other.customer.refresh_from_db()
    assert other.customer.name == "Ada Fields"
    assert Notice.objects.filter(booking__job=other, to=other.customer.email).exists()


def test_a_customer_with_a_booking_or_a_fresh_floor_is_not_erased(house):
    with pytest.raises(StillBound, match="has a booking on"):
        house.erase()
    house.booking.state = BookingState.DONE
    house.booking.save()

    with pytest.raises(StillBound, match="cannot drive on the floor yet"):
        house.erase()

    assert PERSONAL[0].casefold() in everything_stored()


def test_a_customer_of_another_branch_is_not_found(house):
    with pytest.raises(NotFound):
        house.erase(branch=builders.branch())


def test_the_page_hands_everything_out_and_erases_on_a_typed_name(client, house):
    house.call_off()
    client.force_login(builders.user(of=house.branch))
    file = client.get(reverse("handed-out", args=[house.customer.pk]))
    told = json.loads(file.content)
    assert told["customer"]["email"] == PERSONAL[1]
    assert told["sites"][0]["street"] == PERSONAL[3]
    assert [change["what"] for change in told["changes"]] == ["book", "call off"]
    assert "attachment" in file["Content-Disposition"]
    address = reverse("erase", args=[house.customer.pk])

    wrong = client.post(address, {"name": "Zelda"})
    assert wrong.status_code == 400
    assert "type the customer&#x27;s name" in wrong.content.decode()
    right = client.post(address, {"name": PERSONAL[0]}, follow=True)

    assert "Erased customer" in right.content.decode()
    assert PERSONAL[3] not in right.content.decode()


@pytest.mark.parametrize("name", ["stored", "handed-out", "erase"])
def test_only_the_office_of_the_branch_sees_what_is_stored(client, house, name):
    client.force_login(builders.user(of=house.branch, role=Role.LEAD))
    ask_ = client.post if name == "erase" else client.get
    assert ask_(reverse(name, args=[house.customer.pk])).status_code == 403

    client.force_login(builders.user(of=builders.branch()))
    assert ask_(reverse(name, args=[house.customer.pk])).status_code == 404
