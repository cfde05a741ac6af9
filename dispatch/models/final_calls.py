"""Final calls: what a person decided the evening before; what the customer was shown until then."""

from django.db import models

from dispatch.models.bookings import Booking, Stint
from dispatch.models.verdicts import StoredVerdict
from dispatch.rules.final_call import Decision
from dispatch.rules.watching import Shown
from jobs.models import Branch, User
from jobs.models.scoping import BranchScoped

DECISIONS = [(each.value, each.value) for each in Decision]


class FinalCall(models.Model):
    """One decision on one stint and day. A change is another row; exactly one is the latest."""

    branch = models.ForeignKey(Branch, on_delete=models.PROTECT, related_name="final_calls")
    stint = models.ForeignKey(Stint, on_delete=models.PROTECT, related_name="final_calls")
    day = models.DateField()  # on which the stint starts, by the branch's calendar
    decision = models.CharField(max_length=16, choices=DECISIONS)
    measure = models.CharField(max_length=200, blank=True)
    # What the decision rests on: the newest verdict when it was taken, none where there was none.
    verdict = models.ForeignKey(
        StoredVerdict, null=True, on_delete=models.PROTECT, related_name="final_calls"
    )
    overrules = models.BooleanField(default=False)
    why = models.CharField(max_length=500, blank=True)
    by_name = models.CharField(max_length=120)
    user = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    latest = models.BooleanField(default=True)

    objects = BranchScoped.as_manager()

    class Meta:
        indexes = [models.Index(fields=["branch", "day"])]
        constraints = [
            models.UniqueConstraint(
                fields=["stint", "day"],
                condition=models.Q(latest=True),
                name="one_final_call_a_day",
            )
        ]

    def __str__(self) -> str:
        return f"{self.decision} on {self.day} by {self.by_name}"


class Watch(models.Model):
    """What the customer is shown of the weather of a confirmed day until the final call."""

    booking = models.ForeignKey(Booking, on_delete=models.CASCADE, related_name="watches")
    day = models.DateField()
    shown = models.CharField(
        max_length=8,
        choices=[(each.value, each.value) for each in Shown],
        default=Shown.CLEAR.value,
    )
    turns = models.PositiveSmallIntegerField(default=0)
    bad_in_a_row = models.PositiveSmallIntegerField(default=0)
    seen_forecast = models.PositiveBigIntegerField(null=True)
    since = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["booking", "day"], name="one_watch_a_day")]

    def __str__(self) -> str:
        return f"{self.shown} for {self.day}"
