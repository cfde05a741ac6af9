"""What lies in the depot: flake by blend, resin by system, each by lot."""

from django.db import models

from jobs.models.branches import Branch
from jobs.models.scoping import BranchScoped


class StockKind(models.TextChoices):
    """What a lot is of."""

    FLAKE = "flake", "Flake"
    BASE = "base", "Base resin"
    TOP = "top", "Top resin"


class StockLot(models.Model):
    """One lot: a whole bag or kit, or what is left in one that was opened.

    `blend` is the flake's blend as orders write it, or the name of the coating system.
    `amount` in kg of flake or litres of resin; what is used up is 0 and is not shown.
    """

    branch = models.ForeignKey(Branch, on_delete=models.PROTECT, related_name="stock")
    kind = models.CharField(max_length=8, choices=StockKind.choices)
    blend = models.CharField(max_length=80)
    lot = models.CharField(max_length=60)
    amount = models.FloatField()
    opened = models.BooleanField(default=False)
    keeps_until = models.DateField(null=True, blank=True)
    version = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField()

    objects = BranchScoped.as_manager()

    class Meta:
        ordering = ["kind", "blend", "lot", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(amount__gte=0), name="stock_is_not_below_nothing"
            )
        ]

    def __str__(self) -> str:
        return f"{self.blend}, lot {self.lot}"
