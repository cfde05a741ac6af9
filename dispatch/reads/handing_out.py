"""A branch's rows for other programs and spreadsheets: stints, floors, verdicts and stamps.

Moments are ISO 8601 in UTC, measures metric, as in the API; what is not known is null.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from dispatch.models import Stamp, Stint, StoredVerdict
from jobs.models import Branch, Job

CHUNK = 500
Row = tuple[Any, ...]


@dataclass(frozen=True)
class Span:
    """From the first day to the last, both within, in the branch's zone."""

    first: date
    last: date

    def instants(self, branch: Branch) -> tuple[datetime, datetime]:
        """[start, end) of the span."""
        midnight = datetime.min.time()
        return branch.at(self.first, midnight), branch.at(self.last + timedelta(days=1), midnight)


@dataclass(frozen=True)
class Kind:
    """One sort of rows: its columns and where they come from."""

    title: str
    columns: Sequence[str]
    rows: Callable[[Branch, Span], Iterator[Row]]


def _stints(branch: Branch, span: Span) -> Iterator[Row]:
    start, end = span.instants(branch)
    found = Stint.objects.of_branch(branch).overlapping(start, end)
    found = found.select_related("crew", "booking__job__customer", "booking__job__site")
    for each in found.order_by("start", "pk").iterator(chunk_size=CHUNK):
        job = each.booking.job
        yield (
            *(each.pk, each.booking_id, each.booking.state, each.booking.promise, each.state),
            *(each.crew.name, each.start, each.end, each.pour_at),
            *(each.booking.walk_on_at, each.booking.drive_on_at),
            *(job.customer.name, job.site.street, job.site.town),
        )


def _floors(branch: Branch, span: Span) -> Iterator[Row]:
    start, end = span.instants(branch)
    found = Job.objects.of_branch(branch).filter(created_at__gte=start, created_at__lt=end)
    found = found.select_related("customer", "site", "system").prefetch_related("floors")
    for job in found.order_by("created_at", "pk").iterator(chunk_size=CHUNK):
        for floor in job.floors.all():
            yield (
                *(job.pk, job.state, job.created_at, job.system.name, job.color),
                *(floor.pk, floor.name, floor.exposure, floor.area_m2, floor.edge_m),
                *(job.customer.name, job.site.street, job.site.town, job.day_wish),
            )


def _verdicts(branch: Branch, span: Span) -> Iterator[Row]:
    start, end = span.instants(branch)
    found = StoredVerdict.objects.filter(
        stint__booking__branch=branch, made_at__gte=start, made_at__lt=end
    ).select_related("forecast")
    for each in found.order_by("made_at", "pk").iterator(chunk_size=CHUNK):
        issued = each.forecast.issued_at if each.forecast else None
        yield (
            *(each.pk, each.stint_id, each.made_at, issued, each.level, each.headline),
            *(each.last_safe_pour, each.binds, each.slack_min, each.latest),
        )


def _stamps(branch: Branch, span: Span) -> Iterator[Row]:
    start, end = span.instants(branch)
    found = Stamp.objects.filter(stint__booking__branch=branch, at__gte=start, at__lt=end)
    for each in found.order_by("at", "pk").iterator(chunk_size=CHUNK):
        yield (each.pk, each.stint_id, each.kind, each.at, each.noted_at, each.noted_by)


KINDS = {
    "stints": Kind(
        "Days of crews",
        (
            *("stint", "booking", "booking_state", "promise", "state", "crew", "start", "end"),
            *("pour_at", "walk_on_at", "drive_on_at", "customer", "street", "town"),
        ),
        _stints,
    ),
    "floors": Kind(
        "Floors taken in",
        (
            *("order", "state", "taken_in_at", "system", "color", "floor", "name", "exposure"),
            *("area_m2", "edge_m", "customer", "street", "town", "day_wish"),
        ),
        _floors,
    ),
    "verdicts": Kind(
        "Verdicts given",
        (
            *("verdict", "stint", "made_at", "forecast_issued_at", "level", "headline"),
            *("last_safe_pour", "binds", "slack_min", "latest"),
        ),
        _verdicts,
    ),
    "stamps": Kind(
        "Moments of the day",
        ("stamp", "stint", "kind", "at", "noted_at", "noted_by"),
        _stamps,
    ),
}
