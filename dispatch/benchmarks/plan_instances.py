"""Invented branches for measuring the planner: floors, crews, weather, all from a seed.

Money, exposure factors and the weather are assumptions; only the shape matters here: most
floors take one day, some two or three, short ones may share a day, some need a grinder that
there are few of, and open floors fear wet days.
"""

from dataclasses import dataclass, replace

import numpy as np

from dispatch.rules.planning.building import build
from dispatch.rules.planning.candidates import NOWHERE, Built, Candidates, Horizon, Pairs
from dispatch.rules.planning.model import Flags, Floats, Ints
from dispatch.rules.planning.moving import OTHER_CREW, move_price

CREWS_A_BRANCH = 5
LONG_DAY_H, PLAIN_DAY_H, SHORT_H = 10.5, 8.5, 5.25
REACH_MILES, NEAR_MILES = 30.0, 12.0
MIN_A_MILE, DOLLARS_A_MIN = 2.0, 1.2
OVERTIME, LATE, WAITING, ROLLING = 70.0, 60.0, 4.0, 150.0
UNPLANNED = 3000.0
# Rain, cold and dew hurt a closed garage, an open front and a patio so much.
FEARS = np.array([[0.02, 0.35, 0.10], [0.18, 0.60, 0.35], [0.90, 0.80, 0.60]])


@dataclass(frozen=True, eq=False)
class Town:
    """One invented company: its floors, crews and the risk of each kind of day."""

    crews: int
    days: int
    depots: Floats  # (crews, 2) miles
    skilled: Flags  # crews that do the second system
    sites: Floats  # (floors, 2)
    long_days: Ints  # days each floor takes
    labour_h: Floats
    exposure: Ints
    second_system: Flags
    price: Floats
    wants_grinder: Flags
    allowed: Flags  # (floors, days)
    promised: Ints
    risk: Floats  # (regions, days, 3): rain, cold, dew
    wait_h: Floats  # (regions, days)
    region: Ints  # of each crew's depot
    grinders: int


def town(*, floors: int, crews: int, days: int, seed: int) -> Town:
    """A company of this size; the same seed gives the same one."""
    dice = np.random.default_rng(seed)
    regions = max(1, crews // CREWS_A_BRANCH)
    region = np.arange(crews) % regions
    centres = dice.uniform(0, 25 * np.sqrt(regions), (regions, 2))
    home = dice.integers(0, regions, floors)
    long_days = dice.choice([1, 2, 3], size=floors, p=[0.8, 0.15, 0.05])
    risk, wait_h = _weather(dice, regions, days)
    first = dice.integers(0, max(1, days - 8), floors)
    span = dice.integers(7, days + 1, floors)
    day = np.arange(days)
    allowed = (day >= first[:, None]) & (day < (first + span)[:, None])
    allowed &= dice.random((floors, days)) > 0.1
    return Town(
        crews=crews,
        days=days,
        depots=centres[region],
        skilled=dice.random(crews) < 0.8,
        sites=centres[home] + dice.normal(0, 8, (floors, 2)),
        long_days=long_days,
        labour_h=np.where(long_days > 1, 7.0, dice.uniform(2.5, 7.5, floors)),
        exposure=dice.choice([0, 1, 2], size=floors, p=[0.6, 0.15, 0.25]),
        second_system=dice.random(floors) < 0.3,
        price=dice.uniform(2000, 6000, floors),
        wants_grinder=dice.random(floors) < 0.2,
        allowed=allowed,
        promised=first + dice.integers(5, 15, floors),
        risk=risk,
        wait_h=wait_h,
        region=region,
        grinders=max(1, round(0.2 * crews)),
    )


def _weather(dice: np.random.Generator, regions: int, days: int) -> tuple[Floats, Floats]:
    """Risks by region and day that hang together from day to day, and the wait for cure."""
    state = dice.normal(size=(regions, 3))
    risk = np.zeros((regions, days, 3))
    wait_h = np.zeros((regions, days))
    for day in range(days):
        state = 0.65 * state + np.sqrt(1 - 0.65**2) * dice.normal(size=(regions, 3))
        risk[:, day] = 1 / (1 + np.exp(-2.2 * (state - np.array([0.6, 1.4, 1.4]))))
        warm_f = 70 - 8 * state[:, 1]
        wait_h[:, day] = np.clip(1.5 * 2 ** ((70 - warm_f) / 20), 1.0, 4.5)
    return risk, wait_h


def built(place: Town) -> Built:
    """Its column model: candidates, pairs and rows."""
    candidates, hours = _candidates(place)
    return build(candidates, _pairs(place, candidates, hours), horizon(place))


def horizon(place: Town) -> Horizon:
    """What the town has: every crew on every day, and its grinders."""
    floors, slots = len(place.sites), place.crews * place.days
    return Horizon(
        crews=place.crews,
        days=place.days,
        capacity=np.ones(slots),
        machines=np.full(place.days, float(place.grinders)),
        week=np.arange(place.days) // 5,
        halves=np.full((place.crews, (place.days + 4) // 5), 10.0),
        unplanned=np.full(floors, round(100 * UNPLANNED), dtype=np.int64),
        unplanned_rings=np.zeros(floors, dtype=bool),
    )


def _candidates(place: Town) -> tuple[Candidates, Floats]:
    miles = np.linalg.norm(place.sites[:, None] - place.depots[None], axis=2)
    reach = (miles <= REACH_MILES) & (place.skilled | ~place.second_system[:, None])
    floor, crew, day = np.nonzero(np.broadcast_to(reach[:, :, None], (*reach.shape, place.days)))
    takes = place.long_days[floor]
    fits = day + takes <= place.days
    for ahead in range(3):
        later = np.minimum(day + ahead, place.days - 1)
        fits &= (ahead >= takes) | place.allowed[floor, later]
    road_min = 2 * miles[floor, crew] * MIN_A_MILE
    hours = place.labour_h[floor] + place.wait_h[place.region[crew], day] + road_min / 60
    fits &= hours <= LONG_DAY_H
    floor, crew, day, hours = floor[fits], crew[fits], day[fits], hours[fits]
    takes, road_min = takes[fits], road_min[fits]
    spoilt = _spoilt(place, floor, crew, day)
    dollars = (
        spoilt * (300 + 0.55 * place.price[floor])
        + takes * (DOLLARS_A_MIN * road_min + OVERTIME * np.maximum(0, hours - PLAIN_DAY_H))
        + LATE * np.maximum(0, day + takes - 1 - place.promised[floor])
        + WAITING * day
        + ROLLING * takes
    )
    slots = np.full((len(floor), 3), NOWHERE, dtype=np.int64)
    for ahead in range(3):
        slots[:, ahead] = np.where(takes > ahead, crew * place.days + day + ahead, NOWHERE)
    machines = np.where(place.wants_grinder[floor], day, NOWHERE)[:, None]
    candidates = Candidates(
        floor=floor,
        crew=crew,
        day=day,
        cost=np.rint(100 * dollars).astype(np.int64),
        slots=slots,
        machine_days=machines,
        halves=np.where(hours <= SHORT_H, 1, 2 * takes),
        rings=np.zeros(len(floor), dtype=bool),
    )
    return candidates, hours


def _spoilt(place: Town, floor: Ints, crew: Ints, day: Ints) -> Floats:
    """Chance that the floor is spoilt; later days of a long one count 0.6."""
    good = np.ones(len(floor))
    for ahead in range(3):
        on = np.minimum(day + ahead, place.days - 1)
        fear = FEARS[place.exposure[floor]] * place.risk[place.region[crew], on]
        bad = 1 - np.prod(1 - fear, axis=1)
        weight = 1.0 if ahead == 0 else 0.6
        good *= np.where(ahead < place.long_days[floor], 1 - weight * bad, 1.0)
    return 1 - good


def _pairs(place: Town, candidates: Candidates, hours: Floats) -> Pairs:
    """Two one-day floors near each other on one crew-day, where both and the road fit."""
    single = np.flatnonzero(place.long_days[candidates.floor] == 1)
    order = single[np.argsort(candidates.slots[single, 0], kind="stable")]
    slot = candidates.slots[order, 0]
    firsts, seconds = [], []
    for step in range(1, int(np.bincount(slot).max(initial=1))):
        same = slot[step:] == slot[:-step]
        firsts.append(order[:-step][same])
        seconds.append(order[step:][same])
    one, two = np.concatenate(firsts), np.concatenate(seconds)
    sites = place.sites
    between = np.linalg.norm(sites[candidates.floor[one]] - sites[candidates.floor[two]], axis=1)
    home = [
        np.linalg.norm(sites[candidates.floor[each]] - place.depots[candidates.crew[each]], axis=1)
        for each in (one, two)
    ]
    work = hours[one] + hours[two] - 2 * (home[0] + home[1]) * MIN_A_MILE / 60
    road_min = (home[0] + between + home[1]) * MIN_A_MILE
    total = work + road_min / 60
    fits = (between <= NEAR_MILES) & (total <= LONG_DAY_H)
    fits &= np.minimum(hours[one], hours[two]) <= SHORT_H
    extra = (
        DOLLARS_A_MIN * (road_min - 2 * (home[0] + home[1]) * MIN_A_MILE)
        + OVERTIME
        * (
            np.maximum(0, total - PLAIN_DAY_H)
            - np.maximum(0, hours[one] - PLAIN_DAY_H)
            - np.maximum(0, hours[two] - PLAIN_DAY_H)
        )
        - ROLLING
    )
    cost = candidates.cost[one] + candidates.cost[two] + np.rint(100 * extra).astype(np.int64)
    return Pairs(one[fits], two[fits], cost[fits])


def wet_front(place: Town, *, today: int) -> Town:
    """The same town with three wet days from `today` on."""
    risk = place.risk.copy()
    risk[:, today : today + 3, 0] = np.maximum(risk[:, today : today + 3, 0], 0.85)
    return replace(place, risk=risk)


def again(place: Town, plan: Built, placed: Ints, *, today: int) -> Built:
    """The model of the morning of `today`: floors still to do, moves with their price.

    Every floor that has a day is promised it. Its own day and crew stay a candidate; another
    day means a call, another crew on the same day only a small price.
    """
    had = placed != NOWHERE
    old_crew = np.where(had, plan.candidates.crew[placed], NOWHERE)
    old_day = np.where(had, plan.candidates.day[placed], NOWHERE)
    left = ~had | (old_day >= today)
    candidates, hours = _candidates(place)
    stays = left[candidates.floor] & (candidates.day >= today)
    candidates, hours = _some(candidates, stays), hours[stays]
    day, crew = old_day[candidates.floor], old_crew[candidates.floor]
    rings = (day != NOWHERE) & (candidates.day != day)
    price = np.where(rings, move_price(np.maximum(0, day - today)), 0.0)
    price += np.where(~rings & (day != NOWHERE) & (candidates.crew != crew), OTHER_CREW, 0.0)
    candidates = replace(
        candidates, cost=candidates.cost + np.rint(100 * price).astype(np.int64), rings=rings
    )
    bounds = horizon(place)
    done = ~left
    numbers = np.cumsum(left) - 1
    candidates = replace(candidates, floor=numbers[candidates.floor])
    kept = _kept(place, left)
    bounds = replace(
        bounds,
        unplanned=bounds.unplanned[left] + np.where(had[left], 100_000, 0),
        unplanned_rings=had[left],
        capacity=bounds.capacity * ~_under_way(plan, placed, done, today),
    )
    return build(candidates, _pairs(kept, candidates, hours), bounds)


def _under_way(plan: Built, placed: Ints, done: Flags, today: int) -> Flags:
    """Slots from `today` on that floors already begun still take."""
    slots = plan.candidates.slots[placed[done & (placed != NOWHERE)]].ravel()
    taken = np.zeros(plan.horizon.crews * plan.horizon.days, dtype=bool)
    later = slots[(slots >= 0) & (slots % plan.horizon.days >= today)]
    taken[later] = True
    return taken


def _kept(place: Town, left: Flags) -> Town:
    return replace(place, sites=place.sites[left], long_days=place.long_days[left])


def _some(candidates: Candidates, which: Flags) -> Candidates:
    return Candidates(**{name: values[which] for name, values in vars(candidates).items()})
