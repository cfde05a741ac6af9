"""How long a floor takes, against a reference calculation by hand and published figures."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from jobs.rules.cards import CureTime
from jobs.rules.catalogue import ONE_DAY
from jobs.rules.machines import LARGE, SMALL
from jobs.rules.plan import Condition, StageKind, Work
from jobs.rules.rates import Pace, Rates, stage_hours
from jobs.rules.stages import elapsed_h, lay_out
from jobs.rules.units import M2_PER_FT2, M_PER_FT, c_from_f
from tests.jobs.rules.floors import floor_of, steady

START = datetime(2026, 5, 4, 12, tzinfo=UTC)
# 1.5 h to scraping at 70 °F and 50 kJ/mol are part of the reference calculation.
CARD = replace(ONE_DAY, set=CureTime(((c_from_f(70), 1.5),), energy_kj_mol=50))


def elapsed(area_ft2: float, edge_ft: float, grind_ft2_h: float, slab_f: float) -> float:
    plan = lay_out(
        work=floor_of(area_ft2, edge_ft=edge_ft, crack_ft=20),
        card=CARD,
        rates=replace(Rates(), grind=Pace(m2_per_h=grind_ft2_h * M2_PER_FT2)),
        crew_size=2,
        start=START,
        slab=steady(START, c_from_f(slab_f)),
    )
    return elapsed_h(plan)


# Worked by hand from the default rates, area and edge in feet, with 20 ft of cracks:
# .5 + .25 + max(A/G, P/60 + 20/40) + .25 + (.1 + A/1500) + 3 (.25 + A/800) + 1.5 f + .5,
# f the factor of the slab on the wait. The rates are common practice.
@pytest.mark.parametrize(
    ("area", "edge", "grind", "slab_f", "hours"),
    [
        (450, 86, 225, 70, 7.84),
        (450, 86, 225, 50, 9.68),
        (450, 86, 225, 90, 7.05),
        (450, 86, 100, 70, 10.34),
        (650, 104, 225, 70, 9.61),
        (900, 126, 225, 70, 11.82),
        (900, 126, 400, 70, 10.43),
    ],
)
def test_the_reference_calculation(area, edge, grind, slab_f, hours):
    assert elapsed(area, edge, grind, slab_f) == pytest.approx(hours, abs=0.006)


def test_the_wait_alone_on_a_slab_of_50_f():
    plan = lay_out(
        work=floor_of(450),
        card=CARD,
        rates=Rates(),
        crew_size=2,
        start=START,
        slab=steady(START, c_from_f(50)),
    )

    wait = next(stage for stage in plan.visits[0].stages if stage.kind is StageKind.SET)
    assert (wait.end - wait.start).total_seconds() / 3600 == pytest.approx(3.34, abs=0.006)


# Square garages at 70 °F; 10 h is a long working day.
@pytest.mark.parametrize(("grind", "most_ft2"), [(225, 690), (400, 840)])
def test_the_biggest_floor_of_ten_hours(grind, most_ft2):
    edge_ft = 4 * most_ft2**0.5

    assert elapsed(most_ft2, edge_ft, grind, 70) == pytest.approx(10, abs=0.06)


def ground(area_ft2: float, condition: Condition = Condition.BARE) -> float:
    work = replace(floor_of(area_ft2), condition=condition)
    hours = stage_hours(work=work, rates=replace(Rates(), prove_h=0), crew_size=2)
    return hours[StageKind.GRIND]


class TestPublishedFigures:
    def test_500_square_feet_of_bare_slab_grind_in_two_to_three_hours(self):
        # uooz.com/how-long-to-grind-concrete-floor.
        assert 2 <= ground(500) <= 3

    def test_500_square_feet_under_sealer_grind_in_four_to_six_hours(self):
        # uooz.com/how-long-to-grind-concrete-floor.
        assert 4 <= ground(500, Condition.SEALER) <= 6

    def test_500_square_feet_of_thick_coating_take_over_seven_hours(self):
        # uooz.com/how-long-to-grind-concrete-floor.
        assert ground(500, Condition.THICK) > 7

    def test_a_double_garage_grinds_in_two_to_four_hours(self):
        # epoxyplusflooring.com, an installer; a double garage is about 450 sq ft.
        assert 2 <= ground(450) <= 4

    def test_a_double_garage_is_one_day_and_a_big_one_is_not(self):
        # webfootcc.com, an installer: two- and three-car garages in a day, larger in two.
        assert elapsed(450, 86, 225, 70) < 10 < elapsed(900, 126, 225, 70)


# Low and high of what the trade achieves, in feet; where no source is named, common practice.
# Paces of coats are those of two people with cutting in: 500 to 1,200 sq ft an hour; a plain
# roller does 200 to 400 a person (scribd.com/document/357295560, paint rates).
RANGES = {
    "set_up_h": (0.4, 1.0, 1.0),
    "grind": (150, 300, M2_PER_FT2),  # 170 to 250: uooz.com
    "edge_m_per_h": (40, 100, M_PER_FT),
    "stem_m_per_h": (15, 40, M_PER_FT),
    "step_h": (0.2, 0.5, 1.0),
    "crack_m_per_h": (25, 60, M_PER_FT),
    "spall_h": (5 / 60, 20 / 60, 1.0),
    "prove_h": (10 / 60, 30 / 60, 1.0),  # 15 minutes: polyfloorsexpress.com, an installer
    "vacuum": (1000, 2500, M2_PER_FT2),
    "base": (500, 1200, M2_PER_FT2),
    "scrape": (500, 1200, M2_PER_FT2),
    "top": (500, 1200, M2_PER_FT2),
    "pack_h": (0.5, 1.0, 1.0),
    "sealer_speed": (80 / 225, 125 / 225, 1.0),  # 4 to 6 h for 500 sq ft: uooz.com
    "thick_speed": (0.25, 0.35, 1.0),  # over 7 h for 500 sq ft: uooz.com
}


@pytest.mark.parametrize("name", RANGES)
def test_every_default_lies_between_low_and_high(name):
    low, high, unit = RANGES[name]
    value = getattr(Rates(), name)

    number = value.m2_per_h if isinstance(value, Pace) else value

    assert low * unit * (1 - 1e-9) <= number <= high * unit * (1 + 1e-9)


def test_a_planetary_grinder_does_300_to_600_an_hour():
    # floormasters.co.nz: 30 to 300 m² a day in all cases; per hour common practice.
    assert 300 <= LARGE.m2_per_h / M2_PER_FT2 <= 600
    assert LARGE.m2_per_h * 8 <= 300 * 1.1
    assert SMALL.m2_per_h == Rates().grind.m2_per_h


class TestCommonPractice:
    def test_two_people_coat_a_two_car_garage_in_one_warm_day(self):
        assert elapsed(400, 80, 225, 77) < elapsed(450, 86, 225, 77) < 8

    def test_after_broadcast_one_company_waits_three_hours_before_scraping(self):
        # coloradospringsgaragefloors.com/one-day-garage-floor: about 3 h, on a cool slab.
        plan = lay_out(
            work=floor_of(450),
            card=ONE_DAY,
            rates=Rates(),
            crew_size=2,
            start=START,
            slab=steady(START, c_from_f(50)),
        )

        waited_h = (plan.recoat_from - plan.base_end).total_seconds() / 3600
        assert waited_h == pytest.approx(3, abs=0.5)

    def test_steps_and_stem_walls_are_work_of_their_own(self):
        plain = Work(area_m2=40, edge_m=25)
        fiddly = replace(plain, steps=2, stem_wall_m=25 * M_PER_FT)

        verticals = stage_hours(work=fiddly, rates=Rates(), crew_size=2)[StageKind.VERTICALS]

        # A step takes 0.2 to 0.5 h, and 15 to 40 ft of stem wall an hour.
        assert verticals == pytest.approx(1.6)
        assert StageKind.VERTICALS not in stage_hours(work=plain, rates=Rates(), crew_size=2)

    def test_edges_rule_where_a_room_is_long_and_narrow(self):
        room = Work(area_m2=10, edge_m=100)

        longer = stage_hours(work=room, rates=Rates(), crew_size=2)[StageKind.GRIND]

        assert longer == pytest.approx(100 / (60 * M_PER_FT) + 0.25)

    def test_pits_and_cracks_are_mended_beside_the_grinder(self):
        room = Work(area_m2=10, edge_m=50, crack_m=10, spalls=6)

        mended = stage_hours(work=room, rates=Rates(), crew_size=2)[StageKind.GRIND]

        expected = 50 / (60 * M_PER_FT) + 10 / (40 * M_PER_FT) + 1 + 0.25
        assert mended == pytest.approx(expected)
