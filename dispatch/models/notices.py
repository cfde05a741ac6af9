"""Notices: what somebody must be told, kept in the transaction of the change."""

from datetime import datetime

from django.db import models
from django.db.models import F, Q

from dispatch.models.bookings import Booking, Stint
from jobs.models import Branch, User
from jobs.models.scoping import BranchScoped


class NoticeKind(models.TextChoices):
    """What a notice is about."""

    BOOKED = "booked", "Day planned or confirmed"
    MOVED = "moved", "Day moved"
    CALLED_OFF = "called_off", "Booking called off"
    DRIVE_ON_LATER = "drive_on_later", "Drive-on moved later"
    WATCH = "watch", "Weather watch"
    FINAL_CALL = "final_call", "Final call"
    WEEK_BEFORE = "week_before", "A week before"
    ON_THE_WAY = "on_the_way", "The crew is on the way"
    FLOOR_DONE = "floor_done", "Coated: walk-on and drive-on"
    DRIVE_ON_REACHED = "drive_on_reached", "Drive-on reached"
    READY_EARLY = "ready_early", "What must be ready, two days before"
    READY_LATE = "ready_late", "What must be ready, the evening before"
    CREW_CHANGE = "crew_change", "Change for the crew"


class NoticeState(models.TextChoices):
    """Where a notice stands."""

    PENDING = "pending", "Waiting to go"
    SENDING = "sending", "Going"
    SENT = "sent", "Sent"
    FAILED = "failed", "Failed"
    OBSOLETE = "obsolete", "Overtaken"
    HELD = "held", "Held back"


class NoticeQuerySet(BranchScoped):
    """Notices."""

    def due(self, now: datetime) -> "NoticeQuerySet":
        """Notices to send at `now`, the lapsed leases of dead senders among them."""
        return self.filter(
            Q(state=NoticeState.PENDING, due_at__lte=now, next_try_at__lte=now)
            | Q(state=NoticeState.SENDING, lease_until__lt=now)
        ).order_by("due_at", "pk")


class Notice(models.Model):
    """One message to one recipient, owed because of one version of a booking."""

    key = models.CharField(max_length=160, unique=True)
    # Its indexes begin with the branch.
    branch = models.ForeignKey(
        Branch, on_delete=models.PROTECT, related_name="notices", db_index=False
    )
    kind = models.CharField(max_length=20, choices=NoticeKind.choices)
    booking = models.ForeignKey(Booking, on_delete=models.PROTECT, related_name="notices")
    booking_version = models.PositiveIntegerField()
    stint = models.ForeignKey(Stint, null=True, on_delete=models.PROTECT, related_name="notices")
    audience = models.CharField(max_length=10)  # "customer" or "crew"
    to = models.CharField(max_length=254, blank=True)
    facts = models.JSONField(default=dict)
    state = models.CharField(
        max_length=10, choices=NoticeState.choices, default=NoticeState.PENDING
    )
    due_at = models.DateTimeField()
    next_try_at = models.DateTimeField()
    attempts = models.PositiveSmallIntegerField(default=0)
    lease_until = models.DateTimeField(null=True)
    sent_at = models.DateTimeField(null=True)
    last_error = models.CharField(max_length=300, blank=True)
    # What went out, so that the office can open it again.
    subject = models.CharField(max_length=200, blank=True)
    text = models.TextField(blank=True)

    objects = NoticeQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["state", "next_try_at"]),
            models.Index(fields=["branch", "state"]),
            models.Index(fields=["branch", "due_at"]),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} to {self.to or self.audience}"

    def lease(self, now: datetime, until: datetime) -> bool:
        """Take this notice for sending; of several senders exactly one hears True."""
        taken = (
            Notice.objects.filter(pk=self.pk)
            .filter(
                Q(state=NoticeState.PENDING) | Q(state=NoticeState.SENDING, lease_until__lt=now)
            )
            .update(state=NoticeState.SENDING, lease_until=until, attempts=F("attempts") + 1)
        )
        return taken == 1


class Receipt(models.Model):
    """Proof that somebody saw a notice: a press on the phone, or told by telephone."""

    notice = models.OneToOneField(Notice, on_delete=models.PROTECT, related_name="receipt")
    at = models.DateTimeField()
    how = models.CharField(max_length=20)  # "phone page" or "telephone"
    by = models.CharField(max_length=120)
    user = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.by} saw it at {self.at}"
