"""Crews as the office sees them: who is in them, who is away, which machines there are."""

from dataclasses import dataclass
from datetime import date, datetime

from dispatch.models import Absence, Crew, CrewMembership, Installer, Link, Machine
from jobs.models import Branch
from jobs.models.branches import Units
from jobs.rules.units import ft2_from_m2, inches_from_mm


@dataclass(frozen=True)
class ShownCrew:
    """A crew with its people of today, who comes or goes later, and its links."""

    crew: Crew
    people: tuple[Installer, ...]
    later: tuple[CrewMembership, ...]
    links: tuple[Link, ...]


@dataclass(frozen=True)
class Staff:
    """Everything the crews page shows."""

    crews: tuple[ShownCrew, ...]
    nowhere: tuple[Installer, ...]  # in no crew today
    machines: tuple[Machine, ...]
    machine_lines: tuple[str, ...]  # the same in words, with what each does and needs
    absences: tuple[Absence, ...]


def staff_of(branch: Branch, *, now: datetime) -> Staff:
    """The staff of `branch`, in a fixed number of queries."""
    day = branch.today(now)
    crews = Crew.objects.of_branch(branch).working()
    crews = crews.prefetch_related("memberships__installer", "links")
    shown = tuple(_shown(crew, day) for crew in crews)
    somewhere = {person.pk for each in shown for person in each.people}
    people = Installer.objects.of_branch(branch).exclude(pk__in=somewhere)
    machines = tuple(Machine.objects.of_branch(branch).filter(active=True))
    absences = Absence.objects.filter(resource__branch=branch, end__gt=now)
    return Staff(
        crews=shown,
        nowhere=tuple(people),
        machines=machines,
        machine_lines=tuple(_line(each, us=branch.units == Units.US) for each in machines),
        absences=tuple(absences.select_related("resource").order_by("start", "pk")),
    )


def _shown(crew: Crew, day: date) -> ShownCrew:
    stays = sorted(crew.memberships.all(), key=lambda stay: (stay.from_day, stay.pk))
    return ShownCrew(
        crew=crew,
        people=tuple(stay.installer for stay in stays if _on(stay, day)),
        later=tuple(
            stay
            for stay in stays
            if stay.from_day > day or (_on(stay, day) and stay.until_day is not None)
        ),
        links=tuple(link for link in crew.links.all() if link.revoked_at is None),
    )


def _line(machine: Machine, *, us: bool) -> str:
    """A machine with what is known of its pace, width, power and heat."""
    pace, width = machine.m2_per_h, machine.width_m
    if us:
        pace = ft2_from_m2(pace) if pace is not None else None
        width = inches_from_mm(1000 * width) if width is not None else None
    figures = (
        (pace, "sq ft/h" if us else "m²/h"),
        (width, "in wide" if us else "m wide"),
        (machine.volts, "V"),
        (machine.amps, "A"),
        (machine.power_kw, "kW"),
    )
    told = [f"{figure:.3g} {unit}" for figure, unit in figures if figure is not None]
    kind = machine.get_kind_display().lower()
    return f"{machine} ({kind}): {', '.join(told)}" if told else f"{machine} ({kind})"


def _on(stay: CrewMembership, day: date) -> bool:
    return stay.from_day <= day and (stay.until_day is None or stay.until_day >= day)
