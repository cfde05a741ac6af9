"""Calendar entries: what each subscriber was shown, stored so that it never changes by itself."""

import uuid

from django.db import models

from dispatch.models.bookings import Stint


class EntryStatus(models.TextChoices):
    """STATUS of RFC 5545 section 3.8.1.11."""

    TENTATIVE = "TENTATIVE", "Planned"
    CONFIRMED = "CONFIRMED", "Confirmed"
    CANCELLED = "CANCELLED", "Called off"


class CalendarEntry(models.Model):
    """One stint as one audience sees it: one UID for life, a rising sequence.

    `audience` is "crew:7", "machine:3", "branch:1" or "customer". `changed_at` is DTSTAMP and
    LAST-MODIFIED; it changes only when something the reader sees has changed.
    """

    stint = models.ForeignKey(Stint, on_delete=models.PROTECT, related_name="entries")
    audience = models.CharField(max_length=24)
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    sequence = models.PositiveIntegerField(default=0)
    status = models.CharField(max_length=10, choices=EntryStatus.choices)
    start = models.DateTimeField()
    end = models.DateTimeField()
    zone = models.CharField(max_length=64)
    summary = models.CharField(max_length=200)
    location = models.CharField(max_length=300, blank=True)
    description = models.TextField(blank=True)
    created_at = models.DateTimeField()
    changed_at = models.DateTimeField()

    class Meta:
        indexes = [
            models.Index(fields=["audience", "end"]),
            models.Index(fields=["audience", "changed_at"]),
        ]
        constraints = [
            models.UniqueConstraint(fields=["stint", "audience"], name="one_uid_an_audience")
        ]

    def __str__(self) -> str:
        return f"{self.summary} for {self.audience}"
