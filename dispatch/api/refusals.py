"""What the API adds to a refusal."""

from collections.abc import Iterator
from contextlib import contextmanager
from http import HTTPStatus

from jobs.models.scoping import BranchScoped
from jobs.refusals import Refusal


class LostRace(Refusal):
    """Somebody was quicker: their sentence, and the version that the row has now."""

    status = 409

    def __init__(self, lost: Refusal, *, version: int | None) -> None:
        super().__init__(str(lost), field=lost.field)
        self.code = lost.code
        self.version = version


class OfferGone(Refusal):
    """The day that was asked for is no offer any more."""

    code = "offer_gone"
    status = 409


@contextmanager
def telling_version(rows: BranchScoped, pk: int) -> Iterator[None]:
    """Tell whoever loses a race over row `pk` which version it has now."""
    try:
        yield
    except Refusal as refusal:
        if refusal.status != HTTPStatus.CONFLICT:
            raise
        version = rows.filter(pk=pk).values_list("version", flat=True).first()
        raise LostRace(refusal, version=version) from refusal
