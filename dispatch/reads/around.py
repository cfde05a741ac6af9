"""What happened around a booking, in sentences: what was read, seen, placed, decided, answered."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.db.models import Q

from dispatch.models import Booking
from dispatch.reads.on_site import reading_words
from dispatch.rules.dryness import BY
from dispatch.rules.final_call import LABELS
from dispatch.rules.readiness import NAMES
from dispatch.rules.words import Words
from jobs.models import AuditEvent, Job, ReturnCause, SiteReading
from jobs.rules.clock import say_day, say_moment
from jobs.rules.units import ft2_from_m2

# Values of a record may be words by now: those that name somebody who was erased are gone.
DECIDED = {decision.value: label.lower() for decision, label in LABELS.items()}
CAUSES = dict(ReturnCause.choices)


def events_around(booking: Booking) -> list[AuditEvent]:
    """Everything on record of the floors, the site and the answers of one booking; one query.

    Keys alone are asked for, not the branch: each then finds its rows by the record's index.
    """
    job = booking.job
    comings_back = Job.objects.filter(Q(pk=job.pk) | Q(returns_to=job)).values("pk")
    heaters = {"action__in": ("place heater", "take heater away"), "at__gte": job.created_at}
    wanted = (
        Q(subject="floor", subject_id__in=job.floors.values("pk"), action__in=SENTENCES)
        | Q(subject="site", subject_id=job.site_id, **heaters)
        | Q(subject="stint", subject_id__in=booking.stints.values("pk"), action="final call")
        | Q(subject="proposal", subject_id__in=booking.proposals.values("pk"))
        | Q(subject="ready", subject_id=booking.pk)
        | Q(subject="job", subject_id__in=comings_back, action="come back")
    )
    return list(AuditEvent.objects.filter(wanted))


def said_of(event: AuditEvent, booking: Booking, *, floors: Mapping[int, str]) -> str:
    """One event as a sentence: who, what, what it was before, and why.

    `floors` names the floors where there are several of them.
    """
    site, branch = booking.job.site, booking.branch
    say = Words(zone=site.tz, units=branch.units, day=event.at.astimezone(site.tz).date())
    name = {"proposal": "proposal", "ready": "ready"}.get(event.subject, event.action)
    told = SENTENCES[name](event, say)
    if name == "come back" and event.subject_id == booking.job_id:
        told = told.replace("a return visit", "this return visit", 1)
    where = floors.get(event.subject_id, "") if event.subject == "floor" else ""
    why = f": {event.why}" if event.why else ""
    return f"{event.actor_name} {told}{f' ({where})' if where else ''}{why}"


def _reading(event: AuditEvent, say: Words) -> str:
    kept = {**event.after, "at": datetime.fromisoformat(event.after["at"])}
    spot = f" ({kept['spot']})" if kept["spot"] else ""
    words = reading_words(SiteReading(**kept), say)  # as its record keeps it; nothing is stored
    return f"read on {say_moment(kept['at'], say.zone)}{spot}: {words}"


def _dryness(event: AuditEvent, say: Words) -> str:
    was, now_on = event.before, event.after
    told = []
    if now_on["wetted_at"] != was.get("wetted_at") or now_on["wetted_by"] != was.get("wetted_by"):
        by = f" {_from(now_on['wetted_by'])}" if now_on["wetted_by"] else ""
        told.append(f"was wetted{by} on {_moment(now_on['wetted_at'], say)}")
    if now_on["looked_dry_at"] and now_on["looked_dry_at"] != was.get("looked_dry_at"):
        told.append(f"looked dry on {_moment(now_on['looked_dry_at'], say)}")
    seen = " and ".join(told) or "is as it was noted before"
    return f"saw that {now_on['part']} {seen}{_wet_before(was, say)}"


def _wet_before(was: Mapping[str, Any], say: Words) -> str:
    told = [
        f"{words} on {_moment(was[name], say)}"
        for name, words in (("wetted_at", "wetted"), ("looked_dry_at", "looked dry"))
        if was.get(name)
    ]
    return f"; noted before: {', '.join(told)}" if told else ""


def _waters(event: AuditEvent, say: Words) -> str:
    was, now_on = (_water_words(kept.get("other_water")) for kept in (event.before, event.after))
    return f"noted what wets it besides rain: {now_on}; before: {was}"


def _water_words(names: Sequence[str] | None) -> str:
    return ", ".join(f"water {_from(name)}" for name in names or ()) or "nothing"


def _from(name: str) -> str:
    return {water.value: words for water, words in BY.items()}.get(name, name)


def _placed(event: AuditEvent, say: Words) -> str:
    kept = event.after
    fumes = "" if kept["vented"] else ", its fumes stay in the room"
    return f"placed {kept['machine']}, {kept['power_kw']:g} kW{fumes}: {kept['when']}"


def _taken_away(event: AuditEvent, say: Words) -> str:
    was, now_on = event.before.get("when", "not kept"), event.after
    if now_on.get("called_off"):
        return f"called {now_on['machine']} off before it was placed; it was to stand {was}"
    return f"took {now_on['machine']} away: it stood {now_on['when']}; it was to stand {was}"


def _final_call(event: AuditEvent, say: Words) -> str:
    was, now_on = event.before, event.after
    measure = f" ({now_on['measure']})" if now_on["measure"] else ""
    instead = f", instead of {_decision(was)}" if was else ""
    day = say_day(date.fromisoformat(now_on["day"]))
    return f"made the final call for {day}: {_decision(now_on)}{measure}{instead}"


def _decision(kept: Mapping[str, Any]) -> str:
    return f"“{DECIDED.get(kept['decision'], kept['decision'])}”"


def _proposal(event: AuditEvent, say: Words) -> str:
    starts = [datetime.fromisoformat(text) for text in event.after["starts"]]
    days = " and ".join(say_day(at.astimezone(say.zone).date()) for at in starts)
    how = f" ({event.after['how']})"
    if event.after["state"] == "accepted":
        return f"accepted {days}{how}"
    return f"wants another day than {days}{how}"


def _ready(event: AuditEvent, say: Words) -> str:
    day = say_day(date.fromisoformat(event.after["day"]))
    state = "is ready" if event.after["ready"] else "is not ready"
    name = NAMES.get(event.action, event.action)
    return f"answered for {day} that this {state}: {name} ({event.after['how']})"


def _come_back(event: AuditEvent, say: Words) -> str:
    area_m2 = event.after["area_m2"]
    size = f"{ft2_from_m2(area_m2):.0f} sq ft" if say.us else f"{area_m2:g} m²"
    cause = str(CAUSES.get(event.after["cause"], event.after["cause"])).lower()
    return f"put a return visit in line for {size}, because: {cause}"


def _moment(text: str | None, say: Words) -> str:
    return say_moment(datetime.fromisoformat(text), say.zone) if text else "an unknown day"


SENTENCES: dict[str, Callable[[AuditEvent, Words], str]] = {
    "enter reading": _reading,
    "note dryness": _dryness,
    "note other water": _waters,
    "place heater": _placed,
    "take heater away": _taken_away,
    "final call": _final_call,
    "proposal": _proposal,
    "ready": _ready,
    "come back": _come_back,
}
