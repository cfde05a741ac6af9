"""What customers answer: to a day that is proposed, and whether all is ready for the crew."""

from django.db import models

from dispatch.models.bookings import Booking
from jobs.models import User
from jobs.models.scoping import BranchScoped


class ProposalState(models.TextChoices):
    """How a proposed day stands."""

    ASKED = "asked", "Not answered yet"
    ACCEPTED = "accepted", "Accepted"
    OTHER = "other", "Another day is wanted"


class ProposalQuerySet(BranchScoped):
    """Proposals."""

    branch_path = "booking__branch"


class Proposal(models.Model):
    """New days for a confirmed booking: claimed already, and the customer is asked.

    It stands as long as the booking begins at `starts`; any other day makes it past.
    """

    booking = models.ForeignKey(Booking, on_delete=models.PROTECT, related_name="proposals")
    starts = models.JSONField(default=list)
    was = models.JSONField(default=list)
    asked_at = models.DateTimeField()
    answer_by = models.DateTimeField()
    state = models.CharField(
        max_length=10, choices=ProposalState.choices, default=ProposalState.ASKED
    )
    words = models.CharField(max_length=300, blank=True)
    how = models.CharField(max_length=20, blank=True)  # "customer's page" or "telephone"
    answered_by = models.CharField(max_length=120, blank=True)
    answered_at = models.DateTimeField(null=True)
    latest = models.BooleanField(default=True)

    objects = ProposalQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["booking"], condition=models.Q(latest=True), name="one_latest_proposal"
            )
        ]

    def __str__(self) -> str:
        return f"Proposal to {self.booking}: {self.state}"


class ReadyAnswer(models.Model):
    """What was answered about one thing that must be ready on the day."""

    booking = models.ForeignKey(Booking, on_delete=models.CASCADE, related_name="ready_answers")
    day = models.DateField()  # on which the crew comes first, by the site's calendar
    topic = models.CharField(max_length=16)
    ready = models.BooleanField()
    words = models.CharField(max_length=300, blank=True)
    how = models.CharField(max_length=20)
    by_name = models.CharField(max_length=120)
    user = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["booking", "day", "topic"], name="one_ready_answer_a_topic"
            )
        ]

    def __str__(self) -> str:
        return f"{self.topic}: {'ready' if self.ready else 'not ready'}"
