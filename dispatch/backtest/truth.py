"""What really happens to a floor: slabs unlike the program's, true hours, and what they spoil."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from dispatch.backtest.scenario import LEVELS, Order, Scenario
from dispatch.backtest.world import SLABS, World
from dispatch.rules.findings import Stretch, slab_stretch
from dispatch.rules.thresholds import DEFAULTS
from jobs.rules.cards import Card, CureTime
from jobs.rules.learning import COAT, PACK, PREPARE, with_learnt
from jobs.rules.plan import Plan
from jobs.rules.rates import Rates
from jobs.rules.stages import lay_out
from weather.rules.conduction import march
from weather.rules.exposures import Exposure
from weather.rules.ground import Climate
from weather.rules.hours import HOUR, Series, SlabHours
from weather.rules.seasonal import WET_MM
from weather.rules.slab import COLUMN, DEPTHS_M
from weather.rules.slab_air import FILM_STEP, House, felt

USUAL_OFFSET_C, INDOOR_C = 7.0, 20.0
# Water settles on a film at the dew point itself; a card's 3 °C over it stand against instruments
# and forecasts. A card also keeps 2 °C in hand under its least temperature of the slab and 3 °C
# over its most. Common practice.
DEW_HARM_C, COLD_HARM_C, HEAT_HARM_C = 0.0, 2.0, 3.0
# A slab looks wet for some hours after rain and is damp for some more. Common practice.
LOOKS_WET_H, DAMP_H = 3, 8
SPOILS_MIN = timedelta(minutes=30)  # of an hour with rain that lies inside the wet window


@dataclass(frozen=True, eq=False)
class TrueSlabs:
    """The year's true slabs of every exposure, garage offset and film that floors may have."""

    start: datetime
    surface_c: dict[tuple[Exposure, int, int], Series]

    def of(self, order: Order) -> SlabHours:
        """The true slab of a floor: it has no band."""
        exposure = SLABS[order.exposure]
        garage = order.unseen.garage_level if exposure is Exposure.GARAGE else 0
        true_c = self.surface_c[exposure, garage, order.unseen.film_level]
        return SlabHours(start=self.start, mid_c=true_c, cold_c=true_c, warm_c=true_c)


def true_slabs(world: World, scenario: Scenario) -> TrueSlabs:
    """All true slabs of the year, carried through in one go."""
    unseen = scenario.table["unseen"]
    offsets = USUAL_OFFSET_C + unseen["garage_off_c"] * np.linspace(-1, 1, LEVELS)
    films = 1 + unseen["film"] * np.linspace(-1, 1, LEVELS)
    kinds = [
        (exposure, garage, film)
        for exposure in dict.fromkeys(SLABS.values())
        for garage in range(LEVELS if exposure is Exposure.GARAGE else 1)
        for film in range(LEVELS)
    ]
    driven = [_driven(world, e, float(offsets[g]), float(films[f])) for e, g, f in kinds]
    drive, film = (np.stack(series) for series in zip(*driven, strict=True))
    ground = Climate.at(world.station.latitude).ground_c(
        instant=world.truth.start, depth_m=DEPTHS_M
    )
    surface = march(
        layers_c=np.repeat(ground[None, :-1], len(kinds), axis=0),
        drive_c=drive,
        film_w_m2k=film,
        bottom_c=np.full_like(drive, ground[-1]),
        column=COLUMN,
    ).surface_c
    return TrueSlabs(world.truth.start, dict(zip(kinds, surface, strict=True)))


def _driven(
    world: World, exposure: Exposure, garage_offset_c: float, factor: float
) -> tuple[Series, Series]:
    """Drive and film of one kind of slab whose film is `factor` times the program's."""
    usual = felt(
        hours=world.truth,
        air_c=world.truth.air_c,
        exposure=exposure,
        latitude=world.station.latitude,
        longitude=world.station.longitude,
        house=House(garage_offset_c=garage_offset_c, indoor_c=INDOOR_C),
        door_open=(),
    )
    film = np.maximum(np.round(usual.film_w_m2k * factor / FILM_STEP) * FILM_STEP, FILM_STEP)
    # Sun and sky are flows of heat: a thicker film of air makes them felt more, not less.
    flows = (usual.sun_c + usual.sky_c) * (usual.film_w_m2k / film - 1)
    return usual.drive_c + flows, film


def true_card(card: Card, cure: float) -> Card:
    """The card as this floor cures: every time `cure` times as long."""

    def slower(time: CureTime) -> CureTime:
        return replace(time, points=tuple((at, hours * cure) for at, hours in time.points))

    return replace(
        card,
        set=slower(card.set),
        tack_free=slower(card.tack_free),
        rain_safe=slower(card.rain_safe),
        walk_on=slower(card.walk_on),
        drive_on=slower(card.drive_on),
    )


def true_plan(order: Order, *, card: Card, people: int, start: datetime, slab: SlabHours) -> Plan:
    """How the day goes in truth. Raises CannotPlan where the base would not set."""
    labour = dict.fromkeys((PREPARE, COAT, PACK), order.unseen.labour)
    return lay_out(
        work=order.work,
        card=true_card(card, order.unseen.cure),
        rates=with_learnt(Rates(), labour),
        crew_size=people,
        start=start + timedelta(minutes=order.unseen.start_min),
        slab=slab,
    )


def harms(plan: Plan, *, order: Order, card: Card, world: World, slab: SlabHours) -> Iterator[str]:
    """What spoils the floor if it is poured as in `plan`, on true hours and the true slab."""
    exposure = order.exposure
    if not exposure.enclosed and _rained_on(plan, exposure, world):
        yield "rain"
    end = plan.tack_free or plan.end
    dew = _true(world, "dew_c", plan.pour, end)
    gap = slab_stretch(slab, plan.pour, end).values - dew
    if bool((gap < DEW_HARM_C).any()):
        yield "dew"
    coats = (slab.at_c(plan.pour), slab.at_c(plan.top_start))
    if min(coats) < card.slab_min_c - COLD_HARM_C:
        yield "cold"
    if max(coats) > card.slab_max_c + HEAT_HARM_C:
        yield "heat"
    if exposure.open and _blown_on(plan, order.unseen.shelter, world):
        yield "wind"
    if exposure.open and rained_before(plan.pour, DAMP_H, world):
        yield "damp"


def rained_before(at: datetime, hours: int, world: World) -> bool:
    """Whether rain fell in the hour of `at` or in so many hours before."""
    return bool((_true(world, "rain_mm", at - hours * HOUR, at + HOUR / 60) >= WET_MM - 1e-9).any())


def _rained_on(plan: Plan, exposure: Exposure, world: World) -> bool:
    """Rain in the wet window; under a roof only with wind."""
    end = plan.rain_safe or plan.end
    first = plan.pour if plan.pour.minute <= 30 else plan.pour + SPOILS_MIN
    wet = _true(world, "rain_mm", first, max(end - SPOILS_MIN, first)) >= WET_MM - 1e-9
    if exposure.roofed:
        gust = _true(world, "gust_kmh", first, max(end - SPOILS_MIN, first))
        wet &= gust >= DEFAULTS.roofed_gust_kmh
    return bool(wet.any())


def _blown_on(plan: Plan, shelter: float, world: World) -> bool:
    """Wind over the floor itself that carries flake off, or leaves and grit on to it."""
    flake = _true(world, "gust_kmh", plan.pour, plan.base_end) * shelter
    tacky = _true(world, "gust_kmh", plan.pour, plan.tack_free or plan.end) * shelter
    return bool((flake > DEFAULTS.flake_gust_no_kmh).any() or (tacky > DEFAULTS.gust_no_kmh).any())


def _true(world: World, layer: str, start: datetime, end: datetime) -> Series:
    values = getattr(world.truth, layer)
    return Stretch.cut(series_start=world.truth.start, values=values, start=start, end=end).values
