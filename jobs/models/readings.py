"""Readings that people took on a floor: temperatures, air, moisture, each with its method."""

from django.db import models

from jobs.models.customers import Floor
from jobs.models.scoping import BranchScoped


class MoistureMethod(models.TextChoices):
    """How moisture was measured; each has a unit of its own."""

    PERCENT = "percent", "Concrete meter, % by mass"
    IN_SLAB = "in_slab", "Probe in the slab, % humidity"
    EMISSION = "emission", "Dish test, lb per 1,000 sq ft in 24 h"
    SHEET = "sheet", "Plastic sheet taped down overnight"


class SiteReadingQuerySet(BranchScoped):
    """Readings."""

    branch_path = "floor__site__customer__branch"


class SiteReading(models.Model):
    """What somebody read on a floor at one moment. Temperatures in °C; None was not read.

    `within_limit` is what the person who measured says of the moisture against the data
    sheet. The program keeps it and says nothing of its own about whether a slab is dry.
    """

    floor = models.ForeignKey(Floor, on_delete=models.CASCADE, related_name="readings")
    at = models.DateTimeField()
    spot = models.CharField(max_length=80, blank=True)
    slab_c = models.FloatField(null=True, blank=True)
    air_c = models.FloatField(null=True, blank=True)
    humidity_pct = models.FloatField(null=True, blank=True)
    moisture = models.FloatField(null=True, blank=True)
    moisture_method = models.CharField(max_length=8, blank=True, choices=MoistureMethod.choices)
    within_limit = models.BooleanField(null=True, blank=True)
    taken_by = models.CharField(max_length=120)
    entered_at = models.DateTimeField()

    objects = SiteReadingQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["floor", "at"])]

    def __str__(self) -> str:
        return f"Reading of {self.floor_id} at {self.at}"
