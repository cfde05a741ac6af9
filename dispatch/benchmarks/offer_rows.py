"""An invented branch with its calendar, written in bulk for measuring the best days."""

import random
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import count
from typing import Any

from dispatch.benchmarks.weather_rows import fair_weather
from dispatch.models import (
    Booking,
    BookingState,
    Crew,
    CrewMembership,
    Installer,
    Machine,
    MachineKind,
    PromiseLevel,
    Resource,
    ResourceKind,
    Stint,
)
from dispatch.reads.free_time import AHEAD_DAYS
from jobs.models import (
    Branch,
    CoatingSystem,
    Customer,
    Floor,
    Job,
    JobState,
    Membership,
    Role,
    Site,
    User,
)
from jobs.rules.card_json import card_to_json
from jobs.rules.catalogue import ONE_DAY
from weather.models import Place

TOWN = (33.521, -86.802)  # an inland town of the South
SPREAD_DEGREES = 0.25
NAMES = count(1)


@dataclass(frozen=True)
class Office:
    """The invented branch and somebody who works in it."""

    branch: Branch
    user: User
    system: CoatingSystem
    bookings: int


def office(*, crews: int, bookings: int, seed: int, now: datetime) -> Office:
    """A branch with so many crews of two and so many floors booked over the days ahead."""
    dice = random.Random(seed)  # noqa: S311  invented floors, no secret
    branch = _branch(now)
    system = CoatingSystem.objects.create(
        branch=branch,
        name="One-day flake",
        price_per_m2=Decimal(75),
        card_json=card_to_json(ONE_DAY),
    )
    user = User.objects.create_user(username="measurer", password=None)
    Membership.objects.create(user=user, branch=branch, role=Role.OFFICE)
    staff = _crews(branch, crews)
    made = book_ahead(branch, system, staff, number=bookings, dice=dice, now=now)
    return Office(branch, user, system, made)


def callers(made: Office, *, count: int, seed: int, now: datetime) -> list[Job]:
    """Floors that wait for a day: garages, patios and rooms, around the town."""
    return floors_waiting(made.branch, made.system, count=count, seed=seed, now=now)


def floors_waiting(
    branch: Branch, system: CoatingSystem, *, count: int, seed: int, now: datetime
) -> list[Job]:
    """The same for any branch."""
    dice = random.Random(seed + 1)  # noqa: S311  as above
    exposures = ["garage", "open", "interior", "carport"]
    return [
        _job(branch, system, dice, now, exposure=exposures[number % 4]) for number in range(count)
    ]


def _branch(now: datetime) -> Branch:
    place = Place.objects.create(
        latitude=Decimal(str(TOWN[0])),
        longitude=Decimal(str(TOWN[1])),
        zone="America/Chicago",
        name="Birmingham, AL",
        elevation_m=187.0,
    )
    fair_weather(place, now=now)
    return Branch.objects.create(
        name="Benchmark",
        slug="benchmark",
        company="Dry Day Floors",
        zone="America/Chicago",
        depot="100 Depot Road",
        depot_place=place,
    )


def _crews(branch: Branch, number: int) -> tuple[list[tuple[Crew, list[Installer]]], list[Machine]]:
    teams = []
    for each in range(number):
        crew = Crew.objects.create(
            branch=branch, name=f"Crew {each}", resource=_resource(branch, ResourceKind.CREW)
        )
        people = [
            Installer.objects.create(
                branch=branch,
                name=f"Person {each}.{one}",
                resource=_resource(branch, ResourceKind.INSTALLER),
            )
            for one in range(2)
        ]
        for person in people:
            CrewMembership.objects.create(crew=crew, installer=person, from_day=date(2020, 1, 1))
        teams.append((crew, people))
    grinders = [
        Machine.objects.create(
            branch=branch,
            kind=MachineKind.GRINDER,
            name=f"Grinder {each}",
            resource=_resource(branch, ResourceKind.MACHINE),
        )
        for each in range(number + 2)
    ]
    return teams, grinders


def _resource(branch: Branch, kind: ResourceKind) -> Resource:
    return Resource.objects.create(branch=branch, kind=kind, label=f"{kind} {next(NAMES)}")


def _job(
    branch: Branch,
    system: CoatingSystem,
    dice: random.Random,
    now: datetime,
    *,
    exposure: str = "garage",
    state: str = JobState.WAITING,
) -> Job:
    number, depot = next(NAMES), branch.depot_place
    customer = Customer.objects.create(branch=branch, name=f"Customer {number}")
    site = Site.objects.create(
        customer=customer,
        street=f"{number} Oak Street",
        town="Birmingham",
        latitude=float(depot.latitude) + dice.uniform(-SPREAD_DEGREES, SPREAD_DEGREES),
        longitude=float(depot.longitude) + dice.uniform(-SPREAD_DEGREES, SPREAD_DEGREES),
        zone=branch.zone,
        place=depot,
    )
    area_m2 = dice.uniform(20, 45)
    floor = Floor.objects.create(
        site=site, exposure=exposure, area_m2=area_m2, edge_m=4 * area_m2**0.5
    )
    job = Job.objects.create(
        branch=branch,
        customer=customer,
        site=site,
        system=system,
        created_at=now,
        state=state,
        price=Decimal(3000),
    )
    job.floors.add(floor)
    return job


def book_ahead(
    branch: Branch,
    system: CoatingSystem,
    staff: tuple[list[tuple[Crew, list[Installer]]], list[Machine]],
    *,
    number: int,
    dice: random.Random,
    now: datetime,
) -> int:
    """Bookings on working days, at most one a crew-day, half of them short."""
    teams, grinders = staff
    today = branch.today(now)
    days = [today + timedelta(days=each) for each in range(1, AHEAD_DAYS + 1)]
    slots = [(day, index) for day in days if day.weekday() < 5 for index in range(len(teams))]
    dice.shuffle(slots)
    chosen = slots[:number]
    sites = [_job(branch, system, dice, now, state=JobState.DONE).site for _ in range(400)]
    rows = _booked(branch, system, sites, len(chosen), now=now)
    stints = []
    for booking, (day, index) in zip(rows, chosen, strict=True):
        start = branch.at(day, branch.day_starts)
        length = timedelta(hours=dice.choice([4.5, 5.0, 8.5, 9.0]))
        stints.append(
            Stint(
                booking=booking,
                crew=teams[index][0],
                start=start,
                end=start + length,
                travel_before_min=20,
                travel_after_min=20,
            )
        )
    Stint.objects.bulk_create(stints)
    _with_people(stints, chosen, teams, grinders)
    return len(stints)


def _booked(
    branch: Branch, system: CoatingSystem, sites: list[Site], number: int, *, now: datetime
) -> list[Booking]:
    """So many bookings; a site is visited by many of them, only where and when matters.

    All are confirmed: what the frame of every page counts is measured elsewhere.
    """
    jobs = [
        Job(
            branch=branch,
            customer=site.customer,
            site=site,
            system=system,
            created_at=now,
            state=JobState.BOOKED,
        )
        for site in (sites[each % len(sites)] for each in range(number))
    ]
    Job.objects.bulk_create(jobs)
    floors = dict(Floor.objects.filter(site__in=sites).values_list("site_id", "pk"))
    through: Any = Job.floors.through
    through.objects.bulk_create(
        through(job_id=job.pk, floor_id=floors[job.site_id]) for job in jobs
    )
    rows = [
        Booking(
            branch=branch,
            job=job,
            state=BookingState.BOOKED,
            promise=PromiseLevel.CONFIRMED,
            booked_at=now,
        )
        for job in jobs
    ]
    Booking.objects.bulk_create(rows)
    return rows


def _with_people(
    stints: list[Stint],
    chosen: list[tuple[date, int]],
    teams: list[tuple[Crew, list[Installer]]],
    grinders: list[Machine],
) -> None:
    people: Any = Stint.installers.through
    machines: Any = Stint.machines.through
    people.objects.bulk_create(
        people(stint_id=stint.pk, installer_id=person.pk)
        for stint, (_, index) in zip(stints, chosen, strict=True)
        for person in teams[index][1]
    )
    machines.objects.bulk_create(
        machines(stint_id=stint.pk, machine_id=grinders[index].pk)
        for stint, (_, index) in zip(stints, chosen, strict=True)
    )
