"""Real rows for tests, keyword-only and short: each builder fills in what a test leaves out.

They write rows directly, so they work inside a test's transaction as well as without one;
what a service checks or writes besides (audit, notices) they leave out.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import count
from typing import Any

import numpy as np

from dispatch.models import (
    Absence,
    Crew,
    CrewMembership,
    Installer,
    Machine,
    MachineKind,
    Resource,
    ResourceKind,
)
from dispatch.services import claims
from jobs.access import Actor, person
from jobs.models import (
    Branch,
    CoatingSystem,
    Customer,
    Floor,
    Job,
    Membership,
    Question,
    Role,
    Site,
    User,
)
from jobs.rules.card_json import card_to_json
from jobs.rules.cards import Card
from jobs.rules.catalogue import ONE_DAY
from jobs.rules.must_know import Standing, Topic
from weather.models import Forecast, Place, layers_of
from weather.rules.hours import LAYERS, Hours, floor_hour

PASSWORD = "a long enough password"
NOW = datetime(2026, 6, 1, 15, 0, tzinfo=UTC)  # a Monday, 10 AM in Chicago
_number = count(1)


def place(
    *,
    latitude: str = "33.521",
    longitude: str = "-86.802",
    zone: str = "America/Chicago",
    name: str = "Birmingham, AL",
    elevation_m: float | None = 187.0,
) -> Place:
    """A place on the map; the same coordinates give the same row."""
    row, _ = Place.objects.get_or_create(
        latitude=Decimal(latitude),
        longitude=Decimal(longitude),
        defaults={"name": name, "zone": zone, "elevation_m": elevation_m},
    )
    return row


def branch(*, at: Place | None = None, **given: Any) -> Branch:
    """An office in Birmingham, Alabama, working Monday to Friday from 7 to 18."""
    number = next(_number)
    depot = at or place()
    values: dict[str, Any] = {
        "name": f"Branch {number}",
        "slug": f"branch-{number}",
        "company": "Dry Day Floors",
        "zone": depot.zone,
        "depot": "100 Depot Road, Birmingham, AL 35203",
        "depot_place": depot,
        "telephone": "205-555-0100",
        "email": "office@dryday.example",
    }
    return Branch.objects.create(**{**values, **given})


def user(*, of: Branch | None = None, role: Role = Role.OFFICE, username: str = "") -> User:
    """Somebody who signs in with `PASSWORD`; a member of `of` if it is given."""
    row = User.objects.create_user(username=username or f"user{next(_number)}", password=PASSWORD)
    if of is not None:
        Membership.objects.create(user=row, branch=of, role=role)
    return row


def actor(*, of: Branch | None = None, role: Role = Role.OFFICE) -> Actor:
    """A signed-in person, as services want them."""
    return person(user(of=of, role=role))


def system(
    *, of: Branch, name: str = "One-day flake", card: Card = ONE_DAY, **given: Any
) -> CoatingSystem:
    """A coating system that the branch sells."""
    values: dict[str, Any] = {"price_per_m2": Decimal("75.00"), "card_json": card_to_json(card)}
    return CoatingSystem.objects.create(branch=of, name=name, **{**values, **given})


def customer(*, of: Branch, name: str = "Ada Fields", **given: Any) -> Customer:
    """Whose floor it is."""
    number = next(_number)
    values = {"email": f"customer{number}@mail.example", "telephone": f"205-555-{number:04d}"}
    return Customer.objects.create(branch=of, name=name, **{**values, **given})


def site(*, owner: Customer, at: Place | None = None, street: str = "", **given: Any) -> Site:
    """An address of a customer, at the place `at`."""
    spot = at or place()
    values: dict[str, Any] = {
        "street": street or f"{next(_number)} Oak Street",
        "town": "Birmingham",
        "region": "AL",
        "postal_code": "35203",
        "latitude": float(spot.latitude),
        "longitude": float(spot.longitude),
        "zone": spot.zone,
        "place": spot,
    }
    return Site.objects.create(customer=owner, **{**values, **given})


def floor(*, at: Site, area_m2: float = 42.0, exposure: str = "garage", **given: Any) -> Floor:
    """One surface: a two-car garage unless said otherwise."""
    values: dict[str, Any] = {"name": "Garage", "edge_m": 26.0}
    return Floor.objects.create(site=at, exposure=exposure, area_m2=area_m2, **{**values, **given})


def job(
    *,
    of: Branch,
    floors: Sequence[Floor] = (),
    using: CoatingSystem | None = None,
    created_at: datetime = NOW,
    area_m2: float = 42.0,
    exposure: str = "garage",
    known: bool = True,
    **given: Any,
) -> Job:
    """A waiting order; customer, site, floor and system are made where none is given.

    All that must be known before its day is confirmed has been asked, unless `known` is off.
    """
    if not floors:
        where = site(owner=customer(of=of))
        floors = [floor(at=where, area_m2=area_m2, exposure=exposure)]
    where = floors[0].site
    if using is None:
        using = CoatingSystem.objects.filter(branch=of).first() or system(of=of)
    row = Job.objects.create(
        branch=of, customer=where.customer, site=where, system=using, created_at=created_at, **given
    )
    row.floors.set(floors)
    if known:
        know_all(row)
    return row


def know_all(order: Job) -> None:
    """Answer all that must be known before a day of this order is confirmed."""
    at = order.created_at
    Question.objects.bulk_create(
        Question(job=order, topic=topic, standing=Standing.KNOWN, by_name="Office", at=at)
        for topic in Topic
    )


def _resource(of: Branch, kind: ResourceKind, label: str) -> Resource:
    return Resource.objects.create(branch=of, kind=kind, label=label)


def installer(
    *, of: Branch, crew: Crew | None = None, name: str = "", from_day: date = date(2020, 1, 1)
) -> Installer:
    """A person who coats floors, in `crew` if it is given."""
    name = name or f"Installer {next(_number)}"
    row = Installer.objects.create(
        branch=of, name=name, resource=_resource(of, ResourceKind.INSTALLER, name)
    )
    if crew is not None:
        CrewMembership.objects.create(crew=crew, installer=row, from_day=from_day)
    return row


def crew(*, of: Branch, installers: int = 2, name: str = "") -> Crew:
    """A crew with so many people; the first of them leads."""
    name = name or f"Crew {next(_number)}"
    row = Crew.objects.create(branch=of, name=name, resource=_resource(of, ResourceKind.CREW, name))
    people = [installer(of=of, crew=row) for _ in range(installers)]
    if people:
        row.lead = people[0]
        row.save(update_fields=["lead"])
    return row


def machine(*, of: Branch, kind: MachineKind = MachineKind.GRINDER, name: str = "") -> Machine:
    """One machine."""
    name = name or f"{kind.label} {next(_number)}"
    return Machine.objects.create(
        branch=of, kind=kind, name=name, resource=_resource(of, ResourceKind.MACHINE, name)
    )


def absence(*, who: Resource, start: datetime, end: datetime, why: str = "ill") -> Absence:
    """Somebody or something that is away, with the time claimed."""
    row = Absence.objects.create(resource=who, start=start, end=end, why=why)
    claims.take_absence(row)
    return row


# A mild dry day, every layer known.
FAIR: Mapping[str, float] = {
    "air_c": 20.0,
    "dew_c": 8.0,
    "humidity_pct": 46.0,
    "rain_chance_pct": 0.0,
    "rain_mm": 0.0,
    "snow_mm": 0.0,
    "wind_kmh": 8.0,
    "gust_kmh": 12.0,
    "cloud_pct": 30.0,
}


def hours(
    *,
    start: datetime = NOW,
    count: int = 240,
    rows: Mapping[int, Mapping[str, float]] | None = None,
    **layers: float | Sequence[float],
) -> Hours:
    """Hours of fair weather; a layer given as one number or a list replaces its own, and
    `rows` changes single hours: `rows={14: {"rain_chance_pct": 60}}`. NaN is unknown.
    """
    values: dict[str, Any] = {
        name: np.full(count, 0.0) + np.asarray(layers.get(name, FAIR[name]), dtype=float)
        for name in LAYERS
    }
    for position, changed in (rows or {}).items():
        for name, value in changed.items():
            values[name][position] = value
    return Hours(
        start=floor_hour(start),
        **values,
        chance_window_h=np.ones(count),
        chance_derived=np.zeros(count, dtype=bool),
    )


def forecast(
    *,
    at: Place,
    start: datetime = NOW,
    count: int = 240,
    issued_at: datetime | None = None,
    fetched_at: datetime | None = None,
    source: str = "nws",
    rows: Mapping[int, Mapping[str, float]] | None = None,
    **layers: float | Sequence[float],
) -> Forecast:
    """A stored forecast with hours as `hours` makes them; issued half an hour before `start`."""
    said = hours(start=start, count=count, rows=rows, **layers)
    issued = issued_at or start - timedelta(minutes=30)
    return Forecast.objects.create(
        place=at,
        source=source,
        issued_at=issued,
        fetched_at=fetched_at or issued,
        start=said.start,
        count=count,
        layers=layers_of(said),
    )
