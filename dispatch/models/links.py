"""Secret links: a customer's page, a crew's calendar feed, a crew's phone."""

import base64
import hashlib
import hmac
import uuid
from datetime import datetime

from django.conf import settings
from django.db import models
from django.urls import reverse

from dispatch.models.bookings import Booking
from dispatch.models.crews import Crew, Machine
from jobs.models import Branch
from jobs.models.programs import digest
from jobs.models.scoping import BranchScoped


class LinkPurpose(models.TextChoices):
    """What a link opens; a link of one purpose never opens another."""

    CUSTOMER = "customer", "Customer's page"
    FEED = "feed", "Calendar feed"
    PHONE = "phone", "Crew phone"


class LinkQuerySet(BranchScoped):
    """Links."""

    def live(self, now: datetime) -> "LinkQuerySet":
        """Links that were not revoked and have not run out."""
        return self.filter(revoked_at__isnull=True).filter(
            models.Q(expires_at__isnull=True) | models.Q(expires_at__gt=now)
        )

    def find(self, token: str, purpose: LinkPurpose) -> "Link | None":
        """The link behind a secret, live or not, or None."""
        return self.filter(digest=digest(token), purpose=purpose).first()


class Link(models.Model):
    """One secret address for one subscriber or device.

    The secret is derived from a random seed and the installation's key, so that a copy of
    the database opens nothing while mails can still carry the address. Rotating a link is
    revoking it and making another.
    """

    branch = models.ForeignKey(Branch, on_delete=models.PROTECT, related_name="links")
    purpose = models.CharField(max_length=10, choices=LinkPurpose.choices)
    seed = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    digest = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=80)
    crew = models.ForeignKey(Crew, null=True, on_delete=models.PROTECT, related_name="links")
    # A feed of one machine; without crew and machine a feed shows the whole branch.
    machine = models.ForeignKey(Machine, null=True, on_delete=models.PROTECT, related_name="links")
    booking = models.ForeignKey(Booking, null=True, on_delete=models.PROTECT, related_name="links")
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)
    last_read_at = models.DateTimeField(null=True)

    objects = LinkQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.get_purpose_display()}: {self.name}"

    @property
    def token(self) -> str:
        """The secret that goes into the address: 256 bits, URL-safe."""
        return derive_token(self.purpose, self.seed)

    @property
    def is_readable(self) -> bool:
        """Whether the address can still be shown; not after the installation's key changed."""
        return digest(self.token) == self.digest

    @property
    def address(self) -> str:
        """The whole secret address; empty where it cannot be shown any more."""
        if not self.is_readable:
            return ""
        return f"{settings.SITE_URL}{reverse(str(self.purpose), args=[self.token])}"


def derive_token(purpose: str, seed: uuid.UUID) -> str:
    """HMAC-SHA256 of purpose and seed under the installation's key, URL-safe."""
    secret = hmac.new(
        settings.SECRET_KEY.encode(), f"link:{purpose}:{seed.hex}".encode(), hashlib.sha256
    ).digest()
    return base64.urlsafe_b64encode(secret).rstrip(b"=").decode()
