"""Floors waiting for a day, first come first, and who is looked for among them."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import F, Q, Value
from django.db.models.functions import Replace

from jobs.models import Branch, Floor, Job
from jobs.models.orders import JobQuerySet
from jobs.rules.clock import say_day

# What people put between the digits of a telephone number.
BETWEEN_DIGITS = " -().+/"
FEWEST_DIGITS = 3


@dataclass(frozen=True)
class WaitingJob:
    """One order in the line, said for a person."""

    job: Job
    floors: tuple[Floor, ...]
    wish: str
    cannot: str
    days_waiting: int


def waiting_jobs(branch: Branch, *, looked_for: str = "") -> JobQuerySet:
    """Waiting orders of a branch by name, street or telephone, in the order of the line."""
    found: JobQuerySet = Job.objects.of_branch(branch).waiting()
    if not looked_for:
        return found
    by_words = (
        Q(customer__name__icontains=looked_for)
        | Q(site__street__icontains=looked_for)
        | Q(site__town__icontains=looked_for)
    )
    digits = "".join(each for each in looked_for if each in "0123456789")
    plain = all(each in "0123456789" + BETWEEN_DIGITS for each in looked_for)
    if plain and len(digits) >= FEWEST_DIGITS:
        found = found.annotate(digits=_digits_of("customer__telephone"))
        by_words |= Q(digits__contains=digits)
    return found.filter(by_words)


def _digits_of(path: str) -> Replace:
    bare: F | Replace = F(path)
    for sign in BETWEEN_DIGITS:
        bare = Replace(bare, Value(sign), Value(""))
    assert isinstance(bare, Replace)  # noqa: S101  for the type checker
    return bare


def said(job: Job, *, today: date, now: datetime) -> WaitingJob:
    """An order as the list shows it; `today` is the branch's."""
    days = sorted(day for day in job.days_off() if day >= today)
    wish = str(job.get_day_wish_display())
    if job.wished_day:
        wish = f"{wish}: {say_day(job.wished_day)}"
    return WaitingJob(
        job=job,
        floors=tuple(job.floors.all()),
        wish=wish,
        cannot=say_days(days),
        days_waiting=max(0, (now - job.created_at).days),
    )


def say_days(days: list[date]) -> str:
    """Days in order, stretches in one: "Tue Jun 9, Fri Jun 12 to Mon Jun 15"."""
    stretches: list[list[date]] = []
    for day in days:
        if stretches and (day - stretches[-1][-1]).days == 1:
            stretches[-1].append(day)
        else:
            stretches.append([day])
    return ", ".join(
        say_day(each[0]) if len(each) == 1 else f"{say_day(each[0])} to {say_day(each[-1])}"
        for each in stretches
    )
