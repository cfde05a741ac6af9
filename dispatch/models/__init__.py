"""Crews, machines, bookings, verdicts, notices and calendar entries."""

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
from dispatch.models.links import Link, LinkPurpose
from dispatch.models.notices import Notice, NoticeKind, NoticeState, Receipt
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
    "Installer",
    "Link",
    "LinkPurpose",
    "Machine",
    "MachineKind",
    "Notice",
    "NoticeKind",
    "NoticeState",
    "PromiseLevel",
    "Receipt",
    "Resource",
    "ResourceKind",
    "Stamp",
    "StampKind",
    "Stint",
    "StintState",
    "StoredVerdict",
]
