"""Attempts to sign in: a numbered row each, claimed before any password is looked at."""

from django.db import models


class SignInAttempt(models.Model):
    """The n-th try of one subject (an account or an address) in one stretch of time.

    The number is claimed under a plain UNIQUE, so tries in the same instant cannot share one.
    """

    subject = models.CharField(max_length=80)
    stretch = models.PositiveIntegerField()
    number = models.PositiveSmallIntegerField()
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["subject", "stretch", "number"], name="one_try_a_number"
            )
        ]
        indexes = [models.Index(fields=["at"], name="attempts_by_age")]

    def __str__(self) -> str:
        return f"{self.subject[:12]} {self.number}"
