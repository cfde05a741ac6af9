"""More hands, or the same hands mixing less at a time."""

import numpy as np

from dispatch.rules.findings import Check, Level
from dispatch.rules.measures.change import Change, Kind, words_of
from dispatch.rules.measures.situation import Outcome, Situation
from jobs.rules.cure import hours_at
from jobs.rules.refusals import CannotPlan
from weather.rules.hours import HOUR, Series


def second_crew(situation: Situation) -> Change | None:
    """The hands that are free elsewhere join, if they are done before they are needed there."""
    if situation.spare_hands < 1:
        return None
    joined = situation.changed(crew_size=situation.crew_size + situation.spare_hands)
    try:
        plan = joined.judged(door=False).plan
    except CannotPlan:
        return None
    until, say = situation.spare_until, words_of(situation)
    limits = f"They are needed elsewhere from {say.clock(until)}." if until else ""
    spent_h = sum((visit.end - visit.start) / HOUR for visit in plan.visits)
    hands_h = spent_h * situation.spare_hands
    return Change(
        Kind.SECOND_CREW,
        f"Send a second crew: {joined.crew_size} people.",
        joined,
        cost=situation.costs.trip + situation.costs.hands_an_hour * hands_h,
        minutes=round(60 * hands_h),
        limits=limits,
    )


def released(situation: Situation, outcome: Outcome) -> bool:
    """Whether hands that joined are free again before they are needed elsewhere."""
    until = situation.spare_until
    return until is None or outcome.plan.visits[0].end <= until


def smaller_batches(situation: Situation, outcome: Outcome | None) -> Change | None:
    """Half-size mixes on a warm slab: they change no limit, they keep the resin from running."""
    if outcome is None or outcome.verdict.level is Level.NO:
        return None
    if not any(_warm(situation, check) for check in outcome.verdict.checks):
        return None
    slab_c = outcome.plan.slab_at_pour_c
    usable = 60 * float(hours_at(situation.card.working_minutes, _one(slab_c))[0])
    return Change(
        Kind.BATCHES,
        "Mix half-size batches, keep the sun off the slab, the door low against it.",
        situation,
        cost=situation.costs.small_batches,
        minutes=30,
        limits=f"A mix stays usable for {usable:.0f} min on a slab of "
        f"{words_of(situation).temperature(slab_c)}.",
    )


def _warm(situation: Situation, check: Check) -> bool:
    above = situation.card.slab_amber_above_c
    return check.name == "slab" and check.value is not None and check.value > above


def _one(value: float) -> Series:
    return np.array([value])
