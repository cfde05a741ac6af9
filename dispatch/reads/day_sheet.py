"""The day sheet: what a crew needs on site, from what is stored; nothing here is computed late."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any

from dispatch.models import (
    Crew,
    Notice,
    NoticeKind,
    NoticeState,
    Stamp,
    StampKind,
    Stint,
    StoredVerdict,
)
from dispatch.reads.chain import rates_of
from dispatch.reads.forecast_age import why_old
from dispatch.reads.last_word import FinalWord, final_word, not_ready
from dispatch.rules.cautions import DEFERS, Caution, cautions
from dispatch.rules.findings import Level
from dispatch.rules.plain_text import one_line
from dispatch.rules.ways_out import PREPARE_ONLY
from dispatch.rules.words import Words
from jobs.models import Floor, Job
from jobs.rules.clock import say_moment, say_span, say_time
from jobs.rules.materials import CoatNeed, Materials, materials
from jobs.rules.plan import StageKind
from jobs.rules.trailer import carries_base, carries_top, gear
from jobs.rules.units import gal_from_l, lb_from_kg

SHOWN_AHEAD = timedelta(days=14)
REFERENCE_C = 20.0
NO_POUR = "No pour is known to be safe on this day. Prepare only, or ring the office."
STOP = "Stop: pour nothing, ring the office, leave the slab clean and covered."
STAGE_WORDS = {
    StageKind.SET_UP: "Set up",
    StageKind.MASK: "Mask",
    StageKind.GRIND: "Grind, edges, repairs",
    StageKind.VACUUM: "Vacuum",
    StageKind.VERTICALS: "Stem walls and steps",
    StageKind.BASE: "Cut in, base, broadcast",
    StageKind.SET: "Base sets",
    StageKind.SCRAPE: "Scrape",
    StageKind.ABRADE: "Abrade: recoat window is over",
    StageKind.TOP: "Top coat",
    StageKind.PACK: "Pack, close off",
    StageKind.BREAK: "Break",
}
COATS = {StageKind.BASE, StageKind.TOP}


@dataclass(frozen=True)
class StageLine:
    """One step on the clock."""

    clock: str
    words: str
    kind: str  # "coat", "wait" or "work"
    hands: int


@dataclass(frozen=True)
class FloorNeed:
    """What one floor takes, in words."""

    name: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class StampLine:
    """One of the four moments: its button, or when it was."""

    kind: str
    label: str
    at: str


@dataclass(frozen=True)
class Weather:
    """The newest verdict in words, with its age; level "unknown" where there is none."""

    level: str
    headline: str
    firmness: str
    last_safe_pour: str
    about_it: str
    forecast: str
    checks: tuple[dict[str, Any], ...]
    ways_out: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """Everything on the sheet of one stint."""

    stint: Stint
    unseen: tuple[Notice, ...]
    arrival: str
    span: str
    geo: str
    hours: tuple[str, ...]
    stages: tuple[StageLine, ...]
    weather: Weather
    needs: tuple[FloorNeed, ...]
    needs_basis: str
    carry: tuple[str, ...]
    promises: tuple[str, ...]
    cautions: tuple[Caution, ...]
    defers: str
    stamps: tuple[StampLine, ...]
    current_at: str
    why_old: str  # why there is no newer forecast; empty while it is not old
    final: FinalWord
    not_ready: tuple[str, ...]  # what the customer said is not ready, or did not answer


def stints_of_crew(crew: Crew, *, now: datetime) -> list[Stint]:
    """The crew's stints from today on, in order."""
    today = crew.branch.at(crew.branch.today(now), time(0))
    return list(
        Stint.objects.standing()
        .filter(crew=crew, end__gte=today, start__lt=today + SHOWN_AHEAD)
        .with_all()
        .order_by("start")
    )


def unseen_of(crew: Crew, *, now: datetime) -> tuple[Notice, ...]:
    """Changes this crew has not been seen to read, the newest of each booking."""
    waiting = (
        Notice.objects.filter(
            branch_id=crew.branch_id,
            kind=NoticeKind.CREW_CHANGE,
            receipt__isnull=True,
            facts__crew=crew.pk,
            due_at__gt=now - SHOWN_AHEAD,
        )
        .exclude(state=NoticeState.OBSOLETE)
        .order_by("booking_version", "pk")
    )
    newest = {notice.booking_id: notice for notice in waiting}
    return tuple(newest.values())


def day_sheet(stint: Stint, *, now: datetime) -> Sheet:
    """The sheet of a stint that was read `with_all()`."""
    job, branch = stint.booking.job, stint.booking.branch
    zone = job.site.tz
    verdict = stint.verdicts.filter(latest=True).select_related("forecast").first()
    slab_c, basis = _slab(verdict, Words(zone, str(branch.units), stint.start.date()))
    return Sheet(
        stint=stint,
        unseen=unseen_of(stint.crew, now=now),
        arrival=say_moment(stint.start, zone),
        span=say_span(stint.start, stint.end, zone),
        geo=f"geo:{job.site.latitude:.5f},{job.site.longitude:.5f}",
        hours=_hours(stint),
        stages=tuple(_stage(stage, stint) for stage in stint.stages),
        weather=_weather(verdict, stint, now=now),
        needs=tuple(_need(floor, stint, slab_c) for floor in job.floors.all()),
        needs_basis=basis,
        carry=_carry(stint, slab_c),
        promises=_promises(stint),
        cautions=cautions(tuple(job.exposures())),
        defers=DEFERS,
        stamps=_stamps(stint),
        current_at=say_moment(now, zone),
        why_old=why_old(job.site.place, now, zone),
        final=final_word(stint, now=now),
        not_ready=not_ready(stint.booking, now=now),
    )


def _hours(stint: Stint) -> tuple[str, ...]:
    site, branch = stint.booking.job.site, stint.booking.branch
    quiet = site.quiet_until or branch.quiet_until
    found = [f"Nothing loud before {_wall(quiet)}."]
    if site.opens:
        found.append(f"Nobody on site before {_wall(site.opens)}.")
    if site.closes:
        found.append(f"Off the site by {_wall(site.closes)}.")
    return tuple(found)


def _wall(clock: time) -> str:
    return f"{clock.hour % 12 or 12}:{clock:%M %p}"


def _stage(stage: dict[str, Any], stint: Stint) -> StageLine:
    kind = StageKind(stage["kind"])
    zone = stint.booking.job.site.tz
    look = "wait" if kind.wait else "coat" if kind in COATS else "work"
    clock = say_time(datetime.fromisoformat(stage["start"]), zone)
    return StageLine(clock, STAGE_WORDS[kind], look, int(stage.get("hands", 0)))


def _weather(verdict: StoredVerdict | None, stint: Stint, *, now: datetime) -> Weather:
    zone = stint.booking.job.site.tz
    if verdict is None:
        return Weather(
            level=Level.UNKNOWN.value,
            headline="No verdict yet: nobody has held this day against a forecast.",
            firmness="",
            last_safe_pour="None",
            about_it=NO_POUR,
            forecast="No forecast.",
            checks=(),
            ways_out=_ways_out(()),
        )
    pour, about = _last_safe_pour(verdict, stint)
    return Weather(
        level=verdict.level,
        headline=verdict.headline,
        firmness=verdict.firmness,
        last_safe_pour=pour,
        about_it=about,
        forecast=_forecast_age(verdict, zone=zone, now=now),
        checks=tuple(verdict.checks),
        ways_out=_ways_out(verdict.ways_out),
    )


def _last_safe_pour(verdict: StoredVerdict, stint: Stint) -> tuple[str, str]:
    """The moment and what binds it. A verdict without one means three different things."""
    if verdict.last_safe_pour is not None:
        because = f"Limit: {verdict.binds}" if verdict.binds else ""
        return _same_day(verdict.last_safe_pour, stint), because
    planned = f" ({_same_day(stint.pour_at, stint)})" if stint.pour_at else ""
    if verdict.level == Level.GO:
        return "As planned", f"Nothing forecast stops the planned pour{planned} or one soon after."
    if verdict.level == Level.CARE:
        return (
            "Not known",
            f"Keep to the planned pour{planned}; ring the office before going later.",
        )
    return "None", NO_POUR


def _ways_out(found: Sequence[str]) -> tuple[str, ...]:
    """The verdict's ways out and the two that are always open, each once."""
    said = any(way.startswith(PREPARE_ONLY.removesuffix(".")) for way in found)
    return (*found, *(() if said else (PREPARE_ONLY,)), STOP)


def _same_day(moment: datetime, stint: Stint) -> str:
    zone = stint.booking.job.site.tz
    if moment.astimezone(zone).date() == stint.start.astimezone(zone).date():
        return say_time(moment, zone)
    return say_moment(moment, zone)


def _forecast_age(verdict: StoredVerdict, *, zone: Any, now: datetime) -> str:
    if verdict.forecast is None:
        return f"Judged {say_moment(verdict.made_at, zone)} without any forecast."
    issued = verdict.forecast.issued_by_our_clock
    age_h = max(0, round((now - issued).total_seconds() / 3600))
    return (
        f"Forecast issued {say_moment(issued, zone)}, {age_h} h old; "
        f"judged {say_moment(verdict.made_at, zone)}."
    )


def _slab(verdict: StoredVerdict | None, words: Words) -> tuple[float, str]:
    """The slab the batches are counted for, and a sentence about where it comes from."""
    for check in verdict.checks if verdict else ():
        value, unit = check.get("value"), check.get("unit")
        if check.get("name") == "slab" and unit == "°C" and value is not None:
            said = words.temperature(float(value))
            return float(value), f"Batches for a slab of {said}, an estimate: meter it and adjust."
    said = words.temperature(REFERENCE_C)
    return REFERENCE_C, f"Slab not known: batches for {said}. On a warmer slab mix smaller ones."


def _takes(floor: Floor, stint: Stint, slab_c: float) -> Materials:
    job = stint.booking.job
    people = max(1, len(stint.installers.all()))
    return materials(
        work=floor.work,
        card=job.system.card,
        rates=rates_of(stint.booking.branch),
        crew_size=people,
        slab_at_pour_c=slab_c,
        slab_at_top_c=slab_c,
    )


def _need(floor: Floor, stint: Stint, slab_c: float) -> FloorNeed:
    takes = _takes(floor, stint, slab_c)
    us = str(stint.booking.branch.units) == "us"
    return FloorNeed(floor.name, tuple(_need_lines(takes, us=us)))


def _need_lines(takes: Materials, *, us: bool) -> list[str]:
    def volume(litres: float) -> str:
        return _volume(litres, us=us)

    def mass(kilos: float) -> str:
        return _mass(kilos, us=us)

    lines = []
    for name, coat in (("Base", takes.base), ("Top", takes.top)):
        halved = ", half size for the hot slab" if coat.halved else ""
        lines.append(
            f"{name}: {volume(coat.litres)} mixed (A {volume(coat.a_l)}, B {volume(coat.b_l)}) in "
            f"{coat.batches} batches of at most {volume(coat.batch_l)}{halved}; "
            f"for edges at most {volume(coat.edge_batch_l)}; "
            f"usable {coat.usable_minutes:.0f} min."
        )
    if takes.flake_thrown_kg:
        lines.append(
            f"Flake: throw {mass(takes.flake_thrown_kg)}, load {mass(takes.flake_order_kg)}, "
            f"{mass(takes.flake_net_kg)} stay on the floor."
        )
    return lines


def _volume(litres: float, *, us: bool) -> str:
    return f"{gal_from_l(litres):.1f} gal" if us else f"{litres:.1f} l"


def _mass(kilos: float, *, us: bool) -> str:
    return f"{lb_from_kg(kilos):.0f} lb" if us else f"{kilos:.0f} kg"


def _carry(stint: Stint, slab_c: float) -> tuple[str, ...]:
    job, kinds = stint.booking.job, _kinds(stint)
    color = f", {one_line(job.color)}" if job.color else ""
    machines = [str(machine) for machine in stint.machines.all()]
    return (
        f"{job.system}{color}",
        *machines,
        *_resin(stint, slab_c),
        *gear(kinds, flake=job.system.card.flake_kg_per_m2 > 0, open_air=_open_air(job)),
    )


def _open_air(job: Job) -> bool:
    return any(not exposure.enclosed for exposure in job.exposures())


def _kinds(stint: Stint) -> frozenset[StageKind]:
    return frozenset(StageKind(stage["kind"]) for stage in stint.stages)


def _resin(stint: Stint, slab_c: float) -> list[str]:
    """Resin and flake for the coats of this stint alone, all floors together."""
    kinds, us = _kinds(stint), str(stint.booking.branch.units) == "us"
    takes = [_takes(floor, stint, slab_c) for floor in stint.booking.job.floors.all()]
    lines = []
    if carries_base(kinds):
        lines.append(_mixed("Base", [each.base for each in takes], us=us))
        thrown_kg = sum(each.flake_order_kg for each in takes)
        if thrown_kg:
            lines.append(f"Flake: {_mass(thrown_kg, us=us)} with a tenth to spare")
    if carries_top(kinds):
        lines.append(_mixed("Top", [each.top for each in takes], us=us))
    return lines


def _mixed(name: str, coats: Sequence[CoatNeed], *, us: bool) -> str:
    a_l, b_l = (sum(getattr(coat, side) for coat in coats) for side in ("a_l", "b_l"))
    second = f", B {_volume(b_l, us=us)}" if b_l else ""
    return f"{name}: A {_volume(a_l, us=us)}{second}"


def _promises(stint: Stint) -> tuple[str, ...]:
    booking = stint.booking
    zone = booking.job.site.tz
    walk, drive = booking.walk_on_at, booking.drive_on_at
    return (
        f"Walk on: {say_moment(walk, zone) if walk else 'not known yet, ask the office'}",
        f"Drive on: {say_moment(drive, zone) if drive else 'not known yet, ask the office'}",
    )


def _stamps(stint: Stint) -> tuple[StampLine, ...]:
    zone = stint.booking.job.site.tz
    made: dict[str, Stamp] = {stamp.kind: stamp for stamp in stint.stamps.all()}
    return tuple(
        StampLine(
            kind=kind.value,
            label=str(kind.label),
            at=say_moment(made[kind.value].at, zone) if kind.value in made else "",
        )
        for kind in StampKind
    )
