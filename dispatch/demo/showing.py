"""What the demo says to whoever starts it: sign-ins, secret addresses, and what to press first."""

from collections.abc import Iterator
from datetime import datetime

from django.conf import settings

from dispatch.demo.offices import OFFICES, OWNER, PASSPHRASE
from dispatch.models import Link, LinkPurpose
from jobs.models import User
from jobs.refusals import NotFound

WORDS = {
    LinkPurpose.PHONE: "crew phone",
    LinkPurpose.FEED: "crew calendar",
    LinkPurpose.CUSTOMER: "customer",
}
FIRST = (
    "Sign in as springfield: “Needs a person” begins with the floor that it now rains on.",
    "Press “See better days”, book one, and look at “Mail” and at the customer's page.",
    "Open “Floors waiting” and press “Best days” on any of them.",
)


def shown(*, now: datetime, url: str = "") -> str:
    """Sign-ins, the secret addresses under `url` and the first steps. Raises NotFound."""
    if not User.objects.filter(username=OWNER[0]).exists():
        raise NotFound("There is no demo in this database; `manage.py demo` builds one.")
    return "\n".join(_lines(now=now, url=(url or settings.SITE_URL).rstrip("/")))


def _lines(*, now: datetime, url: str) -> Iterator[str]:
    yield f"Sign in at {url}/sign-in/ with the passphrase “{PASSPHRASE}” as"
    yield f"  {OWNER[0]:<12} owner, both offices"
    for office in OFFICES:
        yield f"  {office.signs_in[0]:<12} office in {office.name}"
    yield "Addresses that need no sign-in"
    for purpose, words in WORDS.items():
        link = Link.objects.live(now).filter(purpose=purpose).order_by("pk").first()
        if link is not None and link.is_readable:
            yield f"  {words:<14} {url}{link.address.removeprefix(settings.SITE_URL)}"
    yield "What to press first"
    for number, line in enumerate(FIRST, start=1):
        yield f"  {number}. {line}"
