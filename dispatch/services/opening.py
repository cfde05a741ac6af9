"""Opening an office: a branch with its owner, systems, holidays, crews, people and grinders.

The command, for any branch, and the page of an empty installation, for its first, both call this.
"""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.contrib.auth.hashers import make_password
from django.utils.crypto import constant_time_compare, salted_hmac

from dispatch.models import MachineKind
from dispatch.services import crews
from jobs.access import Actor
from jobs.models import Branch, User
from jobs.refusals import Invalid, Refusal
from jobs.services.branches import NewBranch, check_owner, checked_branch, open_branch
from weather.places import NoSuchPlace, coordinates, find_postal_code, time_zone
from weather.services import place_for

MOST_GRINDERS = 20
MOST_CREWS = 60
Staff = tuple[str, tuple[str, ...]]  # a crew's name, and who is in it


@dataclass(frozen=True)
class Spot:
    """Where a depot is."""

    latitude: Decimal
    longitude: Decimal
    zone: str


@dataclass(frozen=True)
class NewOffice:
    """A branch and who works there. `crews` names each crew once."""

    branch: NewBranch
    spot: Spot
    owner: str
    password: str
    crews: tuple[Staff, ...] = ()
    grinders: int = 1


def is_empty() -> bool:
    """Whether nobody can sign in yet, so that the installation waits to be set up."""
    return not User.objects.exists()


def setup_code() -> str:
    """What only somebody with access to the server can know: it opens the first office.

    Made from the secret key, so nothing is stored and it is the same in every process.
    """
    return salted_hmac("dispatch.services.opening", "first office", algorithm="sha256").hexdigest()[
        :20
    ]


def check_setup_code(code: str) -> None:
    """Raises Invalid unless `code` is the one of this installation."""
    if not constant_time_compare(code.strip().lower(), setup_code()):
        raise Invalid({"code": "This is not the set-up code of this installation."})


def spot_of(*, postal_code: str, latitude: str, longitude: str, zone: str) -> Spot:
    """The depot's spot from a US postal code, else by hand. Raises Invalid."""
    try:
        if postal_code:
            found = find_postal_code(postal_code)
            return Spot(found.latitude, found.longitude, found.zone)
        if latitude and longitude and zone:
            return Spot(*coordinates(latitude, longitude), time_zone(zone))
    except NoSuchPlace as trouble:
        raise Invalid({"postal_code" if postal_code else "latitude": str(trouble)}) from None
    raise Invalid(
        {
            "postal_code": "Please give the depot's US postal code, or its latitude, longitude "
            "and time zone."
        }
    )


def read_crew(text: str) -> Staff:
    """A crew as typed: "North: Ana Ruiz, Ben Cole". Raises Invalid."""
    name, colon, people = text.partition(":")
    names = tuple(person.strip() for person in people.split(",") if person.strip())
    if not name.strip() or not colon or not names:
        raise Invalid({"crews": f'A crew is written "North: Ana Ruiz, Ben Cole", not "{text}".'})
    return name.strip(), names


def open_office(office: NewOffice, *, by: Actor, now: datetime, only_first: bool) -> Branch:
    """Open the branch, then its crews and grinders; all is checked before anything is written.

    Raises Invalid with a sentence for what is wrong, Refusal if `only_first` and somebody was
    faster.
    """
    new = _checked(office)
    if only_first and not is_empty():
        raise Refusal("This installation is set up already. Please sign in.")
    spot = office.spot
    branch = open_branch(
        new=new,
        place=place_for(
            latitude=spot.latitude,
            longitude=spot.longitude,
            zone=spot.zone,
            name=new.name,
        ),
        owner=office.owner,
        hashed_password=make_password(office.password),
        by=by,
        now=now,
    )
    for name, people in office.crews:
        _staff(branch, name, people, by=by, now=now)
    if office.grinders:
        crews.add_machines(
            branch=branch,
            kind=MachineKind.GRINDER,
            name="Grinder",
            count=office.grinders,
            by=by,
            now=now,
        )
    return branch


def _checked(office: NewOffice) -> NewBranch:
    """The branch as it fits the database. Raises Invalid before anything is written."""
    names = [name.casefold() for name, _ in office.crews]
    twice = next((name for name, _ in office.crews if names.count(name.casefold()) > 1), None)
    if twice is not None:
        raise Invalid({"crews": f"Two crews are called {twice}."})
    if len(names) > MOST_CREWS:
        raise Invalid({"crews": f"Please begin with {MOST_CREWS} crews at most."})
    if office.grinders > MOST_GRINDERS:
        raise Invalid({"grinders": f"Please begin with {MOST_GRINDERS} grinders at most."})
    check_owner(username=office.owner, password=office.password)
    return checked_branch(office.branch)


def _staff(branch: Branch, name: str, people: tuple[str, ...], *, by: Actor, now: datetime) -> None:
    crew = crews.add_crew(branch=branch, name=name, by=by, now=now)
    for person in people:
        one = crews.add_installer(branch=branch, name=person, by=by, now=now)
        crews.join_crew(
            branch=branch,
            crew_id=crew.pk,
            installer_id=one.pk,
            from_day=branch.today(now),
            by=by,
            now=now,
        )
