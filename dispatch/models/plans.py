"""Plans as they were worked out: a plan is stored, never the recipe, and changes nothing itself."""

from datetime import datetime

from django.db import models

from dispatch.models.bookings import Booking
from dispatch.models.crews import Crew
from jobs.models import Branch, Job
from jobs.models.scoping import BranchScoped


class PlanState(models.TextChoices):
    """How far a plan is."""

    ASKED = "asked", "Waiting to be worked out"
    SOLVING = "solving", "Being worked out"
    READY = "ready", "Ready"
    FAILED = "failed", "Could not be worked out"


class StoredPlanQuerySet(BranchScoped):
    """Plans."""

    def due(self, now: datetime) -> "StoredPlanQuerySet":
        """Plans that somebody asked for and nobody works at, oldest first."""
        open_states = (PlanState.ASKED, PlanState.SOLVING)
        free = models.Q(leased_until__isnull=True) | models.Q(leased_until__lte=now)
        return self.filter(free, state__in=open_states).order_by("asked_at", "pk")

    def ready(self) -> "StoredPlanQuerySet":
        """Plans that can be looked at, newest first."""
        return self.filter(state=PlanState.READY).order_by("-made_at", "-pk")


class StoredPlan(models.Model):
    """One answer for a branch: its options by the most customers to ring. Costs in cents."""

    branch = models.ForeignKey(Branch, on_delete=models.CASCADE, related_name="plans")
    state = models.CharField(max_length=8, choices=PlanState.choices, default=PlanState.ASKED)
    asked_at = models.DateTimeField()
    asked_by = models.CharField(max_length=120)
    leased_until = models.DateTimeField(null=True, blank=True)
    progress = models.CharField(max_length=200, blank=True)
    made_at = models.DateTimeField(null=True, blank=True)
    first_day = models.DateField(null=True, blank=True)
    days = models.PositiveSmallIntegerField(default=0)
    # Who or what it does without though booked: [{"resource": pk, "from": ..., "until": ...}]
    away = models.JSONField(default=list, blank=True)
    # What a crew-day is worth to other floors, from the solver:
    # {"crews": [pk, ...], "days": [...], "cents": [[...], ...]}, a list of days for each crew.
    prices = models.JSONField(default=dict, blank=True)
    # What it was worked out from: if one of these is no longer so, the plan is old.
    calendar_version = models.PositiveBigIntegerField(default=0)
    forecasts = models.JSONField(default=list, blank=True)
    standing_cents = models.BigIntegerField(
        null=True, blank=True
    )  # what leaving all as it is costs
    greedy_cents = models.BigIntegerField(null=True, blank=True)
    solve_s = models.FloatField(default=0)
    problems = models.JSONField(default=list, blank=True)  # floors that have no day, and why
    binds = models.JSONField(default=list, blank=True)  # what more of something would bring
    why = models.CharField(max_length=300, blank=True)  # why it failed

    objects = StoredPlanQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["branch", "state", "-made_at"])]

    def __str__(self) -> str:
        return f"Plan of {self.branch} ({self.get_state_display().lower()})"


class LineKind(models.TextChoices):
    """What a line of a plan does with a floor."""

    STAY = "stay", "Stays"
    PLACE = "place", "Gets a day"
    MOVE = "move", "Moves"
    OUT = "out", "Finds no day"


class PlanLine(models.Model):
    """Where a plan puts one floor, with its costs in words and what a booking would ask for."""

    plan = models.ForeignKey(StoredPlan, on_delete=models.CASCADE, related_name="lines")
    kind = models.CharField(max_length=6, choices=LineKind.choices)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="+")
    job_version = models.PositiveIntegerField()
    booking = models.ForeignKey(Booking, null=True, on_delete=models.CASCADE, related_name="+")
    booking_version = models.PositiveIntegerField(null=True)
    crew = models.ForeignKey(Crew, null=True, on_delete=models.CASCADE, related_name="+")
    start = models.DateTimeField(null=True)
    end = models.DateTimeField(null=True)
    rings = models.BooleanField(default=False)
    cost_cents = models.BigIntegerField(default=0)
    parts = models.JSONField(default=list, blank=True)  # [dollars, why] each
    reasons = models.JSONField(default=list, blank=True)  # why here and not there
    ask = models.JSONField(default=dict, blank=True)
    applied_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["plan", "kind"])]

    def __str__(self) -> str:
        return f"{self.job}: {self.get_kind_display().lower()}"


class PlanOption(models.Model):
    """The best plan with at most so many customers to ring."""

    plan = models.ForeignKey(StoredPlan, on_delete=models.CASCADE, related_name="options")
    most_rings = models.PositiveSmallIntegerField()
    rings = models.PositiveSmallIntegerField()
    cents = models.BigIntegerField()
    bound_cents = models.BigIntegerField(null=True, blank=True)
    proof = models.CharField(max_length=8)
    solve_s = models.FloatField(default=0)
    lines = models.ManyToManyField(PlanLine, related_name="options")

    class Meta:
        ordering = ["most_rings"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "most_rings"], name="one_option_a_limit")
        ]

    def __str__(self) -> str:
        return f"At most {self.most_rings} to ring"
