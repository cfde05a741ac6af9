"""Crews, machines, bookings, verdicts, notices and calendar entries."""

from dispatch.models.answers import Proposal, ProposalState, ReadyAnswer
from dispatch.models.bookings import (
    OPEN_STATES,
    Booking,
    BookingState,
    Claim,
    PromiseLevel,
    Stint,
    StintState,
)
from dispatch.models.calendar import CalendarEntry, EntryStatus
from dispatch.models.crews import Absence, Crew, CrewMembership, Installer, Machine, MachineKind
from dispatch.models.final_calls import FinalCall, Watch
from dispatch.models.heating import HeaterStay
from dispatch.models.letters import FewerMails, LetterText
from dispatch.models.links import Link, LinkPurpose
from dispatch.models.notices import Notice, NoticeKind, NoticeState, Receipt
from dispatch.models.plans import LineKind, PlanLine, PlanOption, PlanState, StoredPlan
from dispatch.models.resources import Resource, ResourceKind
from dispatch.models.verdicts import Stamp, StampKind, StoredVerdict

__all__ = [
    "OPEN_STATES",
    "Absence",
    "Booking",
    "BookingState",
    "CalendarEntry",
    "Claim",
    "Crew",
    "CrewMembership",
    "EntryStatus",
    "FewerMails",
    "FinalCall",
    "HeaterStay",
    "Installer",
    "LetterText",
    "LineKind",
    "Link",
    "LinkPurpose",
    "Machine",
    "MachineKind",
    "Notice",
    "NoticeKind",
    "NoticeState",
    "PlanLine",
    "PlanOption",
    "PlanState",
    "PromiseLevel",
    "Proposal",
    "ProposalState",
    "ReadyAnswer",
    "Receipt",
    "Resource",
    "ResourceKind",
    "Stamp",
    "StampKind",
    "Stint",
    "StintState",
    "StoredPlan",
    "StoredVerdict",
    "Watch",
]
