"""What the evening and the morning ask of a person: what nobody decided, what turned since, whom
to ring because nobody answered."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from dispatch.models import (
    Booking,
    BookingState,
    Notice,
    NoticeState,
    Proposal,
    ProposalState,
    Stint,
)
from dispatch.reads.final_call import call_of, how_it_differs, stints_of, verdict_of
from dispatch.reads.need import Need
from dispatch.reads.readiness import unanswered
from dispatch.rules.final_call import call_moment
from dispatch.rules.findings import Level
from jobs.models import Branch
from jobs.rules.clock import say_day, say_moment, say_span


def found(branch: Branch, *, now: datetime) -> list[Need]:
    """All of it, in a fixed number of queries."""
    return [
        *_of_the_days(branch, now=now),
        *_to_ring(branch, now=now),
        *_unanswered_proposals(branch, now=now),
        *unanswered(branch, now=now),
    ]


def _of_the_days(branch: Branch, *, now: datetime) -> Iterator[Need]:
    """What is undecided or has turned, of today and, once the hour has passed, of tomorrow."""
    today = branch.today(now)
    for day in (today, today + timedelta(days=1)):
        if now < call_moment(day, at=branch.final_call_at, zone=branch.tz):
            continue
        for stint in stints_of(branch, day=day):
            if stint.end <= now:
                continue
            call = call_of(stint, day=day)
            if call is None:
                yield _undecided(stint)
            elif now >= branch.at(day, branch.morning_check_at):
                turned = how_it_differs(call, verdict_of(stint))
                if turned:
                    yield _turned(stint, turned)


def _undecided(stint: Stint) -> Need:
    job = stint.booking.job
    verdict = verdict_of(stint)
    return Need(
        kind="final",
        level=verdict.level if verdict else Level.UNKNOWN.value,
        title=f"{job.customer}, {say_span(stint.start, stint.end, job.site.tz)}: not decided",
        reason=verdict.headline if verdict else "Nobody has held this day against a forecast.",
        answer="Decide",
        answer_url_name="final-call-day",
        answer_pk=_day(stint),
        when=stint.start,
        booking=stint.booking_id,
    )


def _turned(stint: Stint, turned: str) -> Need:
    job = stint.booking.job
    verdict = verdict_of(stint)
    return Need(
        kind="morning",
        level=verdict.level if verdict else Level.UNKNOWN.value,
        title=f"{job.customer}: the forecast differs from last evening's",
        reason=f"{turned[0].upper()}{turned[1:]}. What was decided stands until you change it.",
        answer="Look again",
        answer_url_name="final-call-day",
        answer_pk=_day(stint),
        when=stint.start,
        telephone=job.customer.telephone,
        booking=stint.booking_id,
    )


def _day(stint: Stint) -> str:
    return stint.start.astimezone(stint.booking.branch.tz).date().isoformat()


def _to_ring(branch: Branch, *, now: datetime) -> Iterator[Need]:
    """Final words that turned, whose mail waits so that somebody rings first."""
    waiting = Notice.objects.of_branch(branch).filter(
        state=NoticeState.PENDING,
        facts__ring_first=True,
        due_at__gt=now,
        receipt__isnull=True,
    )
    for notice in waiting.select_related("booking__job__customer", "booking__job__site"):
        job = notice.booking.job
        yield Need(
            kind="ring",
            level="care",
            title=f"Ring {job.customer}: what they were told has changed",
            reason=f"The mail goes {say_moment(notice.due_at, job.site.tz)}, after your call.",
            answer="Told by telephone",
            answer_url_name="told",
            answer_pk=notice.pk,
            when=notice.due_at,
            telephone=job.customer.telephone,
            post=True,
        )


def _unanswered_proposals(branch: Branch, *, now: datetime) -> Iterator[Need]:
    """Proposed days that nobody has answered in time, and answers that want another day."""
    open_ones = (
        Proposal.objects.of_branch(branch)
        .filter(latest=True, booking__state=BookingState.BOOKED)
        .exclude(state=ProposalState.ACCEPTED)
        .select_related("booking__job__customer", "booking__job__site")
        .prefetch_related("booking__stints")
    )
    for proposal in open_ones:
        starts = starts_of(proposal.booking)
        if not starts or min(starts) <= now or not stands(proposal):
            continue
        job = proposal.booking.job
        day = say_day(min(starts).astimezone(job.site.tz).date())
        if proposal.state == ProposalState.OTHER:
            yield Need(
                kind="customer",
                level="care",
                title=f"{job.customer} wants another day than {day}",
                reason=proposal.words or "No other day was named.",
                answer="See other days",
                answer_url_name="move",
                answer_pk=proposal.booking_id,
                when=proposal.asked_at,
                telephone=job.customer.telephone,
            )
        elif proposal.answer_by <= now:
            yield Need(
                kind="ring",
                level="care",
                title=f"Ring {job.customer}: {day} is proposed, nobody has answered",
                reason=f"Asked {say_moment(proposal.asked_at, job.site.tz)}."
                + (" It has moved before." if proposal.booking.moves > 1 else ""),
                answer="They accept",
                answer_url_name="proposal-accepted",
                answer_pk=proposal.pk,
                when=min(starts),
                telephone=job.customer.telephone,
                post=True,
            )


def starts_of(booking: Booking) -> list[datetime]:
    """When the standing stints of a booking begin, by number."""
    standing = [each for each in booking.stints.all() if each.state != "called_off"]
    return [each.start for each in sorted(standing, key=lambda each: each.number)]


def stands(proposal: Proposal) -> bool:
    """Whether the booking still begins as was proposed; else the proposal is past."""
    return bool([each.isoformat() for each in starts_of(proposal.booking)] == proposal.starts)
