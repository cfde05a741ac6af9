"""Ranking: every measure judged with it taken, best first, and the smallest that would do."""

from collections.abc import Iterator, Sequence

from dispatch.rules.findings import Level
from dispatch.rules.measures import choices, hands, shelter, starts, warmth
from dispatch.rules.measures.change import Change, Kind, Measure
from dispatch.rules.measures.situation import Outcome, Situation
from jobs.rules.refusals import CannotPlan

# A measure of each of these goes together with another start.
WITH_ANOTHER_START = frozenset({Kind.SECOND_CREW, Kind.CANOPY, Kind.CURTAIN, Kind.TARP, Kind.HEAT})
# What is done as care: it changes no level and is not meant to.
CARE_ITSELF = frozenset({Kind.BATCHES, Kind.METER, Kind.PREPARE})
FEWEST = 3


def ranked(situation: Situation, outcome: Outcome | None) -> tuple[Measure, ...]:
    """Everything that can be done about `outcome`, best first; what does not help comes last.

    A measure that does not help by itself is tried with another start as well. `outcome` is
    None where the floor cannot even be laid out as it stands, on a slab that is too cold.
    """
    found: dict[Kind, Measure] = {}
    for change in _changes(situation, outcome):
        for measure in _judged(situation, change):
            held = found.get(measure.kind)
            if held is None or _rank(situation, measure) < _rank(situation, held):
                found[measure.kind] = measure
    start = found.get(Kind.START)
    stands = outcome.verdict.level if outcome else Level.NO
    kept = [
        each
        for each in found.values()
        if not _for_nothing(each, start) and not _no_better(each, stands)
    ]
    return tuple(sorted(kept, key=lambda each: _rank(situation, each)))


def _for_nothing(measure: Measure, start: Measure | None) -> bool:
    """Whether another start alone does as much as this measure does with one."""
    if start is None or measure.kind not in WITH_ANOTHER_START or not start.helps:
        return False
    return measure.level is start.level and measure.cost > start.cost


def _no_better(measure: Measure, stands: Level) -> bool:
    """Whether a day that may be coated with care is left as it is, for all that is done."""
    if measure.kind in CARE_ITSELF or stands is not Level.CARE:
        return False
    return measure.level is Level.CARE


def smallest(measures: Sequence[Measure]) -> tuple[Measure, ...]:
    """The least that would make a refused day possible: cheapest first, at most three."""
    same_day = [each for each in measures if each.helps and each.kind.same_day]
    return tuple(sorted(same_day, key=lambda each: (each.cost, each.minutes))[:FEWEST])


def _changes(situation: Situation, outcome: Outcome | None) -> Iterator[Change]:
    """Everything that might be done about it, whether it helps or not."""
    made: tuple[Change | None, ...] = (choices.prepare_only(situation, outcome),)
    if outcome is None or outcome.verdict.level is not Level.GO:
        made = (
            starts.another_start(situation),
            hands.second_crew(situation),
            starts.evening_before(situation),
            starts.two_mornings(situation),
            starts.later_tops(situation),
            *shelter.shelters(situation),
            *warmth.heaters(situation, outcome),
            hands.smaller_batches(situation, outcome),
            choices.meter_first(situation, outcome),
            choices.move(situation),
            *made,
        )
    yield from (change for change in made if change is not None)


def _judged(situation: Situation, change: Change) -> Iterator[Measure]:
    """What comes of a change, by itself and if need be with another start."""
    if change.situation is None:
        yield _measure(change, None)
        return
    alone = _outcome(change)
    if alone is not None:
        yield _measure(change, alone)
        if alone.verdict.level in {Level.GO, Level.CARE}:
            return
    if change.kind in WITH_ANOTHER_START:
        later = starts.another_start(change.situation)
        both = change.then(later) if later else None
        together = _outcome(both) if both else None
        if both is not None and together is not None:
            yield _measure(both, together)


def _outcome(change: Change) -> Outcome | None:
    """What comes of it; None where it cannot be laid out, or not in the hours one may work."""
    if change.situation is None:
        return None
    try:
        found = change.situation.allowed()
    except CannotPlan:
        return None
    if change.kind is Kind.SECOND_CREW and not hands.released(change.situation, found):
        return None
    return found


def _measure(change: Change, outcome: Outcome | None) -> Measure:
    because = "the grind is done and a trip is lost, no floor."
    if outcome is not None:
        told = outcome.verdict.headline
        because = f"because {told[0].lower()}{told[1:]}"
    return Measure(
        kind=change.kind,
        title=change.title,
        level=outcome.verdict.level if outcome else None,
        because=because,
        cost=change.cost,
        minutes=change.minutes,
        limits=change.limits,
        extras=change.extras,
        plan=outcome.plan if outcome else None,
    )


def _rank(situation: Situation, measure: Measure) -> tuple[int, float]:
    """Those that help by what they and their verdict cost, then no coat, then what is no use."""
    weather = {Level.GO: 0.0, Level.CARE: situation.costs.care}
    if measure.level is None:
        return 1, measure.cost
    if measure.level in weather:
        return 0, measure.cost + weather[measure.level]
    return 2 + measure.level.severity, measure.cost
