"""What must stay on record: who changed what, and which requests were already answered."""

from django.db import models

from jobs.models.branches import Branch, User
from jobs.models.scoping import BranchScoped


class ActorKind(models.TextChoices):
    """Through which door a change came."""

    USER = "user", "Signed-in person"
    CUSTOMER = "customer", "Customer's link"
    CREW = "crew", "Crew phone"
    SYSTEM = "system", "The program"


class AuditEvent(models.Model):
    """One change: who, when, from what, to what, why. Written once, never changed."""

    at = models.DateTimeField()
    # Its index begins with the branch.
    branch = models.ForeignKey(
        Branch, on_delete=models.PROTECT, related_name="audit", db_index=False
    )
    actor_kind = models.CharField(max_length=10, choices=ActorKind.choices)
    actor = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    actor_name = models.CharField(max_length=120)
    subject = models.CharField(max_length=20)
    subject_id = models.PositiveBigIntegerField()
    action = models.CharField(max_length=30)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)
    why = models.CharField(max_length=500, blank=True)
    # The same for all events of one change, such as both sides of a swap.
    group = models.CharField(max_length=32, blank=True)

    objects = BranchScoped.as_manager()

    class Meta:
        ordering = ["at", "pk"]
        indexes = [
            models.Index(fields=["subject", "subject_id"]),
            models.Index(fields=["branch", "subject", "at"]),
        ]

    def __str__(self) -> str:
        return f"{self.actor_name}: {self.action} {self.subject} {self.subject_id}"


class IdempotencyKey(models.Model):
    """A request that created something, so that its repeat gets the same answer."""

    owner = models.CharField(max_length=80)
    key = models.CharField(max_length=100)
    digest = models.CharField(max_length=64)
    subject = models.CharField(max_length=20)
    subject_id = models.PositiveBigIntegerField()
    created_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["owner", "key"], name="one_answer_a_key")]

    def __str__(self) -> str:
        return f"{self.owner}: {self.key}"
