"""What fell against what was called, for one branch: cases from its own floors and stations."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from django.db.models import Prefetch

from dispatch.models import FinalCall, Stint, StoredVerdict
from dispatch.reads.chain import thresholds_of
from dispatch.rules.called import (
    BEFORE,
    Band,
    Case,
    Lead,
    Suggestion,
    Tally,
    alarm_of,
    bands,
    suggestion,
    tallies,
)
from dispatch.rules.costs import Costs
from dispatch.rules.final_call import Decision, call_moment
from dispatch.rules.findings import Level
from dispatch.rules.thresholds import Thresholds
from jobs.models import Branch, Job
from weather.models import PAST_KEPT, Place
from weather.providers.contract import STATION
from weather.reads import past_origins
from weather.rules.hours import HOUR, Hours, floor_hour

# A forecast shifts the pour of a day by hours; a move shifts it by a day or more.
SAME_POUR = timedelta(hours=12)
ROOFED, OPEN, ENCLOSED = "under a roof", "under the sky", "enclosed"


@dataclass(frozen=True)
class Called:
    """Everything on the page."""

    since: datetime
    cases: tuple[Case, ...]
    tallies: tuple[Tally, ...]
    bands: tuple[Band, ...]
    suggestion: Suggestion
    measured: int  # cases whose hours come from a station
    move_cost: float
    ruined_cost: float


def called(branch: Branch, *, now: datetime) -> Called:
    """The last weeks for which hours are kept. Enclosed floors are not counted: no station
    measures a closed garage, and rain does not spoil it."""
    cases = tuple(_cases(branch, now=now))
    limits = thresholds_of(branch)
    costs = replace(Costs(), **branch.costs)
    found = bands(cases)
    return Called(
        since=now - PAST_KEPT,
        cases=cases,
        tallies=tallies(cases),
        bands=found,
        suggestion=suggestion(
            move_cost=costs.a_move,
            ruined_cost=costs.a_ruined_coat,
            now_pct=limits.rain_no_pct,
            found=found,
        ),
        measured=sum(case.spoiled is not None for case in cases),
        move_cost=costs.a_move,
        ruined_cost=costs.a_ruined_coat,
    )


def group_of(job: Job) -> str:
    """How the worst of the order's floors lies."""
    exposures = job.exposures()
    if all(each.enclosed for each in exposures):
        return ENCLOSED
    return ROOFED if all(each.enclosed or each.roofed for each in exposures) else OPEN


def _cases(branch: Branch, *, now: datetime) -> Iterator[Case]:
    gone = (
        Stint.objects.of_branch(branch)
        .filter(start__gte=now - PAST_KEPT, start__lt=now)
        .select_related("booking__job__customer", "booking__job__site__place")
        .prefetch_related(
            "booking__job__floors",
            Prefetch("verdicts", StoredVerdict.objects.order_by("made_at", "pk")),
            Prefetch(
                "final_calls", FinalCall.objects.filter(latest=True).select_related("verdict")
            ),
        )
        .order_by("start", "pk")
    )
    limits = thresholds_of(branch)
    for stint in gone:
        if group_of(stint.booking.job) != ENCLOSED:
            yield from _as_it_stood(branch, stint, limits)
    yield from _moved_away(branch, now=now, limits=limits)


def _as_it_stood(branch: Branch, stint: Stint, limits: Thresholds) -> Iterator[Case]:
    """The verdicts before a stint that came, and the final call that sent the crew."""
    if stint.state == "called_off" or stint.pour_at is None or stint.wet_until is None:
        return
    day = stint.start.astimezone(branch.tz).date()
    fell = spoiled(
        stint.booking.job.site.place, start=stint.pour_at, end=stint.wet_until, limits=limits
    )
    base = Case(
        who=str(stint.booking.job.customer),
        day=stint.start,
        exposure=group_of(stint.booking.job),
        lead=Lead.EVENING,
        alarm=None,
        spoiled=fell,
    )
    moments = {lead: stint.start - before for lead, before in BEFORE.items()}
    moments[Lead.EVENING] = call_moment(day, at=branch.final_call_at, zone=branch.tz)
    for lead, moment in moments.items():
        verdict = _said_by(list(stint.verdicts.all()), moment, stint)
        if verdict is not None:
            yield _said(base, lead, verdict)
    call = next((each for each in stint.final_calls.all() if each.day == day), None)
    if call is not None:
        kept = call.decision in {Decision.KEEP, Decision.KEEP_WITH_MEASURE}
        unsure = call.decision == Decision.METER_FIRST
        chance = _chance(call.verdict) if call.verdict else None
        alarm = None if unsure else not kept
        yield replace(base, lead=Lead.FINAL_CALL, alarm=alarm, chance_pct=chance)


def _moved_away(branch: Branch, *, now: datetime, limits: Thresholds) -> Iterator[Case]:
    """Floors that the final call moved: the old day's hours say whether that was right."""
    moved = (
        FinalCall.objects.of_branch(branch)
        .filter(latest=True, decision=Decision.MOVE, verdict__isnull=False)
        .filter(verdict__wet_until__lt=now, verdict__wet_from__gte=now - PAST_KEPT)
        .select_related("verdict", "stint__booking__job__customer", "stint__booking__job__site")
        .prefetch_related("stint__booking__job__floors")
    )
    for call in moved:
        job = call.stint.booking.job
        if group_of(job) == ENCLOSED:
            continue
        verdict = call.verdict
        fell = spoiled(job.site.place, start=verdict.wet_from, end=verdict.wet_until, limits=limits)
        case = Case(
            who=str(job.customer),
            day=verdict.wet_from,
            exposure=group_of(job),
            lead=Lead.FINAL_CALL,
            alarm=True,
            spoiled=fell,
            chance_pct=_chance(verdict),
            coated=False,
        )
        yield case
        yield _said(case, Lead.EVENING, verdict)


def _said(base: Case, lead: Lead, verdict: StoredVerdict) -> Case:
    return replace(
        base, lead=lead, alarm=alarm_of(Level(verdict.level)), chance_pct=_chance(verdict)
    )


def _said_by(
    verdicts: Sequence[StoredVerdict], moment: datetime, stint: Stint
) -> StoredVerdict | None:
    """The verdict that stood at `moment` for the day on which the stint was done.

    Verdicts of a day it stood on before it was moved are about other hours.
    """
    pour = stint.pour_at or stint.start
    of_day = [
        each
        for each in verdicts
        if each.made_at <= moment
        and (each.wet_from is None or abs(each.wet_from - pour) < SAME_POUR)
    ]
    return of_day[-1] if of_day else None


def _chance(verdict: StoredVerdict) -> float | None:
    """The highest chance of rain (%) the verdict names."""
    for check in verdict.checks:
        if check.get("name") == "rain" and check.get("unit") == "%":
            value = check.get("value")
            return float(value) if value is not None else None
    return None


def spoiled(place: Place, *, start: datetime, end: datetime, limits: Thresholds) -> bool | None:
    """Whether rain or a gust in [start, end) would have spoiled a wet floor, as a station saw it.

    One wet hour is enough to know that it would; one unknown hour is enough not to know that it
    would not.
    """
    first = floor_hour(start)
    count = max(1, int((floor_hour(end - timedelta(microseconds=1)) - first) / HOUR) + 1)
    hours = Hours.unknown(start=first, count=count)
    last = first + (count - 1) * HOUR
    for day in place.past_days.filter(day__gte=first.date(), day__lte=last.date()):
        hours = hours.over(day.hours())
    origins = past_origins(place, first=first.date(), last=last.date())
    seen = np.array([origins.get(first + n * HOUR) == STATION for n in range(count)])
    rain = np.where(seen, hours.rain_mm, np.nan)
    gust = np.where(seen, hours.gust_kmh, np.nan)
    wet = np.nansum(rain) >= limits.rain_total_care_mm
    if wet or bool(np.any(gust >= limits.gust_no_kmh)):
        return True
    return None if bool(np.any(np.isnan(rain))) else False
