"""Resources: whatever can be in one place only."""

from django.db import models

from jobs.models import Branch
from jobs.models.scoping import BranchScoped


class ResourceKind(models.TextChoices):
    """What kind of thing is claimed."""

    CREW = "crew", "Crew"
    INSTALLER = "installer", "Installer"
    MACHINE = "machine", "Machine"


class Resource(models.Model):
    """A crew, a person or one machine. Bookings lock its row and claim its time."""

    branch = models.ForeignKey(Branch, on_delete=models.PROTECT, related_name="resources")
    kind = models.CharField(max_length=10, choices=ResourceKind.choices)
    label = models.CharField(max_length=80)

    objects = BranchScoped.as_manager()

    class Meta:
        indexes = [models.Index(fields=["branch", "kind"])]

    def __str__(self) -> str:
        return self.label
