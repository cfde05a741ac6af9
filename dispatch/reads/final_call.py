"""The final call's page: the floors of one day in order of danger, each with its ready answer."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import Prefetch

from dispatch.models import (
    Booking,
    BookingState,
    FinalCall,
    PromiseLevel,
    Stint,
    StoredVerdict,
)
from dispatch.reads.offer import Offer
from dispatch.reads.offers import best_days
from dispatch.rules.final_call import (
    LABELS,
    Decision,
    Standing,
    call_moment,
    danger,
    differs,
    measure_of,
    overrules,
    ready_answer,
)
from dispatch.rules.final_words import Told, consequence, decided
from dispatch.rules.findings import Level
from jobs.models import Branch, FinalCallDuty, Job, Membership
from jobs.rules.clock import say_day, say_moment, say_span

# Looking for other days takes the better part of a second, so it is done for the worst only.
MOST_SEARCHES = 6


@dataclass(frozen=True)
class Answer:
    """One press: what it is called, what it does, and whether it needs a reason."""

    decision: Decision
    label: str
    consequence: str
    needs_why: bool
    measure: str = ""
    offer: str = ""  # of a move: names the day


@dataclass(frozen=True)
class Row:
    """One stint of the day with what is known of it and what can be decided."""

    stint: Stint
    when: str
    verdict: StoredVerdict | None
    level: str
    call: FinalCall | None
    call_words: str
    differs: str  # how the newest forecast differs from the one decided on
    ready: Answer
    others: tuple[Answer, ...]
    note: str  # what else the decider must know

    @property
    def undecided(self) -> bool:
        return self.call is None


@dataclass(frozen=True)
class FinalCalls:
    """The page of one day."""

    day: date
    call_at: datetime
    passed: bool
    rows: tuple[Row, ...]
    owner: str
    deputy: str

    @property
    def open_rows(self) -> int:
        """How many nobody has decided."""
        return sum(row.undecided for row in self.rows)


def default_day(branch: Branch, *, now: datetime) -> date:
    """The day one comes to look at: today until the morning's work has begun, else tomorrow."""
    today = branch.today(now)
    return today if now < branch.at(today, branch.day_starts) else today + timedelta(days=1)


def final_calls(branch: Branch, *, day: date, now: datetime, search: bool = True) -> FinalCalls:
    """The floors of `day`, worst first. `search` also looks for the best other day of the worst."""
    stints = sorted(stints_of(branch, day=day), key=lambda each: danger(standing_of(each)))
    budget = MOST_SEARCHES if search else 0
    rows = []
    for stint in stints:
        wants = ready_answer(standing_of(stint)) is Decision.MOVE and stint.start > now
        budget -= wants
        other = _other_day(stint.booking, now=now) if wants and budget >= 0 else None
        rows.append(_row(stint, other=other, branch=branch))
    call_at = call_moment(day, at=branch.final_call_at, zone=branch.tz)
    names = {
        each.final_call: each.user.get_full_name() or each.user.username
        for each in Membership.objects.filter(branch=branch)
        .exclude(final_call="")
        .select_related("user")
    }
    return FinalCalls(
        day=day,
        call_at=call_at,
        passed=now >= call_at,
        rows=tuple(rows),
        owner=names.get(FinalCallDuty.OWNER, ""),
        deputy=names.get(FinalCallDuty.DEPUTY, ""),
    )


def stints_of(branch: Branch, *, day: date) -> list[Stint]:
    """The stints of the branch that start on `day` and are to be decided on."""
    start = branch.at(day, time(0))
    end = branch.at(day + timedelta(days=1), time(0))
    return list(
        Stint.objects.of_branch(branch)
        .open()
        .filter(start__gte=start, start__lt=end)
        .with_all()
        .order_by("start", "pk")
        .prefetch_related(
            Prefetch("verdicts", StoredVerdict.objects.filter(latest=True)),
            Prefetch(
                "final_calls", FinalCall.objects.filter(latest=True).select_related("verdict")
            ),
        )
    )


def verdict_of(stint: Stint) -> StoredVerdict | None:
    """The newest verdict of a stint of `stints_of`."""
    return next((each for each in stint.verdicts.all() if each.latest), None)


def call_of(stint: Stint, *, day: date) -> FinalCall | None:
    """The decision that stands for a stint of `stints_of`, if somebody took one."""
    calls = (each for each in stint.final_calls.all() if each.latest and each.day == day)
    return next(calls, None)


def standing_of(stint: Stint) -> Standing:
    """What is known of the stint, as the rules want it."""
    verdict = verdict_of(stint)
    return Standing(
        level=Level(verdict.level) if verdict else None,
        ways_out=tuple(verdict.ways_out) if verdict else (),
        last_safe_pour=verdict.last_safe_pour if verdict else None,
        slack_min=verdict.slack_min if verdict else None,
        open_floor=is_open(stint.booking.job),
        start=stint.start,
    )


def is_open(job: Job) -> bool:
    """Whether any floor of the order lies under the sky."""
    return any(not each.enclosed and not each.roofed for each in job.exposures())


def how_it_differs(call: FinalCall, verdict: StoredVerdict | None) -> str:
    """How the newest verdict differs from the one the decision rests on; empty if it does not."""
    if verdict is None or verdict.pk == call.verdict_id:
        return ""
    held = call.verdict
    return differs(
        evening=Level(held.level) if held else None,
        morning=Level(verdict.level),
        evening_pour=held.last_safe_pour if held else None,
        morning_pour=verdict.last_safe_pour,
    )


def _other_day(booking: Booking, *, now: datetime) -> Offer | None:
    found = best_days(booking.job, now=now, moving=booking.pk).best
    today = booking.branch.today(now)
    later = [each for each in found if each.day > today + timedelta(days=1)]
    return next(iter(later), None)


def _row(stint: Stint, *, other: Offer | None, branch: Branch) -> Row:
    zone = stint.booking.job.site.tz
    verdict = verdict_of(stint)
    call = call_of(stint, day=stint.start.astimezone(branch.tz).date())
    ready, others = _answers(stint, verdict=verdict, call=call, other=other)
    return Row(
        stint=stint,
        when=say_span(stint.start, stint.end, zone),
        verdict=verdict,
        level=verdict.level if verdict else Level.UNKNOWN.value,
        call=call,
        call_words=decided(
            decision=Decision(call.decision), measure=call.measure, by=call.by_name, at=call.at,
            zone=zone,
        ) if call else "",
        differs=how_it_differs(call, verdict) if call else "",
        ready=ready,
        others=others,
        note=_note(stint.booking),
    )  # fmt: skip


def _answers(
    stint: Stint, *, verdict: StoredVerdict | None, call: FinalCall | None, other: Offer | None
) -> tuple[Answer, tuple[Answer, ...]]:
    """The ready answer, and all others."""
    standing = standing_of(stint)
    best = ready_answer(standing)
    measure = measure_of(standing.ways_out)
    possible = [each for each in Decision if each is not Decision.KEEP_WITH_MEASURE or measure]
    level = standing.level
    answers = {
        each: Answer(
            decision=each,
            label=_label(each, other),
            consequence=consequence(each, _told(stint, call, each, other)),
            needs_why=overrules(each, level=level) or (call is not None and call.decision != each),
            measure=measure if each is Decision.KEEP_WITH_MEASURE else "",
            offer=other.key if other and each is Decision.MOVE else "",
        )
        for each in possible
    }
    ready = answers.pop(best, None) or answers.pop(Decision.KEEP)
    return ready, tuple(answers.values())


def _label(decision: Decision, other: Offer | None) -> str:
    if decision is Decision.MOVE:
        return f"Move to {say_day(other.day)}" if other else "See other days"
    return LABELS[decision]


def _told(stint: Stint, call: FinalCall | None, decision: Decision, other: Offer | None) -> Told:
    booking = stint.booking
    zone = booking.job.site.tz
    return Told(
        confirmed=booking.promise == PromiseLevel.CONFIRMED,
        has_mail=bool(booking.job.customer.email),
        start=stint.start,
        zone=zone,
        changes_decision=call is not None and call.decision != decision,
        moves=booking.moves,
        best_day=f"{say_moment(other.plan.start, zone)} with {other.crew}" if other else "",
    )


def _note(booking: Booking) -> str:
    if booking.state == BookingState.HELD:
        return "Only held for the caller: book it or let it go."
    if booking.promise != PromiseLevel.CONFIRMED:
        return "Not confirmed: the customer knows only the week. Ring before you send a crew."
    return ""


def undecided(branch: Branch, *, day: date) -> Sequence[Stint]:
    """The stints of `day` nobody has decided on."""
    return [each for each in stints_of(branch, day=day) if call_of(each, day=day) is None]
