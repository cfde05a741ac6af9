"""Checks on the slab itself: its temperature at each coat, and how far it is above dew."""

from datetime import datetime, timedelta
from math import isnan

import numpy as np

from dispatch.rules.findings import Check, Level, Scene, Stretch, Surface, slab_stretch
from weather.rules.exposures import Exposure
from weather.rules.hours import SlabHours

METER_FIRST = "meter the slab first"


def gap_over_dew(scene: Scene, slab: SlabHours, start: datetime, end: datetime) -> Stretch:
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
        return Check("dew", Level.UNKNOWN, f"Slab temperature{surface.where} is not known.")
    if plan.tack_free is None:
        return Check("dew", Level.UNKNOWN, "It is not known when the floor would be tack-free.")
    spans = scene.wet_spans(plan.tack_free)
    found = [_dew_over(scene, surface, surface.slab, *span) for span in spans]
    return max(found, key=lambda check: check.level.severity)


def _dew_over(
    scene: Scene, surface: Surface, slab: SlabHours, start: datetime, end: datetime
) -> Check:
    """The smallest margin over the dew point from `start` to `end`."""
    gap = gap_over_dew(scene, slab, start, end)
    low, missing = gap.lowest(), gap.missing()
    level = _dew_level(scene, surface, low[1]) if low else Level.UNKNOWN
    if low is None or (missing is not None and level is not Level.NO):
        at = missing or start
        if isnan(slab.at_c(at)):
            told = f"Slab temperature{surface.where} from {scene.words.clock(at)} is not known."
        else:
            told = scene.unknown_hour(at, "the time until the floor is tack-free")
        return Check("dew", Level.UNKNOWN, told, at=at)
    told = _dew_sentence(scene, surface, at=low[0], slab_c=slab.at_c(low[0]), gap_c=low[1])
    return Check("dew", level, told, low[0], low[1], scene.card.spread_min_c, "°C")


def _dew_level(scene: Scene, surface: Surface, gap_c: float) -> Level:
    if gap_c < scene.card.spread_min_c:
        # The air in a house is not the air of the forecast, so it takes a meter to say no.
        return Level.CARE if surface.exposure is Exposure.INTERIOR else Level.NO
    if gap_c < scene.card.spread_amber_c or surface.weak:
        return Level.CARE
    return Level.GO


def _dew_sentence(
    scene: Scene, surface: Surface, *, at: datetime, slab_c: float, gap_c: float
) -> str:
    """Slab and dew point, both in numbers, and the hour."""
    say, need = scene.words, scene.card.spread_min_c
    side = "Slab, on the cold side of a weak estimate," if surface.weak else "Slab"
    above = "above" if gap_c >= 0 else "below"
    told = (
        f"{side} {say.temperature(slab_c)}{surface.where} is {say.difference(abs(gap_c))} {above} "
        f"the dew point {say.temperature(slab_c - gap_c)} from {say.clock(at)}; "
        f"{say.difference(need)} above it are needed"
    )
    if surface.exposure is Exposure.INTERIOR and gap_c < need:
        return f"{told}: that is air from outside, {METER_FIRST}."
    return f"{told}: {METER_FIRST}." if surface.weak else f"{told}."


def bubbles(scene: Scene, surface: Surface) -> Check | None:
    """A note, never a reason to stop: a slab that warms under a wet base pushes air out."""
    if surface.slab is None:
        return None
    before, after = surface.slab.at_c(scene.plan.pour), surface.slab.at_c(scene.plan.base_end)
    if not after > before:
        return None
    rise, until = scene.words.difference(after - before), scene.words.clock(scene.plan.base_end)
    sentence = f"Slab{surface.where} warms by {rise} until {until} as the base goes down: watch "
    return Check(
        "bubbles", Level.GO, f"{sentence}for bubbles.", scene.plan.base_end, after - before
    )


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
    clock = scene.words.clock(at)
    planned = scene.plan.slab_at_pour_c if at == scene.plan.pour else scene.plan.slab_at_top_c
    cold, mid, warm = slab_sides(surface, at, planned)
    if isnan(cold) or isnan(mid):
        told = f"Slab temperature{surface.where} for the {coat} at {clock} is not known"
        return Check("slab", Level.UNKNOWN, f"{told}: {METER_FIRST}.", at=at)
    level, value, limit, told = _against_card(scene, surface, cold=cold, mid=mid, warm=warm)
    start = f"Slab {scene.words.temperature(value)}{surface.where} for the {coat} at {clock}"
    return Check("slab", level, f"{start} {told}.", at, value, limit, "°C")


def _against_card(
    scene: Scene, surface: Surface, *, cold: float, mid: float, warm: float
) -> tuple[Level, float, float, str]:
    """Level, deciding value and limit (°C), and the words for them.

    Cold is judged on the side named so, heat on the middle, with care from the warm side on.
    """
    card, say = scene.card, scene.words
    least, most = say.temperature(card.slab_min_c), say.temperature(card.slab_max_c)
    low, high = card.slab_min_c, card.slab_max_c
    if cold < low:
        return Level.NO, cold, low, f"is too cold; {least} or more are needed"
    if mid > high:
        return Level.NO, mid, high, f"is too hot; {most} is the limit"
    if warm > card.slab_amber_above_c:
        return Level.CARE, warm, high, f"is near the limit of {most}: smaller batches"
    if cold < card.slab_amber_below_c:
        return Level.CARE, cold, low, f"is near the least, {least}: it sets slowly"
    if surface.weak:
        return Level.CARE, cold, low, f"is a weak estimate: {METER_FIRST}"
    return Level.GO, cold, low, f"is within {least} to {most}"


def slab_sides(surface: Surface, at: datetime, planned_c: float) -> tuple[float, float, float]:
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
    sentence = f"Slab temperature{surface.where} from {say.clock(missing)} is not known."
    return Check("slab", Level.UNKNOWN, sentence, at=missing)
