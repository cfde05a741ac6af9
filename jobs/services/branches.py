"""Opening a branch: the office itself, what it sells, its holidays and who owns it."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal

import holidays
from django.contrib.auth.password_validation import validate_password
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.utils.text import slugify

from jobs import audit
from jobs.access import Actor
from jobs.models import Branch, CoatingSystem, Holiday, Membership, Role, User
from jobs.refusals import Invalid
from jobs.rules.card_json import card_to_json
from jobs.rules.catalogue import catalogue
from jobs.text import one_line
from jobs.writing import run_write
from weather.models import Place

YEARS_OF_HOLIDAYS = 2


@dataclass(frozen=True)
class NewBranch:
    """What a branch needs before its first floor can be taken in."""

    company: str
    name: str
    depot: str
    country: str = "US"
    subdivision: str = ""
    telephone: str = ""
    email: str = ""
    units: str = "us"


def check_owner(*, username: str, password: str) -> None:
    """Refuse a name that is taken or a password that is too easy. Raises Invalid."""
    problems: dict[str, str] = {}
    try:
        UnicodeUsernameValidator()(username)
    except ValidationError:
        problems["owner"] = (
            "Please name the sign-in: letters, digits and @ . + - _, without a space."
        )
    if User.objects.filter(username=username).exists():
        problems["owner"] = f"There is already somebody who signs in as {username}."
    try:
        validate_password(password, user=User(username=username))
    except ValidationError as weak:
        problems["password"] = " ".join(weak.messages)
    if problems:
        raise Invalid(problems)


@run_write
def open_branch(
    *,
    new: NewBranch,
    place: Place,
    owner: str,
    hashed_password: str,
    by: Actor,
    now: datetime,
) -> Branch:
    """A branch at `place` with the catalogue's systems, public holidays and its owner.

    The catalogue's numbers and prices are defaults: the data sheets in use come first.
    Raises Invalid if a branch of that name stands already.
    """
    new = checked_branch(new)
    branch = Branch.objects.create(
        company=new.company,
        name=new.name,
        slug=slugify(new.name),
        zone=place.zone,
        units=new.units,
        country=new.country,
        subdivision=new.subdivision,
        depot=new.depot,
        depot_place=place,
        telephone=new.telephone,
        email=new.email,
    )
    CoatingSystem.objects.bulk_create(_systems(branch))
    Holiday.objects.bulk_create(_holidays(branch, year=branch.today(now).year))
    user = User.objects.create(username=owner, password=hashed_password)
    Membership.objects.create(user=user, branch=branch, role=Role.OWNER)
    audit.record(
        branch=branch,
        by=by,
        subject="branch",
        subject_id=branch.pk,
        action="open",
        now=now,
        after={"name": new.name, "owner": owner},
    )
    return branch


def checked_branch(new: NewBranch) -> NewBranch:
    """`new` as it fits the database. Raises Invalid with a sentence for what cannot be."""
    problems: dict[str, str] = {}
    name = one_line(new.name, most=80)
    if not slugify(name) or Branch.objects.filter(slug=slugify(name)).exists():
        problems["name"] = f"A branch needs a name of its own, and {name!r} is not one."
    if not one_line(new.company, most=120):
        problems["company"] = "Please name the company."
    if not re.fullmatch(r"[A-Z]{2}", new.country):
        problems["country"] = f"A country has two letters such as US, not {new.country!r}."
    try:
        if new.email:
            validate_email(new.email)
    except ValidationError:
        problems["email"] = f"{new.email!r} is not an e-mail address."
    if problems:
        raise Invalid(problems)
    return replace(
        new,
        company=one_line(new.company, most=120),
        name=name,
        depot=one_line(new.depot, most=200),
        telephone=one_line(new.telephone, most=40),
    )


def _systems(branch: Branch) -> list[CoatingSystem]:
    return [
        CoatingSystem(
            branch=branch,
            name=system.card.name,
            card_json=card_to_json(system.card),
            price_per_m2=Decimal(str(system.price_per_m2)).quantize(Decimal("0.01")),
        )
        for system in catalogue()
    ]


def _holidays(branch: Branch, *, year: int) -> Sequence[Holiday]:
    """Public holidays of this year and the next; the branch strikes out those it works on."""
    days: dict[date, str] = {}
    try:
        days.update(
            holidays.country_holidays(
                branch.country,
                subdiv=branch.subdivision or None,
                years=range(year, year + YEARS_OF_HOLIDAYS),
            )
        )
    except NotImplementedError:
        return []  # no calendar of that country is known; the branch enters its own
    return [Holiday(branch=branch, day=day, name=name[:80]) for day, name in sorted(days.items())]
