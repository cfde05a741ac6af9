"""Two branches with one of everything that an address can name."""

from dataclasses import dataclass, field
from datetime import timedelta
from functools import cached_property
from typing import Any

from django.utils import timezone

from dispatch.models import Booking, LinkPurpose, MachineKind, Notice, Proposal
from dispatch.services import crews, heating, links, planning
from jobs.access import PROGRAM, person
from jobs.models import Branch, Holiday, Membership, Role, StockKind, User
from jobs.services import programs, stock
from tests import builders
from tests.dispatch.days import book

DAY = timedelta(days=1)


@dataclass
class Firm:
    """A branch with somebody in every role and a key for every kind of thing."""

    name: str
    branch: Branch = field(init=False)
    people: dict[str, User] = field(init=False)
    keys: dict[str, Any] = field(init=False)

    def __post_init__(self) -> None:
        self.now = timezone.now()
        self.branch = builders.branch(name=self.name, slug=self.name.lower(), weekdays=[*range(7)])
        self.people = {
            role.value: builders.user(of=self.branch, role=role, username=f"{self.name}-{role}")
            for role in Role
        }
        self.crew = builders.crew(of=self.branch, name=f"{self.name} North")
        self.other_crew = builders.crew(of=self.branch, name=f"{self.name} South")
        builders.machine(of=self.branch, name=f"{self.name} grinder")
        builders.forecast(
            at=self.branch.depot_place,
            start=self.now - 15 * DAY,
            count=24 * 24,
            issued_at=self.now - timedelta(minutes=30),
        )
        self.booking = self._booked(self.crew, days=2, whose=f"{self.name} Fields")
        self.second = self._booked(self.other_crew, days=3, whose=f"{self.name} March")
        self.job = builders.job(of=self.branch)
        self.keys = self._keys()

    @cached_property
    def token(self) -> str:
        """The key of the customer's page of the first booking."""
        return links.for_booking(self.booking, now=self.now).token

    def link(self, purpose: LinkPurpose) -> str:
        """A new key of the crew's phone or calendar."""
        made = links.make_link(
            branch=self.branch,
            purpose=purpose,
            name="lead",
            by=PROGRAM,
            now=self.now,
            crew=self.crew,
        )
        return made.token

    def _booked(self, crew: Any, *, days: int, whose: str) -> Booking:
        day = self.branch.today(self.now) + days * DAY
        start = self.branch.at(day, self.branch.day_starts)
        site = builders.site(owner=builders.customer(of=self.branch, name=whose))
        job = builders.job(of=self.branch, floors=[builders.floor(at=site)])
        return book(self.branch, crew, start, job=job, now=self.now)

    def _keys(self) -> dict[str, Any]:
        given = {"branch": self.branch, "by": PROGRAM, "now": self.now}
        heater = builders.machine(of=self.branch, kind=MachineKind.HEATER, name="Heater")
        stay = heating.place_heater(
            machine_id=heater.pk,
            site_id=self.booking.job.site_id,
            start=self.now + DAY,
            end=self.now + 2 * DAY,
            power_kw=10.0,
            **given,
        )
        absence = crews.add_absence(
            resource_id=self.other_crew.resource_id,
            start=self.now + 20 * DAY,
            end=self.now + 21 * DAY,
            **given,
        )
        lot = stock.add_lot(
            kind=StockKind.FLAKE, blend="Granite", lot="7", amount=9.0, opened=False,
            keeps_until=None, **given,
        )  # fmt: skip
        proposal = Proposal.objects.create(
            booking=self.booking, asked_at=self.now, answer_by=self.now + DAY
        )
        link = links.make_link(purpose=LinkPurpose.FEED, name="lead", crew=self.crew, **given)
        holiday = Holiday.objects.create(
            branch=self.branch, day=self.branch.today(self.now) + 30 * DAY, name="Outing"
        )
        token, _ = programs.make_token(
            branch=self.branch,
            name="Bookkeeping",
            scope="read",
            days=None,
            by=person(self.people["owner"]),
            now=self.now,
        )
        notices = Notice.objects.filter(booking=self.booking)
        plan = planning.ask_plan(days=9, **given)
        return {
            "booking": self.booking.pk,
            "second": self.second.pk,
            "job": self.job.pk,
            "floor": self.job.floors.first().pk,
            "crew": self.crew.pk,
            "absence": absence.pk,
            "lot": lot.pk,
            "proposal": proposal.pk,
            "plan": plan.pk,
            "link": link.pk,
            "holiday": holiday.pk,
            "stay": stay.pk,
            "system": self.job.system_id,
            "customer": self.booking.job.customer_id,
            "stint": self.booking.stints.get().pk,
            "token": token.pk,
            "member": Membership.objects.get(user=self.people["reader"]).pk,
            "mail": notices.filter(audience="customer").first().pk,
            "notice": notices.first().pk,
        }
