"""Warmth: a heater in the room before and after the crew, with its water where it is unvented."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from dispatch.rules.measures.change import Change, Extra, Kind, words_of
from dispatch.rules.measures.situation import Outcome, Situation
from jobs.rules.stages import prepare_h
from weather.rules.heaters import Heater

# A vented unit for a two-car garage gives 40 to 60 kBtu/h (common practice): 15 kW.
POWER_KW = 15.0
AHEAD = (timedelta(hours=12), timedelta(hours=24), timedelta(hours=48))
AFTER = timedelta(hours=24)
CARRY_MIN = 30
COATING = timedelta(hours=8)  # from the pour to the top, where a cold slab says nothing better
COLD = {"slab", "dew", "night", "air"}


def heaters(situation: Situation, outcome: Outcome | None) -> Iterator[Change]:
    """Vented heat for each time ahead, longest last, and the shortest without a vent.

    Without an `outcome` the floor is too cold to be laid out at all.
    """
    if not (situation.heatable and situation.enclosed) or situation.heaters:
        return
    if outcome and not COLD & {check.name for check in outcome.verdict.reasons}:
        return
    pour = situation.start + timedelta(
        hours=prepare_h(work=situation.work, rates=situation.rates, crew_size=situation.crew_size)
    )
    top_end = outcome.plan.top_end if outcome else pour + COATING
    ahead = [each for each in AHEAD if pour - each > situation.now]
    for each in ahead:
        yield _heated(situation, brought=pour - each, fetched=top_end + AFTER, vented=True)
    if ahead:
        yield _heated(situation, brought=pour - ahead[0], fetched=top_end + AFTER, vented=False)


def _heated(situation: Situation, *, brought: datetime, fetched: datetime, vented: bool) -> Change:
    heater = Heater(
        power_kw=POWER_KW,
        floor_m2=max(1.0, situation.work.area_m2),
        start=brought,
        end=fetched,
        vented=vented,
    )
    costs, say = situation.costs, words_of(situation)
    days = (fetched - brought) / timedelta(days=1)
    what = "vented heat" if vented else "a heater that is not vented"
    water = ""
    if not vented:
        water = f"It leaves {heater.water_grains:.0f} grains of water a lb in the room's air."
    return Change(
        Kind.HEAT if vented else Kind.UNVENTED,
        f"Put {what} of {POWER_KW:.0f} kW in from {say.clock(brought)} to {say.clock(fetched)}.",
        situation.changed(heaters=(heater,)),
        cost=2 * costs.trip + costs.heater_a_day * days,
        minutes=2 * CARRY_MIN,
        limits=water or "Needs a socket or a flue, and the door shut but for the work.",
        extras=(_carry("Bring the heater", brought), _carry("Fetch the heater", fetched)),
    )


def _carry(what: str, at: datetime) -> Extra:
    return Extra(what, at, CARRY_MIN)
