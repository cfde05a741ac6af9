"""Rain: the forecast held against the hours in which the floor may not be wetted.

Chances of single hours are never multiplied: hours of one shower are not independent, and a
chance written for a period of six hours says the same of each of them.
"""

from datetime import datetime, timedelta

import numpy as np

from dispatch.rules.counted_rain import counted_rain
from dispatch.rules.covers import Cover, roofed, sheltered
from dispatch.rules.findings import Check, Level, Scene, Stretch, Surface
from dispatch.rules.words import share
from weather.rules.hours import HOUR
from weather.rules.placing import chance_period, lowered, period_of


def rain(scene: Scene, surface: Surface) -> Check | None:
    """Rain between the pour and the hour the floor is rain-safe; nothing under a roof and walls."""
    if sheltered(surface):
        return None
    if scene.plan.rain_safe is None:
        return Check(
            "rain",
            Level.UNKNOWN,
            "It is not known when the floor would be safe from rain.",
        )
    look = _roofed if roofed(surface) else _open
    found = [look(scene, surface, *span) for span in scene.wet_spans(scene.plan.rain_safe)]
    return max(found, key=lambda check: check.level.severity)


def _open(scene: Scene, surface: Surface, start: datetime, until: datetime) -> Check:
    """The worst that rain does to a floor under the sky from `start` to `until`."""
    chance = scene.stretch("rain_chance_pct", start, until)
    amount = scene.stretch("rain_mm", start, until)
    counted = counted_rain(scene, surface, start, until)
    found = [
        counted or _chance(scene, surface, chance, until=until),
        _amount(scene, surface, amount),
        _snow(scene, surface, scene.stretch("snow_mm", start, until)),
    ]
    missing = chance.missing()
    if missing is not None and counted is None:
        found.append(_unknown(scene, missing))
    return max(
        (check for check in found if check is not None),
        key=lambda check: check.level.severity,
    )


def _unknown(scene: Scene, at: datetime) -> Check:
    sentence = scene.unknown_hour(at, "the time until the floor is rain-safe")
    return Check("rain", Level.UNKNOWN, sentence, at=at)


def _chance(scene: Scene, surface: Surface, chance: Stretch, *, until: datetime) -> Check | None:
    """The highest chance of an hour, and what it comes to."""
    top = chance.highest()
    if top is None:
        return None
    at, value = top
    limits = scene.thresholds
    safe = scene.words.clock(until)
    told = f"Rain {share(value)} {period(scene, at)}{surface.where}"
    if value >= limits.rain_no_pct:
        level = Level.NO
        sentence = (
            f"{told}, before the floor is rain-safe at {safe}; limit {share(limits.rain_no_pct)}."
        )
    elif value >= limits.rain_care_pct:
        level, why = _slack(scene, until=until)
        sentence = f"{told}, before the floor is rain-safe at {safe}; {why}."
    elif (elsewhere := _put_elsewhere(scene, chance)) is not None:
        level = Level.CARE
        sentence = f"{elsewhere}{surface.where}, so {share(value)} at most until {safe}."
    elif _derived(scene, chance):
        level = Level.CARE
        sentence = f"{told}: reckoned from amounts, no service wrote a chance."
    else:
        level = Level.GO
        sentence = (
            f"Rain {share(value)} at most until the floor is rain-safe at {safe}; "
            f"limit {share(limits.rain_no_pct)}."
        )
    return Check("rain", level, sentence, at, value, limits.rain_no_pct, "%")


def _slack(scene: Scene, *, until: datetime) -> tuple[Level, str]:
    """What a chance between the two lines comes to: how near the hour of the higher line is."""
    limits = scene.thresholds
    need = timedelta(minutes=limits.rain_slack_min)
    after = scene.stretch("rain_chance_pct", until, until + need)
    high = scene.words.clock
    for position, value in enumerate(after.values):
        at = after.hour(position)
        if value >= limits.rain_no_pct:
            left = max(timedelta(0), at - until)
            return Level.NO, (
                f"{share(value)} follows at {high(at)}, {left.seconds // 60} min later, "
                f"{limits.rain_slack_min} min are needed"
            )
        if np.isnan(value):
            return Level.UNKNOWN, f"the hour from {high(at)} is not known"
    return (
        Level.CARE,
        f"nothing of {share(limits.rain_no_pct)} within {limits.rain_slack_min} min",
    )


def _put_elsewhere(scene: Scene, chance: Stretch) -> str | None:
    """Where a chance that would count was put, if amounts and weather took it off the stretch."""
    hours, limits = scene.hours, scene.thresholds
    if hours is None:
        return None
    first = hours.index(chance.start)
    inside = range(max(0, first), min(len(hours), first + len(chance.values)))
    off = [i for i in inside if lowered(hours)[i] and hours.written_pct[i] >= limits.rain_care_pct]
    if not off:
        return None
    worst = max(off, key=lambda i: float(hours.written_pct[i]))
    say, kept = scene.words.clock, period_of(hours, worst)
    wet = [i for i in range(*kept) if hours.rain_chance_pct[i] == hours.written_pct[worst]]
    return (
        f"Rain {share(float(hours.written_pct[worst]))} of {say(hours.hour(kept[0]))} to "
        f"{say(hours.hour(kept[1]))} falls between {say(hours.hour(wet[0]))} and "
        f"{say(hours.hour(wet[-1] + 1))} by amounts and weather"
    )


def _derived(scene: Scene, chance: Stretch) -> bool:
    """Whether any chance of the stretch was reckoned from amounts."""
    if scene.hours is None:
        return False
    first = scene.hours.index(chance.start)
    last = max(0, first + len(chance.values))
    return bool(scene.hours.chance_derived[max(0, first) : last].any())


def _amount(scene: Scene, surface: Surface, amount: Stretch) -> Check | None:
    """How much falls: an hour that is too wet, a sum that is not nothing, or no word of it."""
    limits, say = scene.thresholds, scene.words
    top = amount.highest()
    if top is not None and top[1] >= limits.rain_hour_no_mm:
        sentence = (
            f"{say.rain(top[1])} of rain in the hour from {say.clock(top[0])}{surface.where}; "
            f"limit {say.rain(limits.rain_hour_no_mm)}."
        )
        return Check("rain", Level.NO, sentence, top[0], top[1], limits.rain_hour_no_mm, "mm")
    total = float(np.nansum(amount.values))
    if top is not None and total >= limits.rain_total_care_mm:
        sentence = (
            f"{say.rain(total)} of rain in all while the floor is wet{surface.where}, most from "
            f"{say.clock(top[0])}; care from {say.rain(limits.rain_total_care_mm)}."
        )
        return Check("rain", Level.CARE, sentence, top[0], total, limits.rain_total_care_mm, "mm")
    missing = amount.missing()
    if missing is None:
        return None
    sentence = f"How much rain falls from {say.clock(missing)}{surface.where} is not known."
    return Check("rain", Level.CARE, sentence, at=missing)


def _snow(scene: Scene, surface: Surface, snow: Stretch) -> Check | None:
    top = snow.highest()
    if top is None or top[1] <= 0:
        return None
    sentence = f"Snow from {scene.words.clock(top[0])}{surface.where} while the floor is wet."
    return Check("rain", Level.NO, sentence, top[0], top[1], 0.0, "mm")


def _roofed(scene: Scene, surface: Surface, start: datetime, until: datetime) -> Check:
    """Rain under a roof with open sides: it takes wind to bring it in."""
    limits, say = scene.thresholds, scene.words
    chance = scene.stretch("rain_chance_pct", start, until)
    gust = scene.stretch("gust_kmh", start, until)
    found: list[Check] = []
    for position, (value, wind) in enumerate(zip(chance.values, gust.values, strict=True)):
        at = chance.hour(position)
        level = roofed_level(scene, chance_pct=value, gust_kmh=wind)
        if level is Level.UNKNOWN:
            found.append(_unknown(scene, at))
        elif level is not Level.GO:
            roof = "under a canopy" if surface.cover is Cover.CANOPY else "roofed"
            sentence = (
                f"Rain {share(value)} with gusts of {say.wind(wind)} {period(scene, at)}"
                f"{surface.where}, {roof} but open at the sides; limits "
                f"{share(limits.roofed_no_pct)} and {say.wind(limits.roofed_gust_kmh)}."
            )
            found.append(Check("rain", level, sentence, at, value, limits.roofed_no_pct, "%"))
    if found:
        return max(found, key=lambda check: check.level.severity)
    top = chance.highest()
    value = top[1] if top else 0.0
    level = Level.CARE if _derived(scene, chance) else Level.GO
    line = limits.roofed_care_pct
    sentence = f"Rain {share(value)} at most{surface.where}, under a roof; care from {share(line)}."
    return Check("rain", level, sentence, top[0] if top else None, value, line, "%")


def roofed_level(scene: Scene, *, chance_pct: float, gust_kmh: float) -> Level:
    """What one hour means to a floor under a roof with open sides."""
    limits = scene.thresholds
    if np.isnan(chance_pct):
        return Level.UNKNOWN
    if chance_pct >= limits.rain_care_pct and np.isnan(gust_kmh):
        return Level.UNKNOWN
    windy = gust_kmh >= limits.roofed_gust_kmh
    if chance_pct > limits.roofed_no_pct and windy:
        return Level.NO
    driven = windy and chance_pct >= limits.rain_care_pct
    return Level.CARE if driven or chance_pct >= limits.roofed_care_pct else Level.GO


def cover(scene: Scene, surface: Surface) -> Check | None:
    """Gusts against what was put up to keep rain off; nothing where nothing was."""
    if surface.cover is None or scene.plan.rain_safe is None:
        return None
    say, title = scene.words, surface.cover.said
    title = f"{title[0].upper()}{title[1:]}"
    limit = surface.cover.gust_limit_kmh(scene.thresholds)
    gusts = scene.stretch("gust_kmh", scene.plan.pour, scene.plan.rain_safe)
    top, missing = gusts.highest(), gusts.missing()
    if top is not None and top[1] > limit:
        sentence = (
            f"{title} does not stand gusts of {say.wind(top[1])} from {say.clock(top[0])}; it "
            f"holds to {say.wind(limit)}."
        )
        return Check("cover", Level.NO, sentence, top[0], top[1], limit, "km/h")
    if top is None or missing is not None:
        at = missing or scene.plan.pour
        sentence = f"Gusts: {scene.unknown_hour(at, 'the time until the floor is rain-safe')}"
        return Check("cover", Level.UNKNOWN, sentence, at=at)
    sentence = f"{title} holds to {say.wind(limit)}; gusts reach {say.wind(top[1])}."
    return Check("cover", Level.GO, sentence, top[0], top[1], limit, "km/h")


def period(scene: Scene, at: datetime) -> str:
    """When the chance of the hour `at` holds, as the service wrote it or put it in its period.

    "from 6 PM" for a chance by the hour, "between 2 PM and 8 PM" for one of six hours: which
    hour of the six is not known, so none is named.
    """
    start, end = chance_period(scene.hours, at)
    if end - start > HOUR:
        return f"between {scene.words.clock(start)} and {scene.words.clock(end)}"
    return f"from {scene.words.clock(start)}"
