"""Quiet hours: noisy stages stay out of them, quiet ones may lie in them."""

from collections.abc import Mapping
from datetime import datetime, timedelta

from jobs.rules.plan import Plan, Stage, StageKind

FIRST_DAY = (StageKind.SET_UP, StageKind.MASK, StageKind.GRIND)
SECOND_DAY = (StageKind.SET_UP, StageKind.SCRAPE)


def earliest_start(
    *,
    arrive: datetime,
    noisy_from: datetime,
    hours: Mapping[StageKind, float],
    order: tuple[StageKind, ...] = FIRST_DAY,
) -> datetime:
    """The first start at or after `arrive` that puts the first noisy stage at `noisy_from`.

    Quiet stages before it (setting up, masking) may fill the time until then, so a crew that
    may be on the site early starts earlier than the noise does.
    """
    quiet_h = 0.0
    for kind in order:
        if kind.noisy:
            break
        quiet_h += hours.get(kind, 0.0)
    return max(arrive, noisy_from - timedelta(hours=quiet_h))


def noisy_outside(
    plan: Plan, *, noisy_from: datetime, noisy_until: datetime | None = None
) -> tuple[Stage, ...]:
    """Noisy stages of the visit on that day that begin too early or end too late."""
    return tuple(
        stage
        for visit in plan.visits
        for stage in visit.stages
        if stage.kind.noisy
        and abs(visit.start - noisy_from) < timedelta(hours=24)
        and (stage.start < noisy_from or (noisy_until is not None and stage.end > noisy_until))
    )
