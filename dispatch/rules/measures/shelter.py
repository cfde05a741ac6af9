"""Shelter: a canopy, a side curtain or a tarp, each only within the gusts that it stands."""

from collections.abc import Iterator

from dispatch.rules.covers import Cover
from dispatch.rules.measures.change import Change, Kind, words_of
from dispatch.rules.measures.situation import FloorHere, Situation
from jobs.rules.other_water import Water

KINDS = {Cover.CANOPY: Kind.CANOPY, Cover.CURTAIN: Kind.CURTAIN, Cover.TARP: Kind.TARP}
TITLES = {
    Cover.CANOPY: "Put up a canopy or a tarp on a ridge before the pour.",
    Cover.CURTAIN: "Hang a side curtain before the pour.",
    Cover.TARP: "Tarp the doorway and dam the threshold.",
}
MINUTES = {Cover.CANOPY: 40, Cover.CURTAIN: 25, Cover.TARP: 15}


def shelters(situation: Situation) -> Iterator[Change]:
    """Every cover that fits one of the floors and does not stand yet."""
    for cover in Cover:
        if cover in situation.covers or not any(_fits(cover, floor) for floor in situation.floors):
            continue
        limit = words_of(situation).wind(cover.gust_limit_kmh(situation.thresholds))
        yield Change(
            KINDS[cover],
            TITLES[cover],
            situation.changed(covers=situation.covers | {cover}),
            cost=getattr(situation.costs, cover.value)
            + situation.costs.hands_an_hour * MINUTES[cover] / 60,
            minutes=MINUTES[cover],
            limits=f"Holds to gusts of {limit}.",
        )


def _fits(cover: Cover, floor: FloorHere) -> bool:
    exposures = (floor.exposure, *(each for _, each in floor.parts))
    if cover is Cover.TARP and (floor.behind_a_door or Water.SLOPE in floor.waters):
        return True
    return any(cover.fits(exposure) for exposure in exposures)
