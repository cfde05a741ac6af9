"""What a second forecast service says differently of a floor's day, in one sentence."""

from dispatch.rules.words import Words, share
from weather.rules.differences import Differences


def second_sentence(found: Differences, *, title: str, words: Words, open_floor: bool) -> str:
    """ "MET Norway says otherwise: ..."; empty where nothing that matters differs.

    Rain matters to open floors only. The first service's numbers stay those of the verdict.
    """
    parts = []
    if found.chance_pct is not None and open_floor:
        chance = found.chance_pct
        parts.append(
            f"rain {share(chance.second)} where the verdict rests on {share(chance.first)}, "
            f"around {words.clock(chance.at)}"
        )
    if found.air_c is not None:
        air = found.air_c
        parts.append(
            f"{words.temperature(air.second)} where the verdict rests on "
            f"{words.temperature(air.first)}, at {words.clock(air.at)}"
        )
    return f"{title} says otherwise: {'; '.join(parts)}." if parts else ""


def ground_sentence(
    *, ground_c: float, slab_c: float, most_c: float, title: str, words: Words
) -> str:
    """What a service says of bare ground at the pour, where our slab is reckoned otherwise.

    Empty where either is unknown or they agree; a slab is no bare ground, so it says so.
    """
    if not abs(ground_c - slab_c) >= most_c:
        return ""
    return (
        f"{title} has bare ground at {words.temperature(ground_c)} at the pour, and this slab is "
        f"reckoned at {words.temperature(slab_c)}: a reading on site decides."
    )
