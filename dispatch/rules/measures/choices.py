"""Choices: meter first, only prepare, or coat another day."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

from dispatch.rules.findings import Level
from dispatch.rules.measures.change import Change, Kind, words_of
from dispatch.rules.measures.situation import FloorHere, Outcome, Situation
from dispatch.rules.measures.starts import badness, best_start, evening_before
from jobs.rules.clock import say_day
from jobs.rules.plan import StageKind
from jobs.rules.refusals import CannotPlan

METER_MIN = 20
UNMETERED = {"dew", "dryness", "slab"}


def meter_first(situation: Situation, outcome: Outcome | None) -> Change | None:
    """A reading before the first pail, where it would tell more than the estimate does."""
    reasons = outcome.verdict.reasons if outcome else ()
    asked = [check for check in reasons if check.name in UNMETERED]
    if situation.reading or not asked or any(c.level is Level.NO for c in asked):
        return None
    where = dampest(situation.floors)
    return Change(
        Kind.METER,
        f"Meter first on {where}, before the first pail is opened.",
        situation.changed(reading=True, floors=tuple(map(_metered, situation.floors))),
        cost=situation.costs.meter,
        minutes=METER_MIN,
        limits="If it agrees with the estimate; a reading beyond the card's limit is a no.",
    )


def dampest(floors: tuple[FloorHere, ...]) -> str:
    """The part of which somebody last noted that it was wet or looked dry."""
    noted = [
        (part.looked_dry_at or part.wetted_at, part.part)
        for floor in floors
        if floor.dryness
        for part in floor.dryness.parts
    ]
    known = [(at, name) for at, name in noted if at is not None]
    return max(known)[1] if known else "the coldest, dampest place"


def _metered(floor: FloorHere) -> FloorHere:
    if floor.dryness is None:
        return floor
    return replace(floor, dryness=replace(floor.dryness, metered=True))


def prepare_only(situation: Situation, outcome: Outcome | None) -> Change:
    """Grind and repair, coat another day: a trip is lost and no floor."""
    costs, last = situation.costs, outcome.verdict.last_safe_pour if outcome else None
    by = f", if resin is not down by {words_of(situation).clock(last)}" if last else ""
    return Change(
        Kind.PREPARE,
        f"Prepare only: grind and repair, coat another day{by}.",
        None,
        cost=costs.second_visit + costs.trip,
        minutes=0,
        limits="What was ground must be vacuumed and looked at again before the coat.",
    )


def move(situation: Situation) -> Change | None:
    """The other day with the best verdict at its best start, or ground the evening before."""
    best: tuple[tuple[int, int], date, Situation] | None = None
    for day in situation.other_days:
        if situation.times.hours(day).closed:
            continue
        for moved, outcome in _on(situation, day):
            level, cares, _ = badness(outcome)
            if best is None or (level, cares) < best[0]:
                best = ((level, cares), day, moved)
    if best is None or best[0][0] > Level.CARE.severity:
        return None
    _, day, moved = best
    waits = max(0, (day - situation.day).days)
    return Change(
        Kind.MOVE,
        f"Move to {say_day(day)}, {_begins(moved, day)}.",
        moved,
        cost=situation.costs.moving + situation.costs.waiting_a_day * waits,
        minutes=0,
        limits="If a crew is free and the customer can.",
    )


def _on(situation: Situation, day: date) -> Iterator[tuple[Situation, Outcome]]:
    """A day at its best start, and with the grinding done the evening before."""
    found = best_start(situation, day)
    if found is None:
        return
    yield found
    if found[1].verdict.level is Level.GO:
        return
    eve = evening_before(found[0])
    if eve is not None and eve.situation is not None:
        try:
            yield eve.situation, eve.situation.allowed()
        except CannotPlan:
            return


def _begins(moved: Situation, day: date) -> str:
    say = replace(words_of(moved), day=day)
    if moved.split_after is StageKind.VERTICALS and moved.second_start is not None:
        return f"ground from {say.clock(moved.start)}, coated from {say.clock(moved.second_start)}"
    return f"start at {say.clock(moved.start)}"
