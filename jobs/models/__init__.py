"""Branches, customers, sites, floors, coating systems and jobs."""

from jobs.models.attempts import SignInAttempt
from jobs.models.branches import Branch, FinalCallDuty, Holiday, Membership, Role, User
from jobs.models.customers import Customer, Floor, FloorPart, Site
from jobs.models.orders import CoatingSystem, DayWish, Job, JobState, ReturnCause
from jobs.models.programs import AccessToken, Scope
from jobs.models.questions import Question
from jobs.models.readings import MoistureMethod, SiteReading
from jobs.models.records import ActorKind, AuditEvent, IdempotencyKey
from jobs.models.stock import StockKind, StockLot

__all__ = [
    "AccessToken",
    "ActorKind",
    "AuditEvent",
    "Branch",
    "CoatingSystem",
    "Customer",
    "DayWish",
    "FinalCallDuty",
    "Floor",
    "FloorPart",
    "Holiday",
    "IdempotencyKey",
    "Job",
    "JobState",
    "Membership",
    "MoistureMethod",
    "Question",
    "ReturnCause",
    "Role",
    "Scope",
    "SignInAttempt",
    "Site",
    "SiteReading",
    "StockKind",
    "StockLot",
    "User",
]
