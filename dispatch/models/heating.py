"""Heaters that stand in a room before and after the crew."""

from django.db import models

from dispatch.models.crews import Absence, Machine
from jobs.models import Site
from jobs.models.scoping import BranchScoped


class HeaterStayQuerySet(BranchScoped):
    """Stays of heaters."""

    branch_path = "machine__branch"

    def standing(self) -> "HeaterStayQuerySet":
        """Stays that were not called off."""
        return self.filter(called_off_at__isnull=True)


class HeaterStay(models.Model):
    """One heater at one site over a span, [start, end).

    Its claims are those of an absence of the machine, so that neither a crew nor another room
    can have it meanwhile.
    """

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="stays")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="heater_stays")
    absence = models.OneToOneField(
        Absence, null=True, blank=True, on_delete=models.SET_NULL, related_name="stay"
    )
    start = models.DateTimeField()
    end = models.DateTimeField()
    power_kw = models.FloatField()
    vented = models.BooleanField(default=True)
    most_c = models.FloatField(default=30.0)
    placed_by = models.CharField(max_length=120)
    placed_at = models.DateTimeField()
    called_off_at = models.DateTimeField(null=True, blank=True)

    objects = HeaterStayQuerySet.as_manager()

    class Meta:
        ordering = ["start", "pk"]
        indexes = [models.Index(fields=["site", "start"])]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(end__gt=models.F("start")), name="a_heater_leaves_after_it_came"
            ),
            models.CheckConstraint(condition=models.Q(power_kw__gt=0), name="a_heater_gives_heat"),
        ]

    def __str__(self) -> str:
        return f"{self.machine} at {self.site} from {self.start}"
