"""What is asked against other water on a booking's floors, and a reason for the customer."""

from collections.abc import Sequence

from dispatch.models import Booking, Stint, StoredVerdict
from dispatch.reads.chain import thresholds_of
from dispatch.rules.customer_reasons import reason_of
from dispatch.rules.findings import Check, Dryness, Level, PartDryness
from dispatch.rules.water_asks import Ask, Occasion, asks
from jobs.models import Floor
from weather.rules.exposures import Exposure


def asks_of(booking: Booking, stints: Sequence[Stint]) -> tuple[Ask, ...]:
    """Everything to have ready for the days of a booking; nothing without days."""
    if not stints:
        return ()
    job, first, last = booking.job, stints[0], stints[-1]
    floors = list(job.floors.all())
    pours = [stint.pour_at for stint in stints if stint.pour_at]
    return asks(
        Occasion(
            exposures=[Exposure(floor.exposure) for floor in floors],
            waters=[water for floor in floors for water in floor.waters],
            arrive=first.start,
            pour=pours[0] if pours else first.start,
            coated=last.end,
            zone=job.site.tz,
            latitude=job.site.latitude,
            dryness=[_seen(floor) for floor in floors],
            thresholds=thresholds_of(booking.branch),
        )
    )


def _seen(floor: Floor) -> Dryness:
    """What somebody noted of the floor's parts."""
    return Dryness(
        tuple(
            PartDryness(part.name, part.wetted_at, part.looked_dry_at) for part in floor.parts.all()
        )
    )


def reason_for_customer(verdict: StoredVerdict | None) -> str:
    """The true cause of a refused or unknown day in plain words; else an empty string."""
    if verdict is None or verdict.level not in {Level.NO, Level.UNKNOWN}:
        return ""
    for kept in verdict.checks:
        if kept["level"] == verdict.level:
            return reason_of(Check(kept["name"], Level(kept["level"]), kept["sentence"]))
    return ""
