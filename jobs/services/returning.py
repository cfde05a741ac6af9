"""Return visits: an order of its own that knows which floor it comes back to, and why."""

from dataclasses import dataclass
from datetime import datetime

from jobs import audit, idempotency
from jobs.access import Actor
from jobs.models import Branch, Floor, Job, JobState, ReturnCause
from jobs.refusals import Invalid, NotFound, Refusal
from jobs.text import many_lines
from jobs.writing import run_write

SMALLEST_M2 = 1.0
NOTES_MOST = 2000


@dataclass(frozen=True)
class ComingBack:
    """What is wrong and how much of the floor it is. Area in m²."""

    cause: str
    area_m2: float | None
    notes: str = ""


@run_write
def come_back(
    *, branch: Branch, job_id: int, what: ComingBack, by: Actor, now: datetime, key: str = ""
) -> Job:
    """A waiting order for the spot: same site, system and blend, its own dryness and promises.

    It costs nothing to the customer. A repeat with the same `key` gets the same order. Raises
    NotFound, Invalid, or Refusal where the floor was not coated yet.
    """
    asked = ("come back", job_id, what)
    answered = idempotency.answered(by=by, key=key, what=asked)
    if answered is not None:
        made: Job = Job.objects.of_branch(branch).get(pk=answered)
        return made
    wanted = Job.objects.of_branch(branch).with_floors()
    first: Job | None = wanted.filter(pk=job_id).first()
    if first is None:
        raise NotFound("There is no such floor in this branch.")
    if first.state != JobState.DONE:
        raise Refusal(f"The floor of {first.customer} was not coated yet, so nobody comes back.")
    _check(first, what)
    job = _rows(first, what, now=now)
    audit.record(
        branch=branch,
        by=by,
        subject="job",
        subject_id=job.pk,
        action="come back",
        now=now,
        after={"returns_to": first.pk, "cause": what.cause, "area_m2": what.area_m2},
        why=what.notes[:500],
    )
    idempotency.keep(by=by, key=key, what=asked, subject="job", subject_id=job.pk, now=now)
    return job


def _check(first: Job, what: ComingBack) -> None:
    problems: dict[str, str] = {}
    if what.cause not in ReturnCause.values:
        problems["cause"] = "Say why somebody comes back."
    whole_m2 = sum(floor.area_m2 for floor in first.floors.all())
    if what.area_m2 is None:
        problems["area_m2"] = "Say how large the spot is."
    elif not SMALLEST_M2 <= what.area_m2 <= whole_m2 + 1e-6:
        problems["area_m2"] = "The spot is larger than the floor, or smaller than can be coated."
    if problems:
        raise Invalid(problems)


def _rows(first: Job, what: ComingBack, *, now: datetime) -> Job:
    like = first.floors.all()[0]
    area_m2 = what.area_m2 or SMALLEST_M2
    floor = Floor.objects.create(
        site=first.site,
        name=f"{like.name}, again"[:80],
        exposure=like.exposure,
        area_m2=area_m2,
        edge_m=4 * area_m2**0.5,
        condition="thick",  # it lies on the coat of the first visit
    )
    job = Job.objects.create(
        branch=first.branch,
        customer=first.customer,
        site=first.site,
        system=first.system,
        color=first.color,  # the same blend, so that the spot does not show
        returns_to=first,
        return_cause=what.cause,
        notes=many_lines(what.notes, most=NOTES_MOST),
        price=0,
        created_at=now,
    )
    job.floors.add(floor)
    return job


def age_days(job: Job, *, now: datetime) -> int | None:
    """Days since the floor was coated that a visit comes back to; None where it is not known."""
    if job.returns_to is None:
        return None
    done = job.returns_to.bookings.filter(done_at__isnull=False).order_by("-done_at").first()
    return None if done is None else (now - done.done_at).days
