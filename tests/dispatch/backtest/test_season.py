"""A season of the backtest: the same each time, and nothing lost or made on the way."""

import json
import xml.etree.ElementTree as ET
from dataclasses import dataclass, field, replace
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from dispatch.backtest.office import Office
from dispatch.backtest.picture import losses_svg
from dispatch.backtest.products import OffersAndVerdicts
from dispatch.backtest.scenario import Prices
from dispatch.backtest.season import Fate, LostDay, Move, Result, Season
from dispatch.backtest.tally import counts, largest
from dispatch.backtest.usual import FirstFreeDay, ThirtyPercent
from dispatch.rules.findings import Level
from jobs.rules.plan import Work

POLICIES = (FirstFreeDay, ThirtyPercent, OffersAndVerdicts)


def told(*words):
    out = StringIO()
    call_command("backtest", *words, stdout=out)
    return out.getvalue()


def test_a_fixed_seed_gives_the_same_table_to_the_digit():
    first = told("--quick", "--json")

    assert told("--quick", "--json", "--policies", "bc") == json.dumps(
        [each for each in json.loads(first) if each["policy"] in "bc"], indent=2
    ) + ("\n" if first.endswith("\n") else "")


def test_another_seed_is_another_world():
    assert told("--quick", "--policies", "a") != told("--quick", "--policies", "a", "--seed", "2")


@dataclass
class Watched:
    """A policy that is watched: no crew-day holds two floors, whatever it does."""

    within: object
    crew_days: set = field(default_factory=set)

    def __getattr__(self, name):
        return getattr(self.within, name)

    def seat(self, order, office: Office):
        found = self.within.seat(order, office)
        if found is not None:
            taken = {(each.seat.day, each.seat.crew) for each in office.booked.values()}
            assert (found.day, found.crew) not in taken
            assert found.day > office.today
        return found

    def morning(self, booked, office):
        key = (booked.seat.day, booked.seat.crew)
        assert key not in self.crew_days
        self.crew_days.add(key)
        return self.within.morning(booked, office)


@pytest.mark.parametrize("policy", POLICIES)
def test_no_floor_is_lost_and_no_crew_is_in_two_places(newark, scenario, slabs, policy):
    orders = scenario.orders(seed=1)
    season = Season(newark, scenario, slabs, Watched(policy()))

    result = season.run(orders)

    assert [fate.order for fate in result.fates] == orders
    open_still = {order.number for order in season.waiting} | set(season.booked)
    for fate in result.fates:
        assert (fate.done_on is not None) != (fate.order.number in open_still)
        assert fate.done_on is None or fate.done_on > fate.order.ordered_on
        # Nobody is told another day without a day lost or a call the evening before.
        assert len(fate.moves) >= sum(day.why.startswith(("site", "morning")) for day in fate.lost)


def test_offers_are_never_days_that_the_verdict_refuses(newark, scenario, slabs):
    @dataclass(frozen=True, eq=False)
    class Honest(OffersAndVerdicts):
        def seat(self, order, office):
            found = super().seat(order, office)
            if found is not None:
                reckoned = self.reckoned(order, found.day, found.start, office)
                assert reckoned.verdict.level is not Level.NO
            return found

    Season(newark, scenario, slabs, Honest()).run(scenario.orders(seed=1)[:12])


WORK = Work(area_m2=20.0, edge_m=18.0)
PRICES = Prices(
    floor_m2=75,
    spoiled_floor=1000,
    spoiled_m2=10,
    crew_day_lost=500,
    customer_moved=40,
    customer_moved_late=200,
    notice_fades_days=2.5,
    promise_broken=100,
    day_beyond_need=24,
    waiting_a_day=5,
    not_done=900,
)


def test_the_money_is_that_of_a_sum_by_hand(newark, scenario):
    order = replace(scenario.orders(seed=1)[0], work=WORK)
    days = scenario.days()
    done = Fate(replace(order, ordered_on=days[0]), done_on=days[4], spoiled_by=("rain",))
    done.promised = scenario.must_end(days[5], newark.zone)
    done.ready = scenario.must_end(days[4], newark.zone)
    done.lost.append(LostDay(days[2], 0, "site: wet slab", 3.0))
    done.moves.append(Move(days[2], 0, 0.0, "site: wet slab"))
    never = Fate(replace(order, number=1, ordered_on=days[-11]))

    told = counts(Result("x", "", replace(scenario, prices=PRICES), [done, never]), seed=1)

    # Spoiled 1000 + 20 x 10, a lost day 500, a move without notice 240, four days of waiting,
    # a day beyond need 24; the other ten days of waiting and 900.
    assert told.loss == pytest.approx(50 * (1200 + 500 + 240 + 20 + 24 + 50 + 900))
    assert told.loss == pytest.approx(sum(told.loss_by.values()))
    assert largest(told, 1) == [("spoiled: rain", pytest.approx(60000))]
    assert (told.spoiled, told.crew_days_lost, told.customers_moved) == (50, 50, 50)
    assert told.promises_kept_pct == 100
    assert told.loss_low <= told.loss <= told.loss_high


def test_the_picture_is_well_formed_and_names_each_policy(newark, scenario, slabs):
    orders = scenario.orders(seed=1)[:10]
    found = [
        counts(Season(newark, scenario, slabs, policy()).run(orders), seed=1)
        for policy in (FirstFreeDay, ThirtyPercent)
    ]

    picture = losses_svg(found)

    words = "".join(ET.fromstring(picture).itertext())  # noqa: S314
    assert FirstFreeDay().words in words
    assert ThirtyPercent().words in words


def test_what_is_asked_wrongly_is_refused_in_words():
    with pytest.raises(CommandError, match="There is no station 'QQQ'"):
        told("--station", "QQQ")
    with pytest.raises(CommandError, match="named by letters"):
        told("--policies", "z")
