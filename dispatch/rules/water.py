"""Other water: what reaches a floor without falling on it, by what was seen at the site.

A drive that falls towards the door, an edge that drips, snow that melts, cars that come in
wet. Sprinklers and hoses are asked to stay off instead, and once they have wetted a slab
somebody notes it, which counts as dryness. The lines are common practice.
"""

from datetime import datetime, timedelta

import numpy as np

from dispatch.rules.covers import Cover
from dispatch.rules.findings import Check, Level, Scene, Stretch
from dispatch.rules.words import share
from jobs.rules.other_water import Water

SNOW_LIES = timedelta(days=5)
# Above this it rains and does not snow, so an hour with no word of snow had none.
NO_SNOW_C = 4.0
RUNS = {
    Water.SLOPE: "runs down to the door",
    Water.ROOF_EDGE: "drips from the roof's edge",
}


def water(scene: Scene) -> Check | None:
    """The worst of the waters that somebody saw at the site; nothing where nobody did."""
    found = [check for each in scene.waters if (check := _of(scene, each)) is not None]
    return max(found, key=lambda check: check.level.severity) if found else None


def _of(scene: Scene, kind: Water) -> Check | None:
    plan = scene.plan
    until = plan.rain_safe or plan.tack_free or plan.top_end
    if kind is Water.SLOPE and Cover.TARP not in scene.covers:
        return _runs(scene, kind, plan.pour, until)
    if kind is Water.ROOF_EDGE:
        drips = timedelta(hours=scene.thresholds.drips_h)
        return _runs(scene, kind, plan.pour - drips, until)
    if kind is Water.THAW:
        return _thaws(scene, until)
    return _wet_cars(scene) if kind is Water.VEHICLES else None


def _runs(scene: Scene, kind: Water, start: datetime, until: datetime) -> Check:
    """Rain outside that finds its way to the wet edge."""
    limits, say = scene.thresholds, scene.words
    chance = scene.stretch("rain_chance_pct", start, until)
    amount = scene.stretch("rain_mm", start, until)
    top, most = chance.highest(), amount.highest()
    does = RUNS[kind]
    if most is not None and most[1] >= limits.door_water_no_mm and top and top[1] >= 1:
        sentence = (
            f"{say.rain(most[1])} of rain in the hour from {say.clock(most[0])} {does}; limit "
            f"{say.rain(limits.door_water_no_mm)}."
        )
        return Check("water", Level.NO, sentence, most[0], most[1], limits.door_water_no_mm, "mm")
    missing = chance.missing()
    if top is None or (missing is not None and top[1] < limits.door_water_no_pct):
        at = missing or start
        return Check("water", Level.UNKNOWN, scene.unknown_hour(at, f"rain that {does}"), at=at)
    level = _level(top[1], limits.door_water_care_pct, limits.door_water_no_pct)
    sentence = (
        f"Rain {share(top[1])} from {say.clock(top[0])} {does}; care from "
        f"{share(limits.door_water_care_pct)}, limit {share(limits.door_water_no_pct)}."
    )
    return Check("water", level, sentence, top[0], top[1], limits.door_water_no_pct, "%")


def _level(value: float, care: float, no: float) -> Level:
    return Level.NO if value >= no else Level.CARE if value >= care else Level.GO


def _thaws(scene: Scene, until: datetime) -> Check:
    """Snow of the last days that melts while the floor is wet."""
    pour, say = scene.plan.pour, scene.words
    snow = scene.stretch("snow_mm", pour - SNOW_LIES, until)
    before = scene.stretch("air_c", pour - SNOW_LIES, until)
    fell = Stretch(snow.start, np.where(snow.values > 0, 1.0, np.nan)).highest()
    unsaid = np.isnan(snow.values) & ~(before.values > NO_SNOW_C)
    air = scene.stretch("air_c", pour, until)
    melts = Stretch(air.start, np.where(air.values > 0, 1.0, np.nan)).highest()
    frozen = melts is None and air.missing() is None
    if frozen or (fell is None and not unsaid.any()):
        return Check("water", Level.GO, "No melting snow is known to run on it.")
    if fell is None or melts is None:
        sentence = "It is not known whether snow lies there and melts while the floor is wet."
        return Check("water", Level.UNKNOWN, sentence)
    sentence = (
        f"Snow of {say.clock(fell[0])} melts from {say.clock(melts[0])} while the floor is wet: "
        "clear roof edge and drive of it."
    )
    return Check("water", Level.CARE, sentence, melts[0])


def _wet_cars(scene: Scene) -> Check:
    """Rain or snow in the day before the pour, that a car carries in."""
    limits, say, pour = scene.thresholds, scene.words, scene.plan.pour
    start = pour - timedelta(hours=limits.dry_no_h)
    chance = scene.stretch("rain_chance_pct", start, pour)
    amount = scene.stretch("rain_mm", start, pour)
    wet = (chance.values >= limits.rain_no_pct) | (amount.values >= limits.wetting_mm)
    positions = np.flatnonzero(wet)
    if len(positions):
        at = chance.hour(int(positions[0]))
        sentence = f"A car comes in wet from {say.clock(at)}: keep it out, and look at the floor."
        return Check("water", Level.CARE, sentence, at)
    gaps = np.flatnonzero(np.isnan(chance.values) & np.isnan(amount.values))
    if len(gaps):
        at = chance.hour(int(gaps[0]))
        sentence = scene.unknown_hour(at, "the day before the pour, and cars come in wet")
        return Check("water", Level.UNKNOWN, sentence, at=at)
    return Check("water", Level.GO, "No rain is likely to be driven in the day before the pour.")
