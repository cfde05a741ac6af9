"""Claims: who has which quarter of an hour. The database refuses a second claim by itself."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta

from django.db import IntegrityError, connection, transaction

from dispatch.models import Absence, Booking, Claim, Installer, Resource, ResourceKind, Stint
from dispatch.rules.granules import EPOCH, GRANULE, granules
from dispatch.rules.rest import rest_until
from jobs.models import Branch
from jobs.refusals import Refusal
from jobs.rules.clock import say_moment, say_span

CONSTRAINT = "nobody_is_in_two_places"


class SlotTaken(Refusal):
    """Somebody else has this time; the sentence says who and until when."""

    code = "taken"
    status = 409


def lock(resource_ids: Iterable[int]) -> list[Resource]:
    """Lock resources in key order, so that two writers never wait for each other in a ring.

    On SQLite the transaction itself holds the one write lock.
    """
    wanted = Resource.objects.filter(pk__in=set(resource_ids)).order_by("pk")
    if connection.features.has_select_for_update:
        wanted = wanted.select_for_update(no_key=True)
    return list(wanted)


def take(
    stint: Stint,
    resources: Sequence[Resource],
    *,
    spans: Mapping[int, tuple[datetime, datetime]] | None = None,
    rest: Mapping[int, Sequence[int]] | None = None,
) -> None:
    """Claim the whole stint with its travel for each of `resources`.

    `spans` has other hours for some resources: a machine that is handed over. `rest` has the
    quarters after night work in which a person is sent nowhere else. Raises SlotTaken, naming
    who has the time. The caller's transaction is then lost.
    """
    spans, rest = spans or {}, rest or {}
    whole = worked(stint)
    _insert(
        [
            (resource_id, granule, stint.pk, None)
            for resource_id in sorted({resource.pk for resource in resources})
            for granule in (
                *granules(*spans.get(resource_id, whole)),
                *rest.get(resource_id, ()),
            )
        ]
    )


def worked(stint: Stint) -> tuple[datetime, datetime]:
    """The stint with its travel."""
    return (
        stint.start - timedelta(minutes=stint.travel_before_min),
        stint.end + timedelta(minutes=stint.travel_after_min),
    )


def rest_of(
    stint: Stint, branch: Branch, installers: Iterable[Installer]
) -> dict[int, Sequence[int]]:
    """For each person of a stint at night the quarters of their rest; empty after day work.

    Being away is rest as well, so quarters of an absence need no claim of their own.
    """
    _, home = worked(stint)
    until = rest_until(start=stint.start, end=stint.end, home=home, zone=branch.tz)
    if until is None:
        return {}
    first_free = granules(stint.start, home).stop
    numbers = range(first_free, granules(home, until).stop)
    away: dict[int, set[int]] = {each.resource_id: set() for each in installers}
    for resource_id, granule in Claim.objects.filter(
        resource_id__in=away, absence__isnull=False, granule__in=numbers
    ).values_list("resource_id", "granule"):
        away[resource_id].add(granule)
    return {each: [n for n in numbers if n not in gone] for each, gone in away.items()}


def take_absence(absence: Absence) -> None:
    """Claim the time of somebody who is away. Raises SlotTaken if they are booked.

    Rest after night work gives way: whoever is away rests, too.
    """
    numbers = granules(absence.start, absence.end)
    resting = Claim.objects.filter(
        resource_id=absence.resource_id, granule__in=numbers, stint__isnull=False
    ).select_related("stint", "resource")
    rest = [claim.pk for claim in resting if _is_rest(claim)]
    Claim.objects.filter(pk__in=rest).delete()
    _insert([(absence.resource_id, granule, None, absence.pk) for granule in numbers])


def shorten_absence(absence: Absence, *, until: datetime) -> None:
    """Give back what an absence claims after the quarter of `until`."""
    kept = granules(absence.start, until)
    Claim.objects.filter(absence=absence).exclude(granule__in=kept).delete()


def _is_rest(claim: Claim) -> bool:
    if claim.resource.kind != ResourceKind.INSTALLER or claim.stint is None:
        return False  # a machine may be on the road after its stint, and never rests
    return claim.granule not in granules(*worked(claim.stint))


def release(booking: Booking) -> None:
    """Give all time of a booking back."""
    Claim.objects.filter(stint__booking=booking).delete()


# Rows of one booking are some hundreds: as plain values they cost a tenth of what they cost as
# objects, and everybody else who writes waits meanwhile.
INSERT = """
INSERT INTO dispatch_claim (resource_id, granule, stint_id, absence_id) VALUES (%s, %s, %s, %s)
"""
# PostgreSQL takes one statement with an array for each column.
INSERT_ARRAYS = """
INSERT INTO dispatch_claim (resource_id, granule, stint_id, absence_id)
SELECT * FROM UNNEST(%s::bigint[], %s::integer[], %s::bigint[], %s::bigint[])
"""
Row = tuple[int, int, int | None, int | None]


def _insert(claims: list[Row]) -> None:
    try:
        # A savepoint, so that we can still ask who has the time.
        with transaction.atomic(), connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                columns = [list(column) for column in zip(*claims, strict=True)]
                cursor.execute(INSERT_ARRAYS, columns)
            else:
                cursor.executemany(INSERT, claims)
    except IntegrityError as conflict:
        if not is_claim_conflict(conflict):
            raise
        raise SlotTaken(_who_has(claims)) from conflict


def is_claim_conflict(error: IntegrityError) -> bool:
    """Whether it was our guard that refused, not a mistake in the program."""
    diagnosis = getattr(error.__cause__, "diag", None)
    if diagnosis is not None:
        return bool(diagnosis.constraint_name == CONSTRAINT)
    return "dispatch_claim.resource_id, dispatch_claim.granule" in str(error)


def _who_has(claims: list[Row]) -> str:
    resources, numbers, stints, _ = zip(*claims, strict=True)
    held = (
        Claim.objects.filter(
            resource_id__in=set(resources),
            granule__range=(min(numbers), max(numbers)),
        )
        .exclude(stint_id=stints[0], stint__isnull=False)
        .select_related(
            "resource", "absence", "stint__booking__job__customer", "stint__booking__job__site"
        )
        .order_by("granule", "resource_id")
        .first()
    )
    if held is None:  # whoever had it gave it back in this very moment
        return "Somebody else was booking this time just now. Please try again."
    zone = held.resource.branch.tz
    if held.absence is not None:
        span = say_span(held.absence.start, held.absence.end, zone)
        return f"{held.resource} is away {span}."
    stint = held.stint
    if _is_rest(held):
        last = Claim.objects.filter(stint=stint, resource=held.resource).latest("granule")
        until = say_moment(EPOCH + (last.granule + 1) * GRANULE, zone)
        return f"{held.resource} rests until {until}, after night work."
    job = stint.booking.job
    span = say_span(stint.start, stint.end, zone)
    return f"{held.resource} is already booked {span}, for {job.customer} at {job.site.street}."
