"""Branches, crews, machines and sign-ins of the demo, written by the program's own services."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import cache

import holidays
from django.contrib.auth.hashers import make_password

from dispatch.demo.offices import COMPANY, OWNER, PASSPHRASE, Office
from dispatch.models import Crew, Machine, MachineKind
from dispatch.services import crews
from jobs.access import Actor, person
from jobs.models import Branch, CoatingSystem, Holiday, Membership, Role, User
from jobs.rules.card_json import card_to_json
from jobs.rules.catalogue import catalogue
from weather.places import find_postal_code
from weather.services import place_for

# Days on which nobody is sent out; offices of the trade work through the other federal ones.
KEPT = ("New Year", "Memorial Day", "Independence Day", "Labor Day", "Thanksgiving", "Christmas")
SMALLEST_PRICE = Decimal("900.00")


@dataclass(frozen=True)
class Staffed:
    """A branch ready to take orders, with who acts for it."""

    office: Office
    branch: Branch
    by: Actor
    systems: dict[str, CoatingSystem]
    crews: tuple[Crew, ...]
    grinders: tuple[Machine, ...]
    telephones: Iterator[str] = field(repr=False)
    holidays: frozenset[date]

    def works(self, day: date) -> bool:
        """Whether crews go out on `day`."""
        return day.weekday() in self.branch.weekdays and day not in self.holidays

    def worked_from(self, day: date) -> date:
        """`day`, or the next one on which crews go out."""
        while not self.works(day):
            day += timedelta(days=1)
        return day

    def worked_before(self, today: date, *, count: int) -> list[date]:
        """The last `count` days on which crews went out, the latest first."""
        days: list[date] = []
        day = today
        while len(days) < count:
            day -= timedelta(days=1)
            if self.works(day):
                days.append(day)
        return days


def owner() -> User:
    """Who owns the firm and signs in everywhere."""
    return _user(*OWNER)


def staffed(office: Office, *, owner: User, now: datetime) -> Staffed:
    """The office as rows: branch, systems, holidays, people, crews, machines, sign-in."""
    telephones = (f"{office.area_code}-555-{number:04d}" for number in range(100, 200))
    branch = _branch(office, telephone=next(telephones))
    clerk = _user(*office.signs_in)
    Membership.objects.create(user=owner, branch=branch, role=Role.OWNER)
    Membership.objects.create(user=clerk, branch=branch, role=Role.OFFICE)
    by = person(clerk)
    return Staffed(
        office=office,
        branch=branch,
        by=by,
        systems=_systems(branch, office),
        crews=tuple(_crews(branch, office, telephones, by=by, now=now)),
        grinders=tuple(_machines(branch, office, by=by, now=now)),
        telephones=telephones,
        holidays=frozenset(_holidays(branch, office, now=now)),
    )


def _branch(office: Office, *, telephone: str) -> Branch:
    found = find_postal_code(office.depot_postal_code)
    place = place_for(
        latitude=found.latitude, longitude=found.longitude, zone=office.zone, name=found.name
    )
    return Branch.objects.create(
        name=office.name,
        slug=office.slug,
        company=COMPANY,
        zone=office.zone,
        subdivision=office.subdivision,
        depot=office.depot,
        depot_place=place,
        telephone=telephone,
        email=f"{office.slug}@example.com",
        weekdays=list(office.weekdays),
        day_starts=time(7, 0),
        day_ends=time(18, 0),
    )


@cache
def _hashed() -> str:
    """The public passphrase, hashed once: hashing is slow on purpose."""
    return make_password(PASSPHRASE)


def _user(username: str, first: str, last: str) -> User:
    return User.objects.create(
        username=username,
        password=_hashed(),
        first_name=first,
        last_name=last,
        email=f"{first}.{last}@example.com".lower(),
    )


def _systems(branch: Branch, office: Office) -> dict[str, CoatingSystem]:
    return {
        system.key: CoatingSystem.objects.create(
            branch=branch,
            name=system.card.name,
            card_json=card_to_json(system.card),
            price_per_m2=system.price_per_m2,
            smallest_price=SMALLEST_PRICE,
        )
        for system in catalogue()
        if system.key in office.systems
    }


def _crews(
    branch: Branch, office: Office, telephones: Iterator[str], *, by: Actor, now: datetime
) -> Iterator[Crew]:
    since = branch.today(now) - timedelta(days=400)
    for plan in office.crews:
        crew = crews.add_crew(branch=branch, name=plan.name, by=by, now=now)
        people = [
            crews.add_installer(
                branch=branch, name=name, telephone=next(telephones), by=by, now=now
            )
            for name in plan.people
        ]
        for each in people:
            crews.join_crew(
                branch=branch, crew_id=crew.pk, installer_id=each.pk, from_day=since, by=by, now=now
            )
        crew.lead = people[0]
        crew.save(update_fields=["lead"])
        yield crew


def _machines(branch: Branch, office: Office, *, by: Actor, now: datetime) -> Iterator[Machine]:
    """Adds every machine; gives back the grinders."""
    for kind, name in office.machines:
        machine = crews.add_machine(branch=branch, kind=kind, name=name, by=by, now=now)
        if kind == MachineKind.GRINDER:
            yield machine


def _holidays(branch: Branch, office: Office, *, now: datetime) -> Iterator[date]:
    year = branch.today(now).year
    known = holidays.country_holidays(
        "US", subdiv=office.subdivision, years=[year - 1, year, year + 1]
    )
    for day, name in sorted(known.items()):
        if name.startswith(KEPT):
            Holiday.objects.create(branch=branch, day=day, name=name[:80])
            yield day
