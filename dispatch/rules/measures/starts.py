"""Another start: earlier or later, in two mornings, or with the grinding done the evening before.

Quiet work may begin before noisy hours do, so on a hot day a crew sets up and masks in the
dark and grinds at the first minute one may be loud.
"""

from collections.abc import Iterator
from datetime import date, datetime, timedelta

from dispatch.rules.findings import Level
from dispatch.rules.measures.change import Change, Kind, words_of
from dispatch.rules.measures.situation import Outcome, Situation
from jobs.rules.plan import StageKind
from jobs.rules.quiet import FIRST_DAY, SECOND_DAY, earliest_start
from jobs.rules.rates import stage_hours
from jobs.rules.refusals import CannotPlan
from jobs.rules.stages import prepare_h

STEP = timedelta(minutes=30)
LATEST_AFTER_OPENING = timedelta(hours=9)
DAY = timedelta(days=1)
LATEST_TOP = 4  # days after the base
ENOUGH_MIN = 60  # more slack than this makes no start better than another


def another_start(situation: Situation) -> Change | None:
    """The nearest start of the same day that does better than the one as it stands."""
    here = _severity(situation)
    best = best_start(situation, situation.day)
    if best is None or best[1].verdict.level.severity >= here:
        return None
    chosen, outcome = best
    say = words_of(situation)
    early = chosen.start < situation.times.usual(situation.day)
    title = f"Start at {say.clock(chosen.start)}"
    loud = first_noise(outcome)
    if early and chosen.start < situation.times.noisy_from(situation.day):
        title += f": set up quietly, grind from {say.clock(loud)}"
    return Change(
        Kind.START,
        f"{title}.",
        chosen,
        cost=situation.costs.early_start if early else 0.0,
        minutes=0,
        limits=_noise(situation),
    )


def best_start(situation: Situation, day: date) -> tuple[Situation, Outcome] | None:
    """The start of `day` with the best verdict, nearest to the clock time as it stands."""
    usual = situation.start.astimezone(situation.times.zone).time()
    wanted = situation.times.at(day, usual)
    tries = []
    for start in starts_of(situation, day):
        moved = situation.changed(start=start, second_start=None)
        try:
            found = moved.allowed(door=False)
        except CannotPlan:
            continue
        tries.append((*badness(found), abs(start - wanted), start))
    for *_, start in sorted(tries)[:2]:
        moved = situation.changed(start=start, second_start=None)
        try:  # with the door open the slab is another, so the best are judged once more
            return moved, moved.allowed()
        except CannotPlan:
            continue
    return None


def badness(outcome: Outcome) -> tuple[int, int, int]:
    """How bad a verdict is: its level, how many cares it has, how little slack it leaves."""
    verdict = outcome.verdict
    slack_min = ENOUGH_MIN if verdict.slack_min is None else verdict.slack_min
    cares = len({check.name for check in verdict.reasons})
    return verdict.level.severity, cares, -min(slack_min, ENOUGH_MIN)


def first_noise(outcome: Outcome) -> datetime:
    """When the first noisy stage of the plan begins."""
    stages = [stage for visit in outcome.plan.visits for stage in visit.stages]
    return next((each.start for each in stages if each.kind.noisy), outcome.plan.start)


def starts_of(situation: Situation, day: date) -> Iterator[datetime]:
    """Every half hour at which a crew might come that day, from the first quiet one on."""
    times = situation.times
    hours = stage_hours(
        work=situation.work, rates=situation.rates, crew_size=situation.crew_size, resin=False
    )
    start = earliest_start(
        arrive=times.opens(day),
        noisy_from=times.noisy_from(day),
        hours=hours,
        order=FIRST_DAY,
    )
    last = start + LATEST_AFTER_OPENING
    while start <= last:
        if start >= situation.now:
            yield start
        start += STEP


def evening_before(situation: Situation) -> Change | None:
    """Grind the evening before and coat from dawn."""
    if situation.card.two_days or situation.second_start is not None:
        return None
    times, day = situation.times, situation.day
    needed = prepare_h(work=situation.work, rates=situation.rates, crew_size=situation.crew_size)
    pack = situation.rates.pack_h
    eve = min(
        times.noisy_until(day - DAY) - timedelta(hours=needed),
        times.closes(day - DAY) - timedelta(hours=needed + pack),
    )
    if eve < situation.now or eve < times.opens(day - DAY):
        return None
    dawns = (times.opens(day) + n * STEP for n in range(9))
    split = situation.changed(start=eve, split_after=StageKind.VERTICALS)
    best = _best(split.changed(second_start=dawn) for dawn in dawns if dawn > situation.now)
    if best is None:
        return None
    say, costs = words_of(situation), situation.costs
    extra_h = pack + situation.rates.return_set_up_h
    return Change(
        Kind.EVENING,
        f"Grind the evening before from {say.clock(eve)}, coat from {say.clock(_second(best))}.",
        best,
        cost=costs.second_visit + costs.hands_an_hour * situation.crew_size * extra_h,
        minutes=round(60 * situation.crew_size * extra_h),
        limits=_noise(situation),
    )


def two_mornings(situation: Situation) -> Change | None:
    """Base on one morning, top on the next, where the base may wait overnight."""
    if not situation.card.overnight or situation.second_start is not None:
        return None
    times, next_day = situation.times, situation.day + DAY
    back = earliest_start(
        arrive=times.opens(next_day),
        noisy_from=times.noisy_from(next_day),
        hours={StageKind.SET_UP: situation.rates.return_set_up_h},
        order=SECOND_DAY,
    )
    split = situation.changed(split_after=StageKind.BASE, second_start=back, bays=1)
    starts = (situation.start, *starts_of(situation, situation.day))
    best = _best(split.changed(start=start) for start in starts)
    if best is None:
        return None
    say, costs = words_of(situation), situation.costs
    extra_h = situation.rates.pack_h + situation.rates.return_set_up_h
    return Change(
        Kind.TWO_MORNINGS,
        f"Two mornings: base from {say.clock(best.start)}, top from {say.clock(back)}.",
        best,
        cost=costs.second_visit + costs.hands_an_hour * situation.crew_size * extra_h,
        minutes=round(60 * situation.crew_size * extra_h),
        limits=f"The base may wait {situation.card.recoat_until_h:.0f} h; later it is abraded.",
    )


def later_tops(situation: Situation) -> Change | None:
    """The base as it stands and the top on a later day, abraded if its window is over by then."""
    if situation.second_start is None and not situation.card.two_days:
        return None
    if situation.split_after is not StageKind.BASE:
        return None
    times, day = situation.times, situation.day
    back = earliest_start(
        arrive=times.opens(day),
        noisy_from=times.noisy_from(day),
        hours={StageKind.SET_UP: situation.rates.return_set_up_h},
        order=SECOND_DAY,
    )
    days = (back + n * DAY for n in range(1, LATEST_TOP + 1))
    best = _best(situation.changed(second_start=later) for later in days)
    if best is None:
        return None
    abrade_h = _abrading_h(best)
    say, costs = words_of(situation), situation.costs
    abraded = f", abrade first, {abrade_h:.1f} h" if abrade_h else ""
    return Change(
        Kind.LATER_TOP,
        f"Lay the base as planned and come back for the top {say.clock(_second(best))}{abraded}.",
        best,
        cost=costs.hands_an_hour * situation.crew_size * abrade_h,
        minutes=round(60 * situation.crew_size * abrade_h),
        limits=f"Later than {situation.card.recoat_until_h:.0f} h after the base it is abraded.",
    )


def _abrading_h(situation: Situation) -> float:
    """Hours of abrading before the top, of the whole crew."""
    stages = [each for visit in situation.judged().plan.visits for each in visit.stages]
    spent = [each.end - each.start for each in stages if each.kind is StageKind.ABRADE]
    return sum(each / timedelta(hours=1) for each in spent)


def _best(tries: Iterator[Situation]) -> Situation | None:
    """The first of the best that can be laid out in the hours in which one may work."""
    found = [each for one in tries if (each := _judged(one))]
    return min(found, key=lambda each: each[0])[1] if found else None


def _judged(situation: Situation) -> tuple[tuple[int, int, int], Situation] | None:
    try:
        return badness(situation.allowed(door=False)), situation
    except CannotPlan:
        return None


def _severity(situation: Situation) -> int:
    """How bad it is as it stands; as bad as can be where it cannot even be laid out."""
    try:
        return situation.judged().verdict.level.severity
    except CannotPlan:
        return Level.NO.severity + 1


def _second(situation: Situation) -> datetime:
    return situation.second_start or situation.start


def _noise(situation: Situation) -> str:
    """From when until when one may be there and be loud."""
    times, day, say = situation.times, situation.day, words_of(situation)
    opens, loud = times.opens(day), times.noisy_from(day)
    until = times.noisy_until(day)
    return (
        f"Quiet work from {say.clock(opens)}, noise from {say.clock(loud)} to {say.clock(until)}."
    )
