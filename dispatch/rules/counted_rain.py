"""Rain counted over the members of an ensemble: in how many of its stories is the floor wetted?

Each member is asked about the whole time the floor must stay dry, so a long window is one
question and no hours are multiplied.
"""

from datetime import datetime, timedelta

import numpy as np

from dispatch.rules.findings import Check, Level, Scene, Surface
from dispatch.rules.words import share
from weather.rules.members import wet_within_pct


def counted_rain(scene: Scene, surface: Surface, start: datetime, until: datetime) -> Check | None:
    """What the members say of [`start`, `until`); None where there are none for all of it."""
    value = wet_within_pct(scene.hours, start, until)
    if np.isnan(value):
        return None
    limits, clock = scene.thresholds, scene.words.clock
    told = (
        f"Rain {share(value)} between {clock(start)} and {clock(until)}{surface.where}, counted "
        "over the members of an ensemble"
    )
    if value >= limits.rain_no_pct:
        level, sentence = Level.NO, f"{told}; limit {share(limits.rain_no_pct)}."
    elif value >= limits.rain_care_pct:
        level, why = _after(scene, until)
        sentence = f"{told}; {why}."
    else:
        level, sentence = Level.GO, f"{told}; limit {share(limits.rain_no_pct)}."
    return Check("rain", level, sentence, start, value, limits.rain_no_pct, "%")


def _after(scene: Scene, until: datetime) -> tuple[Level, str]:
    """What a chance between the two lines comes to: whether more rain follows at once."""
    limits = scene.thresholds
    value = wet_within_pct(scene.hours, until, until + timedelta(minutes=limits.rain_slack_min))
    if np.isnan(value):
        return Level.UNKNOWN, f"the hour from {scene.words.clock(until)} is not known"
    if value >= limits.rain_no_pct:
        return Level.NO, (
            f"{share(value)} follows within {limits.rain_slack_min} min of "
            f"{scene.words.clock(until)}, when the floor would be rain-safe"
        )
    return (
        Level.CARE,
        f"nothing of {share(limits.rain_no_pct)} within {limits.rain_slack_min} min of its end",
    )
