"""A floor's day in words for a terminal, or in plain values for another program."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from dispatch.reads.booking_day import idle_words
from dispatch.reads.floor_day import FloorDay, HourOfDay, margin
from dispatch.reads.measuring import plain
from dispatch.reads.orders import order_words
from dispatch.rules.findings import Check, Level
from dispatch.rules.measures.change import Measure
from dispatch.rules.words import Words, share
from jobs.rules.clock import round_up_quarter, say_moment, say_span, say_time
from jobs.rules.materials import CoatNeed, Materials
from jobs.rules.ordering import OrderLine
from jobs.rules.plan import Stage, Visit
from jobs.rules.stages import idle_spans
from jobs.rules.units import ft2_from_m2, gal_from_l, lb_from_kg
from weather.models import Place

NAMES = {
    "set_up": "Set up",
    "mask": "Mask",
    "grind": "Grind, edges, repair",
    "vacuum": "Vacuum",
    "verticals": "Stem walls and steps",
    "base": "Base and broadcast",
    "set": "Wait until it sets",
    "scrape": "Scrape",
    "abrade": "Abrade",
    "top": "Top coat",
    "pack": "Pack",
    "break": "Break",
}


def as_lines(day: FloorDay, *, place: Place, measures: Sequence[Measure] = ()) -> Iterator[str]:
    """The whole answer, line by line, in the units asked for and the site's time."""
    plan, zone = day.plan, day.zone
    say = Words(zone=zone, units=day.asked.units, day=plan.pour.astimezone(zone).date())
    area_m2 = day.asked.work.area_m2
    size = f"{ft2_from_m2(area_m2):,.0f} sq ft" if say.us else f"{area_m2:,.1f} m²"
    yield f"{size}, {day.asked.exposure.value}, {place}: {day.asked.card.name}"
    issued = day.hours.issued_at
    age = f"issued {say_moment(issued, zone)}" if issued else "not known"
    yield f"Forecast: {day.hours.source or 'none'}, {age}; slab estimate on {day.slab.basis}"
    yield ""
    yield f"{day.verdict.level.upper()}: {day.verdict.headline}"
    hours = day.verdict.wet_hours
    if hours is not None:
        yield hours.sentence
    yield from _measures(day, measures)
    for number, visit in enumerate(plan.visits, start=1):
        yield ""
        yield f"Visit {number}: {say_span(visit.start, visit.end, zone)}"
        yield from (f"  {_stage(stage, day)}" for stage in visit.stages)
    yield from idle_words(day.plan, day.zone)
    yield ""
    yield from _moments(day)
    yield ""
    yield "Hour       air    dew point   slab (from - to)        over dew   rain"
    yield from (_hour(hour, say) for hour in day.by_hour())
    yield ""
    yield "Limits"
    for check in day.verdict.checks:
        yield f"  {check.level.upper():<8}{check.name:<11}{check.sentence}"
    yield ""
    yield "Materials, for this slab"
    for name, need in (("Base", day.materials.base), ("Top", day.materials.top)):
        yield f"  {name:<6}{_need(need, us=say.us)}"
    if day.materials.flake_order_kg:
        yield f"  Flake {_flake(day.materials, us=say.us)}"
    yield ""
    yield "To order"
    today = day.now.astimezone(zone).date()
    yield from (f"  {order_words(line, us=say.us, today=today)}" for line in day.orders)


def as_json(day: FloorDay, *, place: Place, measures: Sequence[Measure] = ()) -> dict[str, Any]:
    """The same in plain values: °C, m, litres, kg and UTC; null is unknown."""
    plan, verdict = day.plan, day.verdict
    return {
        "place": {"name": place.name, "zone": place.zone},
        "system": day.asked.card.name,
        "forecast": {"source": day.hours.source, "issued_at": _iso(day.hours.issued_at)},
        "slab": {"basis": day.slab.basis, "weak": bool(day.slab.weak)},
        "verdict": {
            "level": verdict.level.value,
            "headline": verdict.headline,
            "ways_out": list(verdict.ways_out),
            "firmness": verdict.firmness,
        },
        "measures": [plain(each) for each in measures],
        "wet_hours": verdict.wet_hours.sentence if verdict.wet_hours else None,
        "last_safe_pour": _iso(verdict.last_safe_pour),
        "last_safe_pour_binds": verdict.binds,
        "slack_min": verdict.slack_min,
        "visits": [_visit_json(visit) for visit in plan.visits],
        "idle": [{"start": _iso(start), "end": _iso(end)} for start, end in idle_spans(plan)],
        "pour_at": _iso(plan.pour),
        "top_end_at": _iso(plan.top_end),
        "tack_free_at": _iso(plan.tack_free),
        "rain_safe_at": _iso(plan.rain_safe),
        "walk_on_at": _iso(_promised(plan.walk_on)),
        "drive_on_at": _iso(_promised(plan.drive_on)),
        "drive_on_basis": plan.drive_on_basis,
        "hours": [{**asdict(hour), "at": _iso(hour.at)} for hour in day.by_hour()],
        "checks": [_check(check, day) for check in verdict.checks],
        "materials": {
            "base": _need_json(day.materials.base),
            "top": _need_json(day.materials.top),
            "flake_thrown_kg": day.materials.flake_thrown_kg,
            "flake_order_kg": day.materials.flake_order_kg,
            "flake_net_kg": day.materials.flake_net_kg,
        },
        "orders": [_order_json(line) for line in day.orders],
    }


def _measures(day: FloorDay, measures: Sequence[Measure]) -> Iterator[str]:
    """Each with what comes of it; where none was looked for, what the verdict itself says."""
    if not measures:
        yield from (f"  {way}" for way in day.verdict.ways_out)
    for measure in measures:
        level = measure.level.upper() if measure.level else "NO COAT"
        yield f"  {level:<8}{measure.sentence}"


def _visit_json(visit: Visit) -> dict[str, Any]:
    return {
        "start": _iso(visit.start),
        "end": _iso(visit.end),
        "stages": [
            {
                "kind": stage.kind.value,
                "start": _iso(stage.start),
                "end": _iso(stage.end),
                "hands": stage.hands,
            }
            for stage in visit.stages
        ],
    }


def _order_json(line: OrderLine) -> dict[str, Any]:
    return {
        "what": line.what,
        "kits": line.kits,
        "litres": line.litres,
        "mass_kg": line.mass_kg,
        "order_by": line.order_by.isoformat(),
        "not_before": line.not_before.isoformat() if line.not_before else None,
    }


def _moments(day: FloorDay) -> Iterator[str]:
    plan, zone, verdict = day.plan, day.zone, day.verdict
    last = verdict.last_safe_pour
    binds = f" ({verdict.binds})" if verdict.binds else ""
    yield f"Pour            {say_moment(plan.pour, zone)}"
    none = "no hour of that day holds, or too little is known"
    if verdict.level is Level.GO:
        none = "nothing known would stop a later one"
    yield f"Last safe pour  {say_moment(last, zone) + binds if last else none}"
    for name, at in (
        ("Rain-safe", plan.rain_safe),
        ("Walk on from", _promised(plan.walk_on)),
        ("Drive on from", _promised(plan.drive_on)),
    ):
        yield f"{name:<16}{say_moment(at, zone) if at else 'not known'}"
    yield f"Drive-on rests on {plan.drive_on_basis}."


def _stage(stage: Stage, day: FloorDay) -> str:
    span = f"{say_time(stage.start, day.zone):>8} - {say_time(stage.end, day.zone):>8}"
    hands = "nobody" if not stage.hands else f"{stage.hands} people"
    return f"{span}  {NAMES[stage.kind.value]:<22}{hands}"


def _hour(hour: HourOfDay, say: Words) -> str:
    def degrees(value_c: float | None) -> str:
        return "?" if value_c is None else say.temperature(value_c)

    over = "?" if hour.over_dew_c is None else say.difference(hour.over_dew_c)
    band = f"{degrees(hour.slab_c)} ({degrees(hour.slab_cold_c)} - {degrees(hour.slab_warm_c)})"
    rain = "?" if hour.rain_chance_pct is None else share(hour.rain_chance_pct)
    return (
        f"{say.clock(hour.at):<10} {degrees(hour.air_c):<8}{degrees(hour.dew_c):<10}"
        f"{band:<30}{over:<10}{rain}"
    )


def _flake(takes: Materials, *, us: bool) -> str:
    """To throw, to load and to cost: what is scraped up clean is thrown again elsewhere."""

    def mass(kg: float) -> str:
        return f"{lb_from_kg(kg):,.0f} lb" if us else f"{kg:,.0f} kg"

    return (
        f"{mass(takes.flake_thrown_kg)} to throw, {mass(takes.flake_order_kg)} to load, "
        f"{mass(takes.flake_net_kg)} to cost"
    )


def _need(need: CoatNeed, *, us: bool) -> str:
    whole, a, b, batch = need.litres, need.a_l, need.b_l, need.batch_l
    unit, edge = "L", need.edge_batch_l
    if us:
        edge = gal_from_l(edge)
        whole, a, b, batch = (gal_from_l(volume_l) for volume_l in (whole, a, b, batch))
        unit = "gal"
    parts = f" ({a:.1f} A and {b:.1f} B)" if b else ""
    return (
        f"{whole:.1f} {unit}{parts} in {need.batches} batches of at most {batch:.1f} {unit}, "
        f"usable {need.usable_minutes:.0f} min; mixes for edges at most {edge:.2f} {unit}"
    )


def _check(check: Check, day: FloorDay) -> dict[str, Any]:
    inside = margin(check.name, value=check.value, limit=check.limit, card=day.asked.card)
    return {
        "name": check.name,
        "level": check.level.value,
        "sentence": check.sentence,
        "at": _iso(check.at),
        "value": check.value,
        "limit": check.limit,
        "unit": check.unit,
        "margin": inside,
    }


def _need_json(need: CoatNeed) -> dict[str, float]:
    return {
        "litres": need.litres,
        "a_l": need.a_l,
        "b_l": need.b_l,
        "batch_l": need.batch_l,
        "batches": need.batches,
        "edge_batch_l": need.edge_batch_l,
        "usable_minutes": need.usable_minutes,
    }


def _promised(at: datetime | None) -> datetime | None:
    return round_up_quarter(at) if at else None


def _iso(instant: datetime | None) -> str | None:
    return instant.isoformat() if instant else None
