"""The offer that a request names by its key, worked out afresh."""

from datetime import datetime

from dispatch.api import rows
from dispatch.api.refusals import OfferGone
from dispatch.models import Crew
from dispatch.reads.offer import Offer
from dispatch.reads.offers import offer_for
from jobs.models import Branch, Job
from jobs.refusals import Refusal

GONE = "That day is no longer free or no longer good. Ask for the offers again."


def chosen_offer(
    branch: Branch, job: Job, key: str, *, now: datetime, moving: int | None = None
) -> Offer:
    """The offer called `key`; refuses a crew of elsewhere, and says who has a day that is gone."""
    named, _, at = key.partition("@")
    crew = named.partition("+")[0].rstrip("*")
    try:
        start = datetime.fromisoformat(at)
    except ValueError:
        raise Refusal("There is no such moment in a calendar.", field="offer") from None
    if not Crew.objects.of_branch(branch).working().filter(pk=int(crew)).exists():
        raise Refusal("There is no such crew in this branch.", field="offer")
    offer = offer_for(job, key, now=now, moving=moving)
    if offer is None:
        said = rows.who_has(branch, crew_id=int(crew), start=start, but=moving)
        raise OfferGone(said or GONE, field="offer")
    return offer
