"""Heaters placed in a room and taken away again: each is at one site only, like a crew."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from math import isfinite

from django.db.models import F

from dispatch.models import Absence, Claim, HeaterStay, Machine, MachineKind
from dispatch.services import claims
from jobs import audit
from jobs.access import Actor
from jobs.models import Branch, Site
from jobs.refusals import Invalid, NotFound, Refusal
from jobs.rules.clock import say_span
from jobs.writing import run_write
from weather.rules.heaters import MOST_KW

LONGEST = timedelta(days=21)
COLDEST_C, WARMEST_C = 5.0, 40.0  # of a thermostat


@run_write
def place_heater(
    *,
    branch: Branch,
    machine_id: int,
    site_id: int,
    start: datetime,
    end: datetime,
    by: Actor,
    now: datetime,
    power_kw: float | None = None,
    vented: bool = True,
    most_c: float = 30.0,
) -> HeaterStay:
    """Let a heater stand at a site from `start` until `end`; its time is claimed for it.

    `power_kw` is the machine's own where it is left out. Raises Invalid with a sentence for
    every field, NotFound, and SlotTaken where a crew or another room has the machine.
    """
    machine = Machine.objects.of_branch(branch).filter(pk=machine_id, active=True).first()
    site = Site.objects.of_branch(branch).filter(pk=site_id).first()
    if machine is None or site is None:
        raise NotFound("There is no such heater or site in this branch.")
    if machine.kind != MachineKind.HEATER:
        raise Refusal(f"{machine} is no heater.", field="machine")
    power_kw = machine.power_kw if power_kw is None else power_kw
    _check(start=start, end=end, power_kw=power_kw, most_c=most_c)
    claims.lock([machine.resource_id])
    absence = Absence.objects.create(
        resource=machine.resource, start=start, end=end, why=f"stands at {site.street}"[:160]
    )
    claims.take_absence(absence)
    stay: HeaterStay = HeaterStay.objects.create(
        machine=machine,
        site=site,
        absence=absence,
        start=start,
        end=end,
        power_kw=power_kw,
        vented=vented,
        most_c=most_c,
        placed_by=by.name[:120],
        placed_at=now,
    )
    _note(stay, branch, action="place heater", by=by, now=now)
    return stay


@run_write
def take_heater_away(
    *, branch: Branch, stay_id: int, by: Actor, now: datetime, at: datetime | None = None
) -> HeaterStay:
    """End a heater's stay at `at` (default: now), or call it off if it has not begun."""
    wanted = HeaterStay.objects.of_branch(branch).standing().filter(pk=stay_id)
    claims.lock(wanted.values_list("machine__resource_id", flat=True))
    stay: HeaterStay | None = wanted.first()  # behind the lock: somebody may have come first
    if stay is None:
        raise NotFound("No such heater stands there.")
    at, was = at or now, _when(stay)
    if at >= stay.end:
        raise Refusal(f"{stay.machine} leaves before that anyway.", field="end")
    if at <= stay.start:
        stay.called_off_at = now
        _give_back(stay, from_=None)
    else:
        stay.end = at
        _give_back(stay, from_=at)
    stay.save(update_fields=["called_off_at", "end"])
    _note(stay, branch, action="take heater away", by=by, now=now, before={"when": was})
    return stay


def _check(*, start: datetime, end: datetime, power_kw: float | None, most_c: float) -> None:
    problems = {}
    if end <= start:
        problems["end"] = "The heater is taken away before it is placed."
    elif end - start > LONGEST:
        problems["end"] = f"A heater stands {LONGEST.days} days at most; place it again then."
    if power_kw is None or not (isfinite(power_kw) and 0 < power_kw <= MOST_KW):
        problems["power_kw"] = f"Type what it gives: above 0 and up to {MOST_KW:g} kW."
    if not (isfinite(most_c) and COLDEST_C <= most_c <= WARMEST_C):
        problems["most_c"] = "No thermostat holds a room at that."
    if problems:
        raise Invalid(problems)


def _give_back(stay: HeaterStay, *, from_: datetime | None) -> None:
    """Give the machine's time back, all of it or from an instant on."""
    absence = stay.absence
    if absence is None:
        return
    Claim.objects.filter(absence=absence).delete()
    if from_ is None:
        stay.absence = None
        stay.save(update_fields=["absence"])
        absence.delete()
        return
    absence.end = from_
    absence.save(update_fields=["end"])
    claims.take_absence(absence)


def _when(stay: HeaterStay) -> str:
    return say_span(stay.start, stay.end, stay.site.tz)


def _note(
    stay: HeaterStay,
    branch: Branch,
    *,
    action: str,
    by: Actor,
    now: datetime,
    before: Mapping[str, str] | None = None,
) -> None:
    """Audit, and the calendar's version: prepared offers are out of date now."""
    Branch.objects.filter(pk=branch.pk).update(calendar_version=F("calendar_version") + 1)
    audit.record(
        branch=branch,
        by=by,
        subject="site",
        subject_id=stay.site_id,
        action=action,
        now=now,
        before=before,
        after={
            "machine": stay.machine.name,
            "power_kw": stay.power_kw,
            "vented": stay.vented,
            "when": _when(stay),
            "called_off": stay.called_off_at is not None,
        },
    )
