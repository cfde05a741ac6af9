"""Crews, their people and their machines: who exists, who is where, who is away."""

from collections.abc import Mapping
from datetime import date, datetime, timedelta

from django.db.models import F, Q

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
from jobs import audit, idempotency
from jobs.access import Actor
from jobs.models import Branch
from jobs.refusals import Invalid, NotFound, Refusal
from jobs.rules.clock import say_day
from jobs.rules.machines import MachineRate, problems_of
from jobs.text import one_line
from jobs.writing import run_write
from weather.rules.heaters import MOST_KW

MOST_MACHINES = 20


@run_write
def add_crew(*, branch: Branch, name: str, by: Actor, now: datetime) -> Crew:
    """A crew that can be booked, without anybody in it yet."""
    name = _named(name, what="crew", most=60)
    if Crew.objects.of_branch(branch).filter(name=name).exists():
        raise Refusal(f"There is already a crew called {name}.", field="name")
    crew = Crew.objects.create(
        branch=branch, name=name, resource=_resource(branch, ResourceKind.CREW, name)
    )
    _note(branch, by=by, now=now, subject="crew", subject_id=crew.pk, action="add", name=name)
    return crew


@run_write
def add_installer(
    *, branch: Branch, name: str, by: Actor, now: datetime, telephone: str = "", key: str = ""
) -> Installer:
    """A person who coats floors; two people of one name are two people.

    A repeat with the same `key` gets the same person.
    """
    asked = ("add installer", branch.pk, name, telephone)
    answered = idempotency.answered(by=by, key=key, what=asked)
    if answered is not None:
        made: Installer = Installer.objects.of_branch(branch).get(pk=answered)
        return made
    name = _named(name, what="person", most=80)
    installer = Installer.objects.create(
        branch=branch,
        name=name,
        telephone=one_line(telephone, most=40),
        resource=_resource(branch, ResourceKind.INSTALLER, name),
    )
    _note(
        branch,
        by=by,
        now=now,
        subject="installer",
        subject_id=installer.pk,
        action="add",
        name=name,
    )
    idempotency.keep(
        by=by, key=key, what=asked, subject="installer", subject_id=installer.pk, now=now
    )
    return installer


@run_write
def add_machine(
    *, branch: Branch, kind: MachineKind, name: str, by: Actor, now: datetime
) -> Machine:
    """One machine; it can be in one place only."""
    return _machine(branch, kind, _named(name, what="machine", most=60), by=by, now=now)


def _machine(branch: Branch, kind: MachineKind, name: str, *, by: Actor, now: datetime) -> Machine:
    machine: Machine = Machine.objects.create(
        branch=branch,
        kind=kind,
        name=name,
        resource=_resource(branch, ResourceKind.MACHINE, name),
    )
    _note(branch, by=by, now=now, subject="machine", subject_id=machine.pk, action="add", name=name)
    return machine


@run_write
def add_machines(
    *, branch: Branch, kind: MachineKind, name: str, count: int, by: Actor, now: datetime
) -> list[Machine]:
    """So many machines of a kind; each can be in one place only, so each has a number."""
    name = _named(name, what="machine", most=50)
    if not 1 <= count <= MOST_MACHINES:
        raise Refusal(f"Please add 1 to {MOST_MACHINES} machines at once.", field="count")
    names = [name] if count == 1 else [f"{name} {number}" for number in range(1, count + 1)]
    taken = Machine.objects.of_branch(branch).filter(name__in=names).first()
    if taken is not None:
        raise Refusal(f"There is already a machine called {taken}.", field="name")
    return [_machine(branch, kind, each, by=by, now=now) for each in names]


@run_write
def describe_machine(
    *,
    branch: Branch,
    machine_id: int,
    by: Actor,
    now: datetime,
    m2_per_h: float | None = None,
    width_m: float | None = None,
    volts: int | None = None,
    amps: int | None = None,
    power_kw: float | None = None,
) -> Machine:
    """What a machine does and asks of a site; None takes back what was said before.

    Raises Invalid with a sentence for every field. Bookings that stand keep their machines.
    """
    machines = Machine.objects.of_branch(branch).filter(pk=machine_id, active=True)
    machine: Machine | None = machines.first()
    if machine is None:
        raise NotFound("There is no such machine in this branch.")
    problems = problems_of(MachineRate(machine.name, m2_per_h, width_m, volts, amps))
    if power_kw is not None and not 0 < power_kw <= MOST_KW:
        problems["power_kw"] = f"A heater gives above 0 and up to {MOST_KW:g} kW."
    if problems:
        raise Invalid(problems)
    said = {"m2_per_h": m2_per_h, "width_m": width_m, "volts": volts, "amps": amps}
    for name, value in {**said, "power_kw": power_kw}.items():
        setattr(machine, name, value)
    machine.save(update_fields=[*said, "power_kw"])
    _note(
        branch,
        by=by,
        now=now,
        subject="machine",
        subject_id=machine.pk,
        action="describe",
        name=machine.name,
    )
    return machine


@run_write
def join_crew(
    *,
    branch: Branch,
    crew_id: int,
    installer_id: int,
    from_day: date,
    by: Actor,
    now: datetime,
    until_day: date | None = None,
) -> CrewMembership:
    """Put a person into a crew from a day on; an open stay elsewhere ends the day before.

    Stints that are booked already keep the people they were booked with.
    """
    crew = Crew.objects.of_branch(branch).filter(pk=crew_id).first()
    installer = Installer.objects.of_branch(branch).filter(pk=installer_id).first()
    if crew is None or installer is None:
        raise NotFound("There is no such crew or person in this branch.")
    if until_day is not None and until_day < from_day:
        raise Refusal("The last day lies before the first.", field="until_day")
    claims.lock([installer.resource_id])
    _end_open_stay(installer, from_day=from_day)
    overlapping = installer.memberships.filter(
        Q(until_day__isnull=True) | Q(until_day__gte=from_day)
    )
    if until_day is not None:
        overlapping = overlapping.filter(from_day__lte=until_day)
    clash = overlapping.select_related("crew").first()
    if clash is not None:
        raise Refusal(
            f"{installer} is in {clash.crew} from {say_day(clash.from_day)} already.",
            field="from_day",
        )
    membership: CrewMembership = CrewMembership.objects.create(
        crew=crew, installer=installer, from_day=from_day, until_day=until_day
    )
    _note(
        branch,
        by=by,
        now=now,
        subject="crew",
        subject_id=crew.pk,
        action="join",
        name=installer.name,
    )
    return membership


@run_write
def leave_crew(
    *, branch: Branch, installer_id: int, last_day: date, by: Actor, now: datetime
) -> CrewMembership:
    """Let a person leave their crew after a day. Booked stints keep their people."""
    installer = Installer.objects.of_branch(branch).filter(pk=installer_id).first()
    if installer is None:
        raise NotFound("There is no such person in this branch.")
    claims.lock([installer.resource_id])
    stays = CrewMembership.objects.filter(installer=installer).on(last_day)
    stay: CrewMembership | None = stays.first()
    if stay is None:
        raise Refusal(f"{installer} is in no crew on {say_day(last_day)}.", field="last_day")
    stay.until_day = last_day
    stay.save(update_fields=["until_day"])
    _note(
        branch,
        by=by,
        now=now,
        subject="crew",
        subject_id=stay.crew_id,
        action="leave",
        name=installer.name,
    )
    return stay


@run_write
def add_absence(
    *,
    branch: Branch,
    resource_id: int,
    start: datetime,
    end: datetime,
    by: Actor,
    now: datetime,
    why: str = "",
) -> Absence:
    """Take a person, machine or crew out for a while. Raises SlotTaken if they are booked."""
    if end <= start:
        raise Refusal("The absence ends before it starts.", field="end")
    if end - start > timedelta(days=366):
        raise Refusal("An absence lasts a year at most; enter the rest later.", field="end")
    resource = next(
        (each for each in claims.lock([resource_id]) if each.branch_id == branch.pk), None
    )
    if resource is None:
        raise NotFound("There is no such crew, person or machine in this branch.")
    absence = Absence.objects.create(
        resource=resource, start=start, end=end, why=one_line(why, most=160)
    )
    claims.take_absence(absence)
    _note(
        branch,
        by=by,
        now=now,
        subject="absence",
        subject_id=absence.pk,
        action="add",
        name=resource.label,
        after=_away(absence),
        why=absence.why,
    )
    return absence


@run_write
def end_absence(*, branch: Branch, absence_id: int, by: Actor, now: datetime) -> Resource:
    """Somebody is there again: what is left of an absence is free, what has passed stays."""
    wanted = Absence.objects.filter(pk=absence_id, resource__branch=branch)
    claims.lock(wanted.values_list("resource_id", flat=True))
    absence = wanted.select_related("resource").first()  # behind the lock: who came first ended it
    if absence is None or absence.end <= now:
        raise NotFound("There is no such absence in this branch.")
    resource, before = absence.resource, _away(absence)
    if absence.start >= now:
        absence.delete()
    else:
        claims.shorten_absence(absence, until=now)
        absence.end = now
        absence.save(update_fields=["end"])
    _note(
        branch,
        by=by,
        now=now,
        subject="absence",
        subject_id=absence_id,
        action="end",
        name=resource.label,
        before=before,
    )
    return resource


def _away(absence: Absence) -> dict[str, str]:
    """An absence as the audit keeps it."""
    return {"start": absence.start.isoformat(), "end": absence.end.isoformat()}


def _named(name: str, *, what: str, most: int) -> str:
    name = one_line(name, most=most)
    if not name:
        raise Refusal(f"A {what} needs a name.", field="name")
    return name


def _resource(branch: Branch, kind: ResourceKind, label: str) -> Resource:
    return Resource.objects.create(branch=branch, kind=kind, label=label)


def _end_open_stay(installer: Installer, *, from_day: date) -> None:
    installer.memberships.filter(until_day__isnull=True, from_day__lt=from_day).update(
        until_day=from_day - timedelta(days=1)
    )


def _note(
    branch: Branch,
    *,
    by: Actor,
    now: datetime,
    subject: str,
    subject_id: int,
    action: str,
    name: str,
    before: Mapping[str, str] | None = None,
    after: Mapping[str, str] | None = None,
    why: str = "",
) -> None:
    """Audit, and the calendar's version: prepared offers are out of date now."""
    Branch.objects.filter(pk=branch.pk).update(calendar_version=F("calendar_version") + 1)
    audit.record(
        branch=branch,
        by=by,
        subject=subject,
        subject_id=subject_id,
        action=action,
        now=now,
        before=before,
        after={"name": name, **(after or {})},
        why=why,
    )
