"""Checks on the slab itself: its temperature at each coat, and how far it is above dew."""

from datetime import datetime, timedelta
from math import isnan

import numpy as np

from dispatch.rules.findings import Check, Level, Scene, Stretch, Surface, slab_stretch
from weather.rules.exposures import Exposure
from weather.rules.hours import SlabHours

METER_FIRST = "meter the slab first"


def gap_over_dew(
    scene: Scene, slab: SlabHours, start: datetime, end: datetime
) -> Stretch:
    """Slab minus dew point (°C) by the hour over [`start`, `end`)."""
    surface = slab_stretch(slab, start, end)
    dew = scene.stretch("dew_c", start, end)
    return Stretch(surface.start, surface.values - dew.values)


def dew(scene: Scene, surface: Surface) -> Check:
    """The smallest margin of the slab over the dew point from the pour to tack-free.

    The slab lags the air by days, so air minus dew point would pass a floor that sweats. A
    garage's door stands open for hoses and trailer, so the dew point outside counts there.
    """
    plan = scene.plan
    if surface.slab is None:
        return Check(
            "dew", Level.UNKNOWN, f"Slab temperature{surface.where} is not known."
        )
    if plan.tack_free is None:
        return Check(
            "dew", Level.UNKNOWN, "It is not known when the floor would be tack-free."
        )
    gap = gap_over_dew(scene, surface.slab, plan.pour, plan.tack_free)
    low, missing = gap.lowest(), gap.missing()
    level = _dew_level(scene, surface, low[1]) if low else Level.GO
    if missing is not None and level is not Level.NO:
        return Check(
            "dew", Level.UNKNOWN, _dew_missing(scene, surface, missing), at=missing
        )
    assert low is not None  # otherwise the first hour would be missing
    sentence = _dew_sentence(scene, surface, at=low[0], gap_c=low[1], level=level)
    return Check("dew", level, sentence, low[0], low[1], scene.card.spread_min_c, "°C")


def _dew_level(scene: Scene, surface: Surface, gap_c: float) -> Level:
    if gap_c < scene.card.spread_min_c:
        # The air in a house is not the air of the forecast, so it takes a meter to say no.
        return Level.CARE if surface.exposure is Exposure.INTERIOR else Level.NO
    if gap_c < scene.card.spread_amber_c or surface.weak:
        return Level.CARE
    return Level.GO


def _dew_missing(scene: Scene, surface: Surface, at: datetime) -> str:
    """Which of the two is not known: the slab's hour or the air's."""
    assert surface.slab is not None
    if isnan(surface.slab.at_c(at)):
        return f"Slab temperature{surface.where} from {scene.words.clock(at)} is not known."
    return scene.unknown_hour(at, "the time until the floor is tack-free")


def _dew_sentence(
    scene: Scene, surface: Surface, *, at: datetime, gap_c: float, level: Level
) -> str:
    """Slab and dew point, both in numbers, and the hour."""
    assert surface.slab is not None
    say, need = scene.words, scene.card.spread_min_c
    slab_c = surface.slab.at_c(at)
    side = "Slab" if not surface.weak else "Slab, on the cold side of a weak estimate,"
    above = "above" if gap_c >= 0 else "below"
    told = (
        f"{side} {say.temperature(slab_c)}{surface.where} is {say.difference(abs(gap_c))} {above} "
        f"the dew point {say.temperature(slab_c - gap_c)} from {say.clock(at)}; "
        f"{say.difference(need)} above it are needed"
    )
    if level is Level.NO:
        return f"{told}."
    if surface.exposure is Exposure.INTERIOR and gap_c < need:
        return f"{told}: that is air from outside, {METER_FIRST}."
    if surface.weak:
        return f"{told}: {METER_FIRST}."
    return f"{told}."


def slab(scene: Scene, surface: Surface) -> Check:
    """The slab's temperature when each coat starts, and while the base sets."""
    plan = scene.plan
    coats = [
        _coat(scene, surface, "base coat", plan.pour),
        _coat(scene, surface, "top coat", plan.top_start),
    ]
    falling = _falling(scene, surface)
    if falling is not None:
        coats.append(falling)
    return max(coats, key=lambda check: check.level.severity)


def _coat(scene: Scene, surface: Surface, coat: str, at: datetime) -> Check:
    """The slab at the start of one coat against the card."""
    card, say = scene.card, scene.words
    planned = (
        scene.plan.slab_at_pour_c if at == scene.plan.pour else scene.plan.slab_at_top_c
    )
    cold, mid, warm = slab_sides(surface, at, planned)
    if isnan(cold) or isnan(mid):
        sentence = f"Slab temperature{surface.where} for the {coat} at {say.clock(at)} is not known"
        return Check("slab", Level.UNKNOWN, f"{sentence}: {METER_FIRST}.", at=at)
    start = f"{coat} at {say.clock(at)}"
    if cold < card.slab_min_c:
        told = f"Slab {say.temperature(cold)}{surface.where} for the {start}"
        sentence = f"{told} is too cold; {say.temperature(card.slab_min_c)} or more are needed."
        return Check("slab", Level.NO, sentence, at, cold, card.slab_min_c, "°C")
    if mid > card.slab_max_c:
        told = f"Slab {say.temperature(mid)}{surface.where} for the {start}"
        sentence = (
            f"{told} is too hot; {say.temperature(card.slab_max_c)} is the limit."
        )
        return Check("slab", Level.NO, sentence, at, mid, card.slab_max_c, "°C")
    if warm > card.slab_amber_above_c:
        sentence = (
            f"Slab {say.temperature(warm)}{surface.where} for the {start} is near the limit of "
            f"{say.temperature(card.slab_max_c)}: smaller batches."
        )
        return Check("slab", Level.CARE, sentence, at, warm, card.slab_max_c, "°C")
    told = f"Slab {say.temperature(cold)}{surface.where} for the {start}"
    if cold < card.slab_amber_below_c:
        sentence = f"{told} is near the least, {say.temperature(card.slab_min_c)}: it sets slowly."
        return Check("slab", Level.CARE, sentence, at, cold, card.slab_min_c, "°C")
    if surface.weak:
        sentence = f"{told} is a weak estimate: {METER_FIRST}."
        return Check("slab", Level.CARE, sentence, at, cold, card.slab_min_c, "°C")
    limits = f"{say.temperature(card.slab_min_c)} to {say.temperature(card.slab_max_c)}"
    return Check(
        "slab", Level.GO, f"{told}; {limits}.", at, cold, card.slab_min_c, "°C"
    )


def slab_sides(
    surface: Surface, at: datetime, planned_c: float
) -> tuple[float, float, float]:
    """Slab (°C) at `at` as judged, in the middle and on the warm side.

    Where no hours of the slab are held, what the plan was reckoned with stands for all three.
    """
    if surface.slab is None or surface.mid is None or surface.warm is None:
        return planned_c, planned_c, planned_c
    return surface.slab.at_c(at), surface.mid.at_c(at), surface.warm.at_c(at)


def _falling(scene: Scene, surface: Surface) -> Check | None:
    """A slab that falls below the least temperature before the base has set."""
    if surface.slab is None:
        return None
    plan, card, say = scene.plan, scene.card, scene.words
    end = max(plan.recoat_from, plan.pour + timedelta(microseconds=1))
    setting = slab_stretch(surface.slab, plan.pour, end)
    below = np.flatnonzero(setting.values < card.slab_min_c)
    if len(below):
        at, value = setting.hour(int(below[0])), float(setting.values[below[0]])
        sentence = (
            f"Slab{surface.where} falls to {say.temperature(value)} at {say.clock(at)} before the "
            f"base has set; {say.temperature(card.slab_min_c)} or more are needed."
        )
        return Check("slab", Level.NO, sentence, at, value, card.slab_min_c, "°C")
    missing = setting.missing()
    if missing is None:
        return None
    sentence = (
        f"Slab temperature{surface.where} from {say.clock(missing)} is not known."
    )
    return Check("slab", Level.UNKNOWN, sentence, at=missing)
