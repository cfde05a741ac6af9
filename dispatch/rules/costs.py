"""What an offer costs, in units of money that the branch sets; each part can be shown."""

from dataclasses import dataclass

from dispatch.rules.findings import Level


@dataclass(frozen=True)
class Costs:
    """Prices of the things that make one day better than another; defaults are choices."""

    care: float = 120.0
    unknown: float = 180.0
    unknown_a_day: float = 5.0
    travel_an_hour: float = 70.0
    waiting_a_day: float = 12.0
    idle_an_hour: float = 15.0
    enclosed_on_dry_day: float = 40.0
    wish_missed: float = 60.0
    second_visit: float = 150.0
    wet_season: float = 150.0


@dataclass(frozen=True)
class CostPart:
    """One part of an offer's cost, with the reason in words."""

    amount: float
    why: str


def cost_parts(
    *,
    costs: Costs,
    level: Level,
    lead_days: int,
    travel_min: int,
    waited_days: int,
    idle_h: float,
    takes_dry_day: bool,
    misses_wish: bool,
    visits: int,
    wet_share: float = 0.0,
) -> tuple[CostPart, ...]:
    """The parts of an offer's cost that are above zero, dearest first.

    `wet_share` is the season's share of wet days, for an open floor beyond the forecast.
    """
    weather = {
        Level.GO: 0.0,
        Level.CARE: costs.care,
        Level.UNKNOWN: costs.unknown + costs.unknown_a_day * lead_days,
    }.get(level, 10 * costs.unknown)
    parts = (
        CostPart(weather, f"weather: {level.value}"),
        CostPart(costs.travel_an_hour * travel_min / 60, f"{travel_min} min on the road"),
        CostPart(costs.waiting_a_day * waited_days, f"{waited_days} days of waiting"),
        CostPart(costs.idle_an_hour * idle_h, f"{idle_h:.1f} h of the crew's day left over"),
        CostPart(
            costs.enclosed_on_dry_day * takes_dry_day, "a dry day that an open floor could use"
        ),
        CostPart(costs.second_visit * (visits - 1), "the crew comes twice"),
        CostPart(costs.wet_season * wet_share, "what the season usually brings"),
        CostPart(costs.wish_missed * misses_wish, "not the day the customer prefers"),
    )
    return tuple(sorted((p for p in parts if p.amount > 0), key=lambda part: -part.amount))
