"""Checks: one function for each limit of air, night and forecast. Each returns its finding.

Those of rain, of the drying before it and of the slab have modules of their own; `ALL` is
the list of every check that a verdict is made of.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from math import isnan

import numpy as np

from dispatch.rules.dryness import dryness
from dispatch.rules.findings import Check, Level, Scene, Stretch, Surface, slab_stretch
from dispatch.rules.rain import cover, rain
from dispatch.rules.slab_checks import bubbles, dew, slab
from dispatch.rules.water import water
from dispatch.rules.words import share
from weather.rules.exposures import Exposure
from weather.rules.moist_air import grains_per_lb

SurfaceCheck = Callable[[Scene, Surface], Check | None]
SceneCheck = Callable[[Scene], Check | None]
Span = tuple[datetime, datetime]


def wind(scene: Scene, surface: Surface) -> Check | None:
    """Gusts over an open floor: over flake while it flies, over wet resin until tack-free."""
    if not surface.exposure.open:
        return None
    plan, limits = scene.plan, scene.thresholds
    if plan.tack_free is None:
        return Check("wind", Level.UNKNOWN, "It is not known when the floor would be tack-free.")
    flake = _gusts(
        scene,
        (plan.pour, plan.base_end),
        care_kmh=limits.flake_gust_care_kmh,
        no_kmh=limits.flake_gust_no_kmh,
        what="while flake flies",
    )
    resin = _gusts(
        scene,
        (plan.pour, plan.tack_free),
        care_kmh=limits.gust_care_kmh,
        no_kmh=limits.gust_no_kmh,
        what="while the floor is tacky",
    )
    return max(flake, resin, key=lambda check: check.level.severity)


def _gusts(scene: Scene, span: Span, *, care_kmh: float, no_kmh: float, what: str) -> Check:
    """The strongest gust of a span against two lines."""
    say = scene.words
    gusts = scene.stretch("gust_kmh", *span)
    top, missing = gusts.highest(), gusts.missing()
    if top is None or (missing is not None and top[1] <= no_kmh):
        at = missing or span[0]
        sentence = f"Gusts: {scene.unknown_hour(at, f'the time {what}')}"
        return Check("wind", Level.UNKNOWN, sentence, at=at)
    at, value = top
    level = Level.NO if value > no_kmh else Level.CARE if value >= care_kmh else Level.GO
    sentence = (
        f"Gusts of {say.wind(value)} from {say.clock(at)} {what}; care from "
        f"{say.wind(care_kmh)}, limit {say.wind(no_kmh)}."
    )
    return Check("wind", level, sentence, at, value, no_kmh, "km/h")


def coating_spans(scene: Scene) -> tuple[Span, Span]:
    """When resin goes down: the base and the top."""
    plan = scene.plan
    return (plan.pour, plan.base_end), (plan.top_start, plan.top_end)


def humidity(scene: Scene, surface: Surface) -> Check | None:
    """Humidity of the air while resin goes down, and until the floor is tack-free."""
    highest = scene.card.humidity_max_pct
    care_pct = highest - scene.thresholds.humidity_care_below_pct
    found = [
        _humid(scene, span, no_pct=highest, care_pct=care_pct) for span in coating_spans(scene)
    ]
    if scene.plan.tack_free is not None:
        # What comes after the last stroke slows the cure, but nobody stands in it with a roller.
        tacky = scene.wet_spans(scene.plan.tack_free)
        found += [_humid(scene, span, no_pct=None, care_pct=highest) for span in tacky]
    worst = max(found, key=lambda check: check.level.severity)
    return _indoors(surface, worst)


def _humid(scene: Scene, span: Span, *, no_pct: float | None, care_pct: float) -> Check:
    """The most humid hour of a span."""
    air = scene.stretch("humidity_pct", *span)
    top, missing = air.highest(), air.missing()
    wet = top is not None and no_pct is not None and top[1] > no_pct
    if top is None or (missing is not None and not wet):
        at = missing or span[0]
        sentence = f"Humidity: {scene.unknown_hour(at, 'the time until it is tack-free')}"
        return Check("humidity", Level.UNKNOWN, sentence, at=at)
    at, value = top
    level = Level.NO if wet else Level.CARE if value > care_pct else Level.GO
    limit = no_pct if no_pct is not None else care_pct
    sentence = (
        f"Humidity {share(value)} from {scene.words.clock(at)}; the system's limit is "
        f"{share(limit)}."
    )
    return Check("humidity", level, sentence, at, value, limit, "%")


def _indoors(surface: Surface, check: Check) -> Check:
    """In a house the air is another than the forecast's, so a no becomes a meter reading."""
    if surface.exposure is not Exposure.INTERIOR or check.level is not Level.NO:
        return check
    sentence = f"{check.sentence[:-1]}, but that is air from outside: meter the room first."
    return Check(check.name, Level.CARE, sentence, check.at, check.value, check.limit, check.unit)


def dry_air(scene: Scene, surface: Surface) -> Check | None:
    """Water in the air for a system that cures by it; nothing for the others."""
    least = scene.card.humidity_min_grains
    if least is None:
        return None
    spans = [scene.stretch("dew_c", *span) for span in coating_spans(scene)]
    dew_c = np.concatenate([span.values for span in spans])
    starts = [span.hour(position) for span in spans for position in range(len(span.values))]
    grains = grains_per_lb(dew_c=dew_c)
    known = np.flatnonzero(~np.isnan(grains))
    position = int(known[np.argmin(grains[known])]) if len(known) else None
    if position is not None and grains[position] < least:
        at, value = starts[position], float(grains[position])
        sentence = (
            f"Air holds {value:.0f} grains of water per lb from {scene.words.clock(at)}; the "
            f"system cures by water and needs {least:.0f}."
        )
        check = Check("dry air", Level.NO, sentence, at, value, least, "gr/lb")
        return _indoors(surface, check)
    if len(known) < len(grains) or position is None:
        at = starts[int(np.flatnonzero(np.isnan(grains))[0])]
        sentence = f"Dew point: {scene.unknown_hour(at, 'the time while resin goes down')}"
        return Check("dry air", Level.UNKNOWN, sentence, at=at)
    value = float(grains[position])
    sentence = f"Air holds {value:.0f} grains of water per lb; {least:.0f} are needed."
    return Check("dry air", Level.GO, sentence, starts[position], value, least, "gr/lb")


def air(scene: Scene, surface: Surface) -> Check | None:
    """Temperature of the air when each coat starts; nothing where the card has no limit."""
    card = scene.card
    if surface.exposure is Exposure.INTERIOR or (card.air_min_c, card.air_max_c) == (
        None,
        None,
    ):
        return None
    found = [_air_at(scene, "base coat", scene.plan.pour)]
    found.append(_air_at(scene, "top coat", scene.plan.top_start))
    worst = max(found, key=lambda check: check.level.severity)
    return _in_a_garage(worst) if surface.exposure is Exposure.GARAGE else worst


def _in_a_garage(check: Check) -> Check:
    """Cold air outdoors says meter first: a closed garage keeps its warmth for a day and more.

    Its slab is judged by itself. On a year of real hours no floor that this limit alone refused
    came to harm (`manage.py backtest`); heat was not met there and stays as it is.
    """
    value, limit = check.value, check.limit
    if check.level is not Level.NO or value is None or limit is None or value > limit:
        return check
    sentence = f"{check.sentence[:-1]}, but that is air outdoors: meter the closed garage first."
    return replace(check, level=Level.CARE, sentence=sentence)


def _air_at(scene: Scene, coat: str, at: datetime) -> Check:
    card, say = scene.card, scene.words
    value = float(scene.stretch("air_c", at, at + timedelta(microseconds=1)).values[0])
    if isnan(value):
        sentence = f"Air: {scene.unknown_hour(at, f'the {coat}')}"
        return Check("air", Level.UNKNOWN, sentence, at=at)
    told = f"Air {say.temperature(value)} for the {coat} at {say.clock(at)}"
    if card.air_min_c is not None and value < card.air_min_c:
        sentence = f"{told} is too cold; {say.temperature(card.air_min_c)} or more are needed."
        return Check("air", Level.NO, sentence, at, value, card.air_min_c, "°C")
    if card.air_max_c is not None and value > card.air_max_c:
        sentence = f"{told} is too hot; {say.temperature(card.air_max_c)} is the limit."
        return Check("air", Level.NO, sentence, at, value, card.air_max_c, "°C")
    return Check("air", Level.GO, f"{told} is within the card.", at, value, None, "°C")


def night(scene: Scene, surface: Surface) -> Check | None:
    """The slab after the crew has gone until drive-on: whether the floor goes on curing."""
    plan, card, say = scene.plan, scene.card, scene.words
    if plan.drive_on is None:
        level = Level.CARE if surface.slab is not None else Level.UNKNOWN
        sentence = f"No drive-on can be promised: {plan.drive_on_basis or 'the card gives none'}."
        return Check("night", level, sentence)
    if surface.slab is None:
        return Check("night", Level.UNKNOWN, "The slab's night is not known.")
    gone = plan.top_end
    after = slab_stretch(surface.slab, gone, plan.drive_on)
    low, missing = after.lowest(), after.missing()
    if low is not None and low[1] < max(card.stop_c, card.slab_min_c):
        stops = "and cure stops" if low[1] < card.stop_c else "and cure slows"
        sentence = (
            f"Slab{surface.where} falls to {say.temperature(low[1])} at {say.clock(low[0])} "
            f"before drive-on, {stops}: keep it warm or promise a later drive-on."
        )
        cold = Check("night", Level.CARE, sentence, low[0], low[1], card.slab_min_c, "°C")
        if missing is None or missing >= gone + timedelta(hours=scene.thresholds.night_h):
            return cold
    return _night_known(scene, after, gone=gone)


def _night_known(scene: Scene, after: Stretch, *, gone: datetime) -> Check:
    """A night that is warm enough as far as it is known."""
    missing = after.missing()
    low = after.lowest()
    if missing is not None:
        first = missing < gone + timedelta(hours=scene.thresholds.night_h)
        level = Level.UNKNOWN if first else Level.CARE
        sentence = f"The slab is not known from {scene.words.clock(missing)} until drive-on."
        return Check("night", level, sentence, at=missing)
    if low is None:
        return Check("night", Level.GO, "The floor is driven on before the crew has gone.")
    sentence = f"Slab stays at {scene.words.temperature(low[1])} or more until drive-on."
    return Check("night", Level.GO, sentence, low[0], low[1], scene.card.stop_c, "°C")


def forecast(scene: Scene) -> Check | None:
    """How old the forecast is, from when the service made it and not from when we fetched it."""
    limits = scene.thresholds
    if scene.hours is None:
        return Check("forecast", Level.UNKNOWN, "No forecast is held for this place.")
    issued = scene.hours.issued_at
    if issued is None:
        return Check("forecast", Level.UNKNOWN, "It is not known when the forecast was made.")
    age_h = (scene.now - issued).total_seconds() / 3600
    told = f"The forecast is {max(0.0, age_h):.0f} h old"
    # Clocks differ by minutes, never by an hour: such a stamp says nothing of the age.
    if age_h < -1:
        level, sentence = (
            Level.UNKNOWN,
            "The forecast's stamp lies in the future: age not known.",
        )
    elif age_h > limits.age_unknown_h:
        level = Level.UNKNOWN
        sentence = f"{told}; over {limits.age_unknown_h:.0f} h it says nothing."
    elif age_h > limits.age_care_h:
        level, sentence = Level.CARE, f"{told}; care over {limits.age_care_h:.0f} h."
    else:
        level, sentence = Level.GO, f"{told}."
    return Check("forecast", level, sentence, issued, age_h, limits.age_unknown_h, "h")


def closing(scene: Scene) -> Check | None:
    """The hour by which the site must be left, against the end of the crew's day."""
    if scene.day_end is None:
        return None
    end = visit_end(scene)
    say = scene.words
    late = end > scene.day_end
    level = Level.NO if late else Level.GO
    verb = "after" if late else "before"
    sentence = (
        f"The crew leaves at {say.clock(end)}, {verb} the {scene.day_end_words} at "
        f"{say.clock(scene.day_end)}."
    )
    return Check("closing", level, sentence, scene.day_end)


def foot(scene: Scene) -> Check | None:
    """A note, never a reason to stop: the floor is tacky when nobody is left to watch it."""
    plan, say = scene.plan, scene.words
    if plan.tack_free is None or plan.tack_free <= plan.end:
        return None
    sentence = (
        f"Tack-free at {say.clock(plan.tack_free)}, after the crew has left at "
        f"{say.clock(plan.end)}: close the floor off."
    )
    return Check("foot", Level.GO, sentence, plan.tack_free)


def recoat(scene: Scene) -> Check | None:
    """A note: by when the top must follow a base that waits for another visit."""
    plan, say = scene.plan, scene.words
    if plan.base_rain_safe is None:
        return None
    told = f"The top may follow from {say.clock(plan.recoat_from)}"
    by = say.clock(plan.recoat_until)
    sentence = f"{told} and must by {by}, or the base is abraded first."
    if plan.abraded:
        sentence = f"{told}; after {by} the base is abraded first, as is planned."
    return Check("recoat", Level.GO, sentence, plan.recoat_until)


def visit_end(scene: Scene) -> datetime:
    """When the crew leaves on the day of the pour."""
    for visit in scene.plan.visits:
        if visit.start <= scene.plan.pour < visit.end:
            return visit.end
    return scene.plan.end


OF_SURFACE: tuple[SurfaceCheck, ...] = (
    rain,
    cover,
    dew,
    slab,
    wind,
    humidity,
    dry_air,
    air,
    night,
    bubbles,
)
OF_SCENE: tuple[SceneCheck, ...] = (forecast, dryness, water, closing, recoat, foot)


def every(scene: Scene) -> Iterator[Check]:
    """The findings of all checks, for the floor and each of its parts."""
    for ask in OF_SCENE:
        found = ask(scene)
        if found is not None:
            yield found
    for surface in scene.surfaces:
        for look in OF_SURFACE:
            found = look(scene, surface)
            if found is not None:
                yield found
