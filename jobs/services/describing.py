"""Floors told on the telephone: looked up without a row, noted with a hold, taken in later."""

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db import connection

from jobs import audit, idempotency
from jobs.access import Actor
from jobs.described import DescribedJob, DescribedSite
from jobs.models import Branch, CoatingSystem, Customer, Floor, Job, Site
from jobs.models.branches import Units
from jobs.refusals import Invalid, NotFound, Refusal, Stale
from jobs.rules.new_jobs import NewFloor, NewJob, Problem, problems_of
from jobs.rules.plan import Condition
from jobs.rules.pricing import PriceList, job_price
from jobs.services.checking import located
from jobs.text import one_line
from jobs.writing import run_write
from weather.models import Place
from weather.places import FoundPlace
from weather.rules.exposures import Exposure
from weather.services import place_for, place_near

LATER = frozenset({"customer_name", "street", "telephone", "town"})  # asked once the day is held
NOT_YET = "Street not taken in yet"


@dataclass(frozen=True)
class Told:
    """What a caller says in the first half minute. Area in m²."""

    exposure: str
    area_m2: float | None
    system_id: int | None
    postal_code: str = ""
    latitude: str = ""
    longitude: str = ""
    zone: str = ""
    condition: str = Condition.BARE.value
    steps: int = 0
    customer_name: str = ""
    telephone: str = ""

    @property
    def floor(self) -> NewFloor:
        """The floor as an order has it."""
        return NewFloor(
            exposure=self.exposure,
            area_m2=self.area_m2,
            steps=self.steps,
            condition=self.condition,
        )


@dataclass(frozen=True)
class Rest:
    """What is still to be taken in once a day is held."""

    customer_name: str
    street: str
    telephone: str = ""
    email: str = ""
    color: str = ""
    notes: str = ""


def described(*, branch: Branch, told: Told, now: datetime) -> DescribedJob:
    """The floor as far as the search for days needs it; writes nothing. Raises Invalid."""
    where, system = _checked(branch, told, now=now)
    place = place_near(latitude=where.latitude, longitude=where.longitude, zone=where.zone)
    unseen = Place(
        latitude=where.latitude, longitude=where.longitude, zone=where.zone, name=where.name
    )
    floor = told.floor
    area_m2 = floor.area_m2 or 0.0  # an area that is missing was refused
    prices = PriceList(per_m2=system.price_per_m2, least=system.smallest_price)
    found = DescribedJob(
        branch=branch,
        site=DescribedSite(
            latitude=float(where.latitude),
            longitude=float(where.longitude),
            zone=where.zone,
            place=place or unseen,
            town=where.name,
            postal_code=told.postal_code,
        ),
        system=system,
        exposure=Exposure(told.exposure),
        area_m2=area_m2,
        condition=Condition(told.condition),
        steps=told.steps,
    )
    return replace(found, price=job_price([(found.work(), prices)]).total)


def _checked(branch: Branch, told: Told, *, now: datetime) -> tuple[FoundPlace, CoatingSystem]:
    new = NewJob(
        customer_name=told.customer_name,
        street="",
        system_id=told.system_id,
        floors=(told.floor,),
        telephone=told.telephone,
        postal_code=told.postal_code,
        latitude=told.latitude,
        longitude=told.longitude,
        zone=told.zone,
    )
    where, problems = located(new, country=branch.country)
    today = branch.today(now)
    found: list[Problem] = [
        (field.removeprefix("floors.0."), sentence)
        for field, sentence in problems_of(new, today=today, us=branch.units == Units.US)
        if field not in LATER or (field == "telephone" and told.telephone)
    ]
    sold = CoatingSystem.objects.of_branch(branch).filter(sold=True)
    system = sold.filter(pk=told.system_id).first() if told.system_id else None
    if system is None:
        found.append(("system_id", "Choose a coating system."))
    if problems or found or where is None or system is None:
        raise Invalid(dict(reversed([*problems, *found])))
    return where, system


@run_write
def note(*, branch: Branch, told: Told, by: Actor, now: datetime, key: str = "") -> Job:
    """A job of which only this is known, for a day to be held; a repeat gets the same job."""
    what = ("note", branch.pk, told)
    answered = idempotency.answered(by=by, key=key, what=what)
    if answered is not None:
        noted: Job = Job.objects.of_branch(branch).get(pk=answered)
        return noted
    where, system = _checked(branch, told, now=now)
    job = _rows(branch, told, where, system, now=now)
    audit.record(
        branch=branch,
        by=by,
        subject="job",
        subject_id=job.pk,
        action="note a caller",
        now=now,
        after={"customer": str(job.customer), "area_m2": told.area_m2, "exposure": told.exposure},
    )
    idempotency.keep(by=by, key=key, what=what, subject="job", subject_id=job.pk, now=now)
    return job


def _rows(
    branch: Branch, told: Told, where: FoundPlace, system: CoatingSystem, *, now: datetime
) -> Job:
    name = one_line(told.customer_name, most=120) or f"Caller from {told.postal_code or where.name}"
    customer = Customer.objects.create(
        branch=branch, name=name, telephone=one_line(told.telephone, most=40)
    )
    town, _, region = where.name.partition(", ")
    site = Site.objects.create(
        customer=customer,
        street=NOT_YET,
        town=town[:80],
        region=region[:40],
        postal_code=told.postal_code,
        latitude=float(where.latitude),
        longitude=float(where.longitude),
        zone=where.zone,
        place=place_for(
            latitude=where.latitude, longitude=where.longitude, zone=where.zone, name=where.name
        ),
    )
    new = told.floor
    floor = Floor.objects.create(
        site=site,
        exposure=new.exposure,
        area_m2=new.area_m2 or 0.0,
        edge_m=new.edge_or_estimate_m,
        steps=new.steps,
        condition=new.condition,
    )
    prices = PriceList(per_m2=system.price_per_m2, least=system.smallest_price)
    job = Job.objects.create(
        branch=branch,
        customer=customer,
        site=site,
        system=system,
        described_only=True,
        price=job_price([(floor.work, prices)]).total,
        created_at=now,
    )
    job.floors.add(floor)
    return job


@run_write
def take_in_the_rest(
    *, branch: Branch, job_id: int, version: int, rest: Rest, by: Actor, now: datetime
) -> Job:
    """Name, street and telephone of a floor that was only described. Raises Invalid, Stale."""
    job = _described(branch, job_id)
    if job.version != version:
        raise Stale(f"{job.customer} was changed by somebody else. Please look at it again.")
    _check_rest(job, rest, now=now)
    before = {"customer": job.customer.name, "street": job.site.street}
    customer, site = job.customer, job.site
    customer.name = one_line(rest.customer_name, most=120)
    customer.telephone = one_line(rest.telephone, most=40) or customer.telephone
    customer.email = one_line(rest.email, most=254) or customer.email
    customer.save(update_fields=["name", "telephone", "email"])
    site.street = one_line(rest.street, most=160)
    site.save(update_fields=["street"])
    job.described_only = False
    job.color, job.notes = one_line(rest.color, most=80), rest.notes[:2000]
    job.version += 1
    job.save(update_fields=["described_only", "color", "notes", "version"])
    audit.record(
        branch=branch,
        by=by,
        subject="job",
        subject_id=job.pk,
        action="take in the rest",
        now=now,
        before=before,
        after={"customer": customer.name, "street": site.street},
    )
    return job


def _described(branch: Branch, job_id: int) -> Job:
    wanted = Job.objects.of_branch(branch).filter(pk=job_id).select_related("customer", "site")
    if connection.features.has_select_for_update:
        wanted = wanted.select_for_update(of=("self",), no_key=True)
    job: Job | None = wanted.first()
    if job is None:
        raise NotFound("There is no such floor in this branch.")
    if not job.described_only:
        raise Refusal(f"The order of {job.customer} is complete already.")
    return job


def _check_rest(job: Job, rest: Rest, *, now: datetime) -> None:
    asked: dict[str, Any] = {
        "customer_name": rest.customer_name,
        "street": rest.street,
        "telephone": rest.telephone or job.customer.telephone,
        "email": rest.email,
        "color": rest.color,
        "notes": rest.notes,
    }
    new = NewJob(**asked, system_id=job.system_id, floors=(NewFloor("garage", 40.0),))
    problems = {
        field: sentence
        for field, sentence in problems_of(new, today=job.branch.today(now), us=True)
        if field in asked
    }
    if problems:
        raise Invalid(problems)
