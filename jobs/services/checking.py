"""Whether an order can be taken in: everything that is wrong with it, or where and what it is."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from jobs.models import Branch, CoatingSystem
from jobs.models.branches import Units
from jobs.refusals import Invalid
from jobs.rules.clock import say_day, say_time
from jobs.rules.local_times import NoSuchTime, instant_shown
from jobs.rules.new_jobs import NewJob, Problem, cleaned, day_problem, problems_of
from jobs.rules.typed import FIRST_DAY, LAST_DAY
from jobs.rules.units import ft_from_m, miles_from_km
from weather.places import (
    FoundPlace,
    NoSuchPlace,
    coordinates,
    find_postal_code,
    time_zone,
)
from weather.rules.distance import distance_km

# Nobody drives this far to a floor; a longitude without its minus lies half a world away.
FAR_KM = 400.0


@dataclass(frozen=True)
class CheckedJob:
    """An order that can be taken in; `remarks` say what was assumed, for the person."""

    new: NewJob
    where: FoundPlace
    system: CoatingSystem
    car_needed_by: datetime | None
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class Desk:
    """Where a branch checks orders: what it sells is asked for once, however many come."""

    branch: Branch
    systems: Mapping[int, CoatingSystem]
    now: datetime

    @classmethod
    def of(cls, branch: Branch, *, now: datetime) -> "Desk":
        """The desk of `branch` at `now`."""
        sold = CoatingSystem.objects.of_branch(branch).filter(sold=True)
        return cls(branch=branch, systems={system.pk: system for system in sold}, now=now)

    @property
    def us(self) -> bool:
        """Whether people type feet and square feet here."""
        return self.branch.units == Units.US

    def check(self, new: NewJob) -> CheckedJob:
        """The order with its place, system and instants; raises Invalid with every problem."""
        new = cleaned(new)
        where, problems = located(new, country=self.branch.country)
        zone = ZoneInfo(where.zone) if where else self.branch.tz
        if where is not None:
            new = _with_town(new, where)
        today = self.now.astimezone(zone).date()
        problems = [*problems_of(new, today=today, us=self.us), *problems]
        car_needed_by, remarks, troubles = _car(new, zone=zone, now=self.now)
        problems += [*troubles, *_email_problems(new), *_town_problems(new)]
        system = self.systems.get(new.system_id) if new.system_id is not None else None
        if system is None:
            none = "There is no such coating system in this branch; choose one of the list."
            sentence = "Choose a coating system." if new.system_id is None else none
            problems.append(("system_id", sentence))
        if problems or system is None or where is None:
            raise Invalid(_first_of_each(problems))
        remarks = [*self._estimates(new), *remarks, *self._far(where)]
        return CheckedJob(new, where, system, car_needed_by, tuple(remarks))

    def _estimates(self, new: NewJob) -> list[str]:
        said = []
        for floor in new.floors:
            if floor.edge_m is None:
                edge_m = floor.edge_or_estimate_m
                edge = f"{ft_from_m(edge_m):,.0f} ft" if self.us else f"{edge_m:,.0f} m"
                said.append(
                    f"{floor.name}: no edge was given, so {edge} is assumed, as of a square floor."
                )
        return said

    def _far(self, where: FoundPlace) -> list[str]:
        depot = self.branch.depot_place
        away_km = distance_km((where.latitude, where.longitude), (depot.latitude, depot.longitude))
        if away_km <= FAR_KM:
            return []
        away = f"{miles_from_km(away_km):,.0f} miles" if self.us else f"{away_km:,.0f} km"
        return [f"This address is {away} from the depot. Check the place."]


def _first_of_each(problems: Iterable[Problem]) -> dict[str, str]:
    """One sentence a field: the first is the one to mend first."""
    kept: dict[str, str] = {}
    for field, sentence in problems:
        kept.setdefault(field, sentence)
    return kept


def located(new: NewJob, *, country: str) -> tuple[FoundPlace | None, list[Problem]]:
    """Where the order is, by what was typed by hand or by its US postal code, or why unknown."""
    if new.placed_by_hand:
        return _by_hand(new)
    if not new.postal_code:
        needed = "a US postal code" if country == "US" else "latitude, longitude and time zone"
        field = "postal_code" if country == "US" else "latitude"
        return None, [(field, f"The address has no place: type {needed}.")]
    if country != "US":
        # German and Mexican codes have five digits too and would land in New York.
        sentence = (
            "Postal codes are looked up in the United States only: "
            "type latitude, longitude and time zone."
        )
        return None, [("latitude", sentence)]
    try:
        return _postal_code(new.postal_code), []
    except NoSuchPlace as trouble:
        return None, [("postal_code", str(trouble))]


def _by_hand(new: NewJob) -> tuple[FoundPlace | None, list[Problem]]:
    problems = [
        (field, sentence)
        for field in ("latitude", "longitude", "zone")
        if (sentence := _hand_problem(field, getattr(new, field)))
    ]
    if problems:
        return None, problems
    latitude, longitude = coordinates(new.latitude, new.longitude)
    if not (latitude or longitude):
        return None, [("latitude", "0, 0 is a spot in the Atlantic; type the place itself.")]
    return FoundPlace(new.town, latitude, longitude, new.zone), []


def _hand_problem(field: str, value: str) -> str | None:
    words = "time zone" if field == "zone" else field
    if not value:
        return f"A place by hand needs a {words} too."
    try:
        if field == "zone":
            _zone(value)
        else:
            coordinates(*((value, 0) if field == "latitude" else (0, value)))
    except NoSuchPlace as trouble:
        return str(trouble)
    return None


# Each look-up reads a list of tens of thousands; a backlog asks for the same few again.
_postal_code = lru_cache(maxsize=4096)(find_postal_code)
_zone = lru_cache(maxsize=512)(time_zone)


def _with_town(new: NewJob, where: FoundPlace) -> NewJob:
    """The order with town and state taken from its postal code where they were left empty."""
    if new.placed_by_hand or new.town:
        return new
    town, _, state = where.name.rpartition(", ")
    return replace(new, town=town, region=new.region or state)


def _town_problems(new: NewJob) -> list[Problem]:
    if new.town or not new.placed_by_hand:
        return []
    return [("town", "Type the town.")]


def _email_problems(new: NewJob) -> list[Problem]:
    if not new.email:
        return []
    try:
        validate_email(new.email)
    except ValidationError:
        return [("email", f"“{new.email}” is not an e-mail address.")]
    return []


def _car(
    new: NewJob, *, zone: ZoneInfo, now: datetime
) -> tuple[datetime | None, list[str], list[Problem]]:
    """The instant at which the car must be back, what was assumed, and what is wrong with it."""
    typed, remarks = new.car_needed_by, []
    if typed is None:
        return None, [], []
    if not FIRST_DAY.year <= typed.year <= LAST_DAY.year:
        return None, [], [("car_needed_by", f"The year {typed.year} cannot be; check it.")]
    if typed.tzinfo is None:
        try:
            shown = instant_shown(typed, zone)
        except NoSuchTime as trouble:
            return None, [], [("car_needed_by", str(trouble))]
        at = shown.at
        if shown.twice:
            remarks.append(
                f"The clocks go back on {say_day(typed.date())} and show {say_time(at, zone)} "
                "twice; the car is needed by the first."
            )
    else:
        at = typed.astimezone(UTC)
    day = at.astimezone(zone).date()
    sentence = day_problem(day, today=now.astimezone(zone).date())
    if sentence is None and at <= now:
        sentence = f"{say_time(at, zone)} today has gone by; type a later time."
    if sentence is None and new.wished_day is not None and day < new.wished_day:
        sentence = f"The car is needed before the preferred day, {say_day(new.wished_day)}."
    return at, remarks, [("car_needed_by", sentence)] if sentence else []
