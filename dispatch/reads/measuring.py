"""What can be done about a booking's verdict: its day, with all that may be changed about it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any

from dispatch.models import Booking, Crew, CrewMembership, Stint
from dispatch.reads.booked import booked_as
from dispatch.reads.chain import Setting
from dispatch.reads.grounds import Ground, Known
from dispatch.reads.site_days import SiteDays
from dispatch.rules.costs import Costs
from dispatch.rules.measures.change import Measure
from dispatch.rules.measures.ranking import ranked, smallest
from dispatch.rules.measures.situation import FloorHere, Outcome, SiteTimes, Situation
from dispatch.rules.verdicts import Level
from jobs.described import Order
from jobs.rules.doors import Span
from weather.rules.exposures import Exposure
from weather.rules.heaters import Heater
from weather.rules.hours import SlabHours

DAYS_AHEAD = 7  # other days that are looked at; the offers look further
SHORT_MIN = 60  # with less slack than this a go asks what to do if it is used up


@dataclass(frozen=True)
class _GroundSlabs:
    """The slabs of one floor, worked out with the door open and with heaters in the room."""

    ground: Ground
    known: Known

    def __call__(
        self, exposure: Exposure, *, door_open: Sequence[Span], heaters: Sequence[Heater]
    ) -> SlabHours:
        """The slab of one exposure of this floor."""
        heated = replace(self.ground, heaters=(*self.ground.heaters, *heaters))
        return heated.slab_as(exposure, self.known, door_open)


def times_of(job: Order, days: SiteDays) -> SiteTimes:
    """When one may be at the site of `job`, and whose day ends first there."""
    branch, site = job.branch, job.site
    first = site.closes is not None and site.closes < branch.day_ends
    gated = bool(site.gate_rules)
    return SiteTimes(
        zone=site.tz,
        hours=days.hours,
        usually=branch.day_starts,
        closes_words="site closes" if first or gated else "crew's day ends",
    )


def site_days(job: Order, *, now: datetime, setting: Setting) -> SiteDays:
    """The days of an order's site, with the holidays of its branch."""
    since = job.branch.today(now)
    holidays = dict(job.branch.holidays.filter(day__gte=since).values_list("day", "name"))
    return SiteDays(job, now=now, holidays=holidays, hours=setting.hours)


def situation_of(booking: Booking, stints: Sequence[Stint], *, setting: Setting) -> Situation:
    """The booking's floor on its day, as it stands."""
    first, booked = stints[0], booked_as(stints)
    bare = bare_situation(setting, start=first.start, crew_size=booked.crew_size)
    spare, until = _spare_hands(booking, first, bare.times)
    days = site_days(booking.job, now=setting.now, setting=setting)
    return replace(
        bare,
        second_start=booked.second_start,
        split_after=booked.split_after,
        bays=booked.bays,
        grinders=booked.grinders,
        spare_hands=spare,
        spare_until=until,
        other_days=_other_days(days, bare.day),
    )


def bare_situation(setting: Setting, *, start: datetime, crew_size: int) -> Situation:
    """The floors of a job for a crew that arrives at `start`, booked or not."""
    job = setting.job
    own = _own_slabs(setting)
    return Situation(
        work=setting.work,
        card=setting.card,
        rates=setting.rates,
        crew_size=crew_size,
        start=start,
        hours=setting.hours,
        floors=tuple(_floor(*each) for each in own),
        slabs=own[0][1],
        heatable=True,
        now=setting.now,
        times=times_of(job, site_days(job, now=setting.now, setting=setting)),
        thresholds=setting.thresholds,
        costs=replace(Costs(), **job.branch.costs),
        units=setting.units,
    )


def _own_slabs(setting: Setting) -> list[tuple[Ground, _GroundSlabs]]:
    known = Known(setting.job, setting.hours, setting.now)
    return [(ground, _GroundSlabs(ground, known)) for ground in setting.grounds]


def _floor(ground: Ground, slabs: _GroundSlabs) -> FloorHere:
    return FloorHere(
        exposure=ground.exposure,
        parts=tuple((part.name, part.exposure) for part in ground.parts),
        dryness=ground.dryness,
        waters=ground.waters,
        slabs=slabs,
        hours=ground.hours,
        read=ground.read_lately,
    )


def _other_days(days: SiteDays, day: date) -> tuple[date, ...]:
    """The next days on which somebody may come, the booked one left out."""
    ahead = (days.today + timedelta(days=n) for n in range(DAYS_AHEAD + 1))
    return tuple(each for each in ahead if each != day and not days.closed(each))


def _spare_hands(booking: Booking, first: Stint, times: SiteTimes) -> tuple[int, datetime | None]:
    """How many could join from another crew that morning, and until when they are free."""
    day = times.day(first.start)
    opens, ends = times.opens(day), times.at(day, time(23, 59))
    best: tuple[int, datetime | None] = (0, None)
    for crew in Crew.objects.of_branch(booking.branch).working().exclude(pk=first.crew_id):
        busy = Stint.objects.standing().filter(crew=crew).overlapping(opens, ends)
        starts = busy.order_by("start").values_list("start", flat=True).first()
        people = _people(crew, day)
        if people and (starts is None or starts > first.start + timedelta(hours=3)):
            best = max(best, (people, starts), key=lambda each: each[0])
    return best


def _people(crew: Crew, day: date) -> int:
    """How many belong to the crew that day."""
    mine = CrewMembership.objects.filter(crew=crew, from_day__lte=day)
    return mine.exclude(until_day__lt=day).count()


def measures_on(situation: Situation, outcome: Outcome | None) -> list[dict[str, Any]]:
    """Every measure as a row keeps it, best first; none where all is well with time in hand.

    Without an outcome the floor cannot be laid out as it stands: its slab is too cold.
    """
    if outcome is not None and outcome.verdict.level is Level.GO:
        slack_min = outcome.verdict.slack_min
        if slack_min is None or slack_min >= SHORT_MIN:
            return []
    found = ranked(situation, outcome)
    least = {measure.kind for measure in smallest(found)}
    return [plain(measure, least=measure.kind in least) for measure in found]


def plain(measure: Measure, *, least: bool = False) -> dict[str, Any]:
    """One measure in plain values; `least` marks the smallest that make the day possible."""
    plan = measure.plan
    return {
        "kind": measure.kind.value,
        "title": measure.title,
        "then": measure.level.value if measure.level else "",
        "because": measure.because,
        "helps": measure.helps,
        "smallest": least,
        "cost": round(measure.cost),
        "minutes": measure.minutes,
        "limits": measure.limits,
        "extras": [
            {"what": each.what, "at": each.at.isoformat(), "minutes": each.minutes}
            for each in measure.extras
        ],
        "visits": [
            {"start": visit.start.isoformat(), "end": visit.end.isoformat()}
            for visit in (plan.visits if plan else ())
        ],
        "pour_at": plan.pour.isoformat() if plan else None,
        "rain_safe_at": plan.rain_safe.isoformat() if plan and plan.rain_safe else None,
    }
