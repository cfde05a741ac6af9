"""Waiting floors that could take the day and the crew of a booking that is refused."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from dispatch.models import Booking, Stint, StoredVerdict
from dispatch.reads.chain import setting_for
from dispatch.reads.measuring import bare_situation, site_days
from dispatch.rules.findings import Level
from dispatch.rules.measures.instead import instead
from dispatch.rules.measures.situation import Situation
from dispatch.rules.verdicts import Verdict
from jobs.models import Job, JobState

ASKED = 6  # of the longest waiting; each costs a slab


@dataclass(frozen=True)
class Candidate:
    """A waiting floor and what the forecast says of it on that day."""

    job: Job
    verdict: Verdict


def floors_instead(
    booking: Booking, stints: Sequence[Stint], verdict: StoredVerdict | None, *, now: datetime
) -> tuple[Candidate, ...]:
    """The waiting floors that do not mind that day; none where the booked one is not refused."""
    if verdict is None or verdict.level != Level.NO or not stints or stints[0].start <= now:
        return ()
    first = stints[0]
    waiting: dict[int, Job] = {}
    floors: list[tuple[int, Situation]] = []
    rows = Job.objects.of_branch(booking.branch).filter(state=JobState.WAITING).with_floors()
    for job in rows.order_by("created_at", "pk")[:ASKED]:
        setting = setting_for(job, now=now)
        day = first.start.astimezone(job.branch.tz).date()
        if site_days(job, now=now, setting=setting).closed(day):
            continue
        waiting[job.pk] = job
        crew = max(1, first.installers.count())
        floors.append((job.pk, bare_situation(setting, start=first.start, crew_size=crew)))
    return tuple(Candidate(waiting[each.key], each.outcome.verdict) for each in instead(floors))
