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
    # A floor that is spoiled: its crew again, and this share of its price (grind off, coat anew).
    spoiled: float = 300.0
    spoiled_share: float = 0.55
    fresh_day: float = 90.0  # a crew's day that is begun for this floor alone
    later_an_hour: float = 5.0  # of a start that the crew could have made sooner
    lent_person: float = 120.0
    rush_order: float = 25.0
    # The two sides of every call: a crew's lost day with the ringing, and a floor ground off and
    # done again. Choices to be replaced by the branch's own.
    a_move: float = 350.0
    a_ruined_coat: float = 3500.0
    # What is done about a verdict: hands by the person and hour, things by the day.
    hands_an_hour: float = 45.0
    trip: float = 60.0
    early_start: float = 25.0
    canopy: float = 90.0
    curtain: float = 40.0
    tarp: float = 15.0
    heater_a_day: float = 130.0
    meter: float = 10.0
    small_batches: float = 10.0
    moving: float = 80.0

    def loss(self, price: float) -> float:
        """What a spoiled floor of that price comes to."""
        return self.spoiled + self.spoiled_share * price


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
    odds: float = 0.0,
    loss: float = 0.0,
    fresh_days: int = 0,
    lent: int = 0,
    crew_day_price: float = 0.0,
    rushed: str = "",
    later_h: float = 0.0,
) -> tuple[CostPart, ...]:
    """The parts of an offer's cost that are above zero, dearest first.

    `wet_share` is the season's share of wet days, for an open floor beyond the forecast.
    `odds` (0 to 1) are those of a spoiled floor, which costs `loss`. `rushed` names what had to
    be ordered before today to be here by then.
    """
    weather = {
        Level.GO: 0.0,
        Level.CARE: costs.care,
        Level.UNKNOWN: costs.unknown + costs.unknown_a_day * lead_days,
    }.get(level, 10 * costs.unknown)
    parts = (
        CostPart(weather, f"weather: {level.value}"),
        CostPart(odds * loss, f"{100 * odds:.0f} % odds that the weather spoils it"),
        CostPart(costs.travel_an_hour * travel_min / 60, f"{travel_min} min on the road"),
        CostPart(costs.waiting_a_day * waited_days, f"{waited_days} days of waiting"),
        CostPart(costs.idle_an_hour * idle_h, f"{idle_h:.1f} h of the crew's day left over"),
        CostPart(
            costs.enclosed_on_dry_day * takes_dry_day, "a dry day that an open floor could use"
        ),
        CostPart(costs.second_visit * (visits - 1), "the crew comes twice"),
        CostPart(
            costs.fresh_day * fresh_days,
            "a crew's day is begun for this floor alone"
            if fresh_days < 2
            else f"{fresh_days} days of crews are begun for this floor alone",
        ),
        CostPart(
            costs.later_an_hour * later_h, f"begins {later_h:.1f} h later than the crew could"
        ),
        CostPart(costs.lent_person * lent, "somebody of another crew helps"),
        CostPart(crew_day_price, "what this crew's day is worth to other floors"),
        CostPart(costs.rush_order if rushed else 0.0, rushed),
        CostPart(costs.wet_season * wet_share, "what the season usually brings"),
        CostPart(costs.wish_missed * misses_wish, "not the day the customer prefers"),
    )
    return tuple(sorted((p for p in parts if p.amount > 0), key=lambda part: -part.amount))
