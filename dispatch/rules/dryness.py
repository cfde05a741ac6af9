"""Dryness: whether an open slab has had time to dry before resin goes down on it.

Sealing damp concrete turns the film white or lets it go. Decorative concrete wants 24 h dry
after a wash or rain, counted from when the surface looks dry: trade pages on sealing.
"""

from datetime import datetime, timedelta

import numpy as np

from dispatch.rules.drying import looks_dry_at
from dispatch.rules.findings import Check, Level, PartDryness, Scene
from dispatch.rules.words import share, span
from jobs.rules.other_water import Water
from weather.rules.hours import HOUR, floor_hour

BY = {
    Water.SLOPE: "from the drive",
    Water.ROOF_EDGE: "from the roof's edge",
    Water.THAW: "with melting snow",
    Water.VEHICLES: "from a car",
    Water.IRRIGATION: "from sprinklers",
    Water.WASHING: "from a wash",
}


def dryness(scene: Scene) -> Check | None:
    """The dampest part of an open floor at the pour; nothing for a floor under a roof."""
    if not any(surface.exposure.open for surface in scene.surfaces):
        return None
    parts = scene.dryness.parts if scene.dryness else ()
    rained = last_rain(scene)
    found = [_part(scene, part, rained) for part in parts or (PartDryness(),)]
    found += [check for check in (_gap(scene), _may_rain(scene)) if check is not None]
    return max(found, key=lambda check: (check.level.severity, check.at or scene.now))


def earliest_pour(scene: Scene) -> datetime | None:
    """Before when no pour is dry enough, as far as is known; None where nothing holds it up."""
    if not any(surface.exposure.open for surface in scene.surfaces):
        return None
    rained = last_rain(scene)
    parts = scene.dryness.parts if scene.dryness else ()
    moments = [_dry_from(scene, part, rained) for part in parts or (PartDryness(),)]
    known = [at for at in moments if at is not None]
    return max(known) + timedelta(hours=scene.thresholds.dry_no_h) if known else None


def _dry_from(scene: Scene, part: PartDryness, rained: datetime | None) -> datetime | None:
    """From when the drying of a part counts: when it looked dry, or would look dry."""
    wettings = [at for at in (part.wetted_at, rained) if at is not None]
    looked = part.looked_dry_at
    if not wettings or (looked is not None and looked >= max(wettings)):
        return looked
    return estimated_dry(scene, max(wettings)) or max(wettings)


def estimated_dry(scene: Scene, wetted: datetime) -> datetime | None:
    """When a slab in the shade would look dry after a wetting; None where that is not known."""
    hours = scene.hours
    if hours is None:
        return None
    return looks_dry_at(
        start=hours.start, wetted=wetted, air_c=hours.air_c, humidity_pct=hours.humidity_pct
    )


def last_rain(scene: Scene) -> datetime | None:
    """The end of the last hour before the pour that wets the slab, as far as is known."""
    limits = scene.thresholds
    end = floor_hour(scene.plan.pour)
    start = end - timedelta(hours=limits.dry_unseen_h)
    amount = scene.stretch("rain_mm", start, end)
    snow = scene.stretch("snow_mm", start, end)
    wet = np.flatnonzero((amount.values >= limits.wetting_mm) | (snow.values > 0))
    return amount.hour(int(wet[-1])) + HOUR if len(wet) else None


def _part(scene: Scene, part: PartDryness, rained: datetime | None) -> Check:
    """One part of the floor, by when it was wetted and when it looked dry."""
    limits, pour = scene.thresholds, scene.plan.pour
    looked = part.looked_dry_at
    # A slab that was seen to dry has been wet, whoever forgot to say when.
    wettings = [at for at in (part.wetted_at or looked, rained) if at is not None]
    if not wettings:
        hours = span(timedelta(hours=limits.dry_care_h))
        return Check("dryness", Level.GO, f"No wetting is known in the {hours} before the pour.")
    wetted = max(wettings)
    # Rain after the slab looked dry starts the drying again.
    if looked is not None and looked < wetted:
        looked = None
    seen = looked is not None
    looked = looked or estimated_dry(scene, wetted)
    level, limit_h = _level(scene, wetted=wetted, looked=looked)
    since = pour - (looked if looked is not None and limit_h == limits.dry_no_h else wetted)
    sentence = _sentence(scene, part, wetted=wetted, looked=looked, level=level, seen=seen)
    value = since.total_seconds() / 3600
    return Check("dryness", level, sentence, looked or wetted, value, limit_h, "h")


def _level(scene: Scene, *, wetted: datetime, looked: datetime | None) -> tuple[Level, float]:
    """What the times come to, and the hours that decide."""
    limits, pour = scene.thresholds, scene.plan.pour
    if (pour - (looked or wetted)) < timedelta(hours=limits.dry_no_h):
        return Level.NO, limits.dry_no_h
    if pour - wetted < timedelta(hours=limits.dry_care_h):
        return Level.CARE, limits.dry_care_h
    if looked is None and pour - wetted < timedelta(hours=limits.dry_unseen_h):
        return Level.CARE, limits.dry_unseen_h
    return Level.GO, limits.dry_care_h


def _sentence(
    scene: Scene,
    part: PartDryness,
    *,
    wetted: datetime,
    looked: datetime | None,
    level: Level,
    seen: bool,
) -> str:
    """What happened, how long ago that is at the pour, and what is needed."""
    limits, say, pour = scene.thresholds, scene.words, scene.plan.pour
    name = part.part[:1].upper() + part.part[1:]
    by = f" {BY[part.wetted_by]}" if part.wetted_by and part.wetted_at == wetted else ""
    told = f"{name} was wet{by} until {say.clock(wetted)}, {span(pour - wetted)} before the pour"
    if looked is not None:
        reckoned = part.estimated or not seen or looked > scene.now
        looks = "is reckoned to look" if reckoned else "looked"
        ago = span(pour - looked) if looked <= pour else "after the pour"
        told += f", and {looks} dry {say.clock(looked)}" + (
            f" ({ago} before it)" if looked <= pour else " (after it)"
        )
    if level is Level.NO:
        at = (looked or wetted) + timedelta(hours=limits.dry_no_h)
        return f"{told}; {limits.dry_no_h:.0f} h dry are needed, so not before {say.clock(at)}."
    if level is Level.CARE:
        meter = "the reading stays with the job" if _metered(scene) else "meter it first"
        unseen = "" if seen else "; nobody noted when it looked dry"
        return f"{told}{unseen}; under {limits.dry_care_h:.0f} h: {meter}."
    return f"{told}; over {limits.dry_care_h:.0f} h."


def _metered(scene: Scene) -> bool:
    return scene.dryness is not None and scene.dryness.metered


def _known_from(scene: Scene, start: datetime) -> datetime:
    """From when the forecast must speak: what somebody told of the slab covers the past."""
    if scene.dryness is None or not scene.dryness.parts:
        return start
    return max(start, scene.dryness.noted_at or scene.now)


def _gap(scene: Scene) -> Check | None:
    """An hour before the pour of which neither amount nor chance is known."""
    pour = scene.plan.pour
    start = _known_from(scene, pour - timedelta(hours=scene.thresholds.dry_care_h))
    end = floor_hour(pour)
    if start >= end:
        return None
    amount = scene.stretch("rain_mm", start, end)
    chance = scene.stretch("rain_chance_pct", start, end)
    gaps = np.flatnonzero(np.isnan(amount.values) & np.isnan(chance.values))
    if not len(gaps):
        return None
    at = amount.hour(int(gaps[0]))
    what = "the days before the pour, and nobody noted that the slab is dry"
    if scene.dryness is not None:
        what = "the time before the pour"
    return Check("dryness", Level.UNKNOWN, scene.unknown_hour(at, what), at=at)


def _may_rain(scene: Scene) -> Check | None:
    """A shower before the pour that is likely enough to look at the slab again."""
    limits, pour = scene.thresholds, scene.plan.pour
    start = max(scene.now, pour - timedelta(hours=limits.dry_no_h))
    end = floor_hour(pour)
    if start >= end:
        return None
    top = scene.stretch("rain_chance_pct", start, end).highest()
    if top is None or top[1] < limits.rain_no_pct:
        return None
    sentence = (
        f"Rain {share(top[1])} from {scene.words.clock(top[0])}, before the pour, would start "
        "the drying again: look at the slab first."
    )
    return Check("dryness", Level.CARE, sentence, top[0], top[1], limits.rain_no_pct, "%")
