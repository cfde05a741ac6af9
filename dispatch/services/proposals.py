"""Proposed days: a move of a confirmed day asks the customer, who accepts or wants another."""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db import connection

from dispatch.models import Booking, BookingState, PromiseLevel, Proposal, ProposalState
from dispatch.reads.evening_needs import stands
from dispatch.rules.proposing import answer_by
from dispatch.services.changing import CannotChange
from jobs import audit
from jobs.access import Actor
from jobs.refusals import NotFound
from jobs.rules.clock import say_moment
from jobs.writing import run_write

CUSTOMERS_PAGE, TELEPHONE = "customer's page", "telephone"
WORDS_LETTERS = 300


SECOND = 2


def propose(
    booking: Booking, *, starts: Sequence[datetime], was: Sequence[datetime], now: datetime
) -> tuple[str, ...]:
    """Ask whether the new days work, unless they are the old ones; what the letter says of it.

    `was` is empty where the customer knew no day. Who is moved a second time is rung at once.
    Earlier proposals are past. Call inside the move.
    """
    zone = booking.job.site.tz
    earlier = Proposal.objects.filter(booking=booking, latest=True)
    waits = earlier.exclude(state=ProposalState.ACCEPTED).exists()
    earlier.update(latest=False)
    days = [[each.astimezone(zone).date() for each in side] for side in (was, starts)]
    known = bool(was) and booking.promise == PromiseLevel.CONFIRMED
    if booking.state != BookingState.BOOKED or not known or (days[0] == days[1] and not waits):
        return ()
    second = booking.moves >= SECOND
    until = now if second else answer_by(asked=now, first_start=min(starts), zone=zone)
    Proposal.objects.create(
        booking=booking,
        starts=[each.isoformat() for each in starts],
        was=[each.isoformat() for each in was],
        asked_at=now,
        answer_by=until,
    )
    return (question(until=until, asked=now, zone=zone),)


def question(*, until: datetime, asked: datetime, zone: ZoneInfo) -> str:
    """What the customer is asked about a proposed day."""
    if until <= asked:
        return "Does this day work? We ring you about it; you can also answer on your page."
    return (
        "Does this day work? Please accept it on your page, or ask there for another, "
        f"by {say_moment(until, zone)}. It is kept for you."
    )


@run_write
def accept(proposal_id: int, *, by: Actor, how: str, now: datetime) -> Proposal:
    """The proposed day works. Accepting twice changes nothing. Raises NotFound, CannotChange."""
    return _answer(proposal_id, ProposalState.ACCEPTED, words="", by=by, how=how, now=now)


@run_write
def want_another(proposal_id: int, *, words: str, by: Actor, how: str, now: datetime) -> Proposal:
    """The proposed day does not work; a person of the office looks for another."""
    return _answer(proposal_id, ProposalState.OTHER, words=words, by=by, how=how, now=now)


def current(booking: Booking) -> Proposal | None:
    """The proposal that stands for the booking as it is now, answered or not."""
    found = Proposal.objects.filter(booking=booking, latest=True).first()
    if found is None or booking.state != BookingState.BOOKED:
        return None
    found.booking = booking
    proposal: Proposal = found
    return proposal if stands(proposal) else None


def _answer(
    proposal_id: int, state: ProposalState, *, words: str, by: Actor, how: str, now: datetime
) -> Proposal:
    wanted = Proposal.objects.filter(pk=proposal_id).select_related("booking__branch")
    if connection.features.has_select_for_update:
        wanted = wanted.select_for_update(of=("self",), no_key=True)
    proposal: Proposal | None = wanted.first()
    if proposal is None:
        raise NotFound("There is no such proposal.")
    if not proposal.latest or proposal.booking.state != BookingState.BOOKED:
        raise CannotChange("The day has changed since. Please look at the page again.")
    if not stands(proposal):
        raise CannotChange("The day has changed since. Please look at the page again.")
    if proposal.state == state:
        return proposal
    before = {"state": str(proposal.state)}
    proposal.state, proposal.words = state, words.strip()[:WORDS_LETTERS]
    proposal.how, proposal.answered_by, proposal.answered_at = how, by.name[:120], now
    proposal.save()
    audit.record(
        branch=proposal.booking.branch,
        by=by,
        subject="proposal",
        subject_id=proposal.pk,
        action=str(state),
        now=now,
        before=before,
        after={"state": str(state), "how": how, "starts": proposal.starts},
        why=words,
    )
    return proposal
