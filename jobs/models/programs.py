"""Tokens with which other programs speak to the API of one branch."""

import hashlib
from datetime import datetime

from django.db import models

from jobs.models.branches import Branch, User
from jobs.models.scoping import BranchScoped


class Scope(models.TextChoices):
    """What a token may do; writing includes reading."""

    READ = "read", "Read"
    WRITE = "write", "Read and write"


def digest(token: str) -> str:
    """What is stored of a token; 256 random bits need no slow hash."""
    return hashlib.sha256(token.encode()).hexdigest()


class AccessTokenQuerySet(BranchScoped):
    """Tokens."""

    def live(self, now: datetime) -> "AccessTokenQuerySet":
        """Tokens that hold: not stopped, not run out, of somebody who may still sign in."""
        return self.filter(stopped_at__isnull=True, made_by__is_active=True).filter(
            models.Q(ends_at__isnull=True) | models.Q(ends_at__gt=now)
        )


class AccessToken(models.Model):
    """One program's token. It acts for the person who made it, with no more than their role."""

    branch = models.ForeignKey(Branch, on_delete=models.PROTECT, related_name="tokens")
    made_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="tokens")
    name = models.CharField(max_length=80)
    digest = models.CharField(max_length=64, unique=True)
    scope = models.CharField(max_length=8, choices=Scope.choices)
    made_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)
    stopped_at = models.DateTimeField(null=True, blank=True)

    objects = AccessTokenQuerySet.as_manager()

    class Meta:
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return self.name
