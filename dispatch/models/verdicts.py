"""Verdicts that were given, with the forecast they came from, and what really happened."""

from django.db import models

from dispatch.models.bookings import Stint
from jobs.models import User
from weather.models import Forecast


class StoredVerdict(models.Model):
    """What was said of one stint on one forecast."""

    stint = models.ForeignKey(Stint, on_delete=models.CASCADE, related_name="verdicts")
    # PROTECT: a forecast that a verdict rests on is kept.
    forecast = models.ForeignKey(
        Forecast, null=True, on_delete=models.PROTECT, related_name="verdicts"
    )
    made_at = models.DateTimeField()
    level = models.CharField(max_length=8)
    headline = models.CharField(max_length=400)
    checks = models.JSONField(default=list)
    ways_out = models.JSONField(default=list)
    # What could be done, judged again with it done, best first; and the hours in which wet
    # resin may lie that day.
    measures = models.JSONField(default=list)
    wet_hours = models.JSONField(default=list)
    wet_from = models.DateTimeField(null=True)
    wet_until = models.DateTimeField(null=True)
    last_safe_pour = models.DateTimeField(null=True)
    binds = models.CharField(max_length=160, blank=True)
    slack_min = models.IntegerField(null=True)
    firmness = models.CharField(max_length=80, blank=True)
    latest = models.BooleanField(default=True)

    class Meta:
        indexes = [models.Index(fields=["stint", "-made_at"])]
        constraints = [
            models.UniqueConstraint(
                fields=["stint"], condition=models.Q(latest=True), name="one_latest_verdict"
            )
        ]

    def __str__(self) -> str:
        return f"{self.level}: {self.headline}"


class StampKind(models.TextChoices):
    """The moments of a day that are written down."""

    ARRIVED = "arrived", "Arrived"
    POURED = "poured", "First resin down"
    TOPPED = "topped", "Top coat done"
    LEFT = "left", "Left the site"


class Stamp(models.Model):
    """One moment of a stint as it really was."""

    stint = models.ForeignKey(Stint, on_delete=models.PROTECT, related_name="stamps")
    kind = models.CharField(max_length=10, choices=StampKind.choices)
    at = models.DateTimeField()
    noted_at = models.DateTimeField()
    noted_by = models.CharField(max_length=120)
    user = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["stint", "kind"], name="one_stamp_a_kind")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} at {self.at}"
