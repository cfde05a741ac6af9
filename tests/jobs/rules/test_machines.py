"""Access and power choose the grinder, and the grinder sets the pace."""

import pytest

from jobs.rules.machines import LARGE, SMALL, Access, NoMachine, fastest, rates_with
from jobs.rules.plan import StageKind
from jobs.rules.rates import Rates, stage_hours
from tests.jobs.rules.floors import floor_of

BOTH = (SMALL, LARGE)


def test_a_wide_door_and_a_dryer_outlet_take_the_big_one():
    assert fastest(BOTH, Access(width_m=2.4, volts=240, amps=30)) is LARGE


@pytest.mark.parametrize(
    "access",
    [
        Access(width_m=0.7, volts=240, amps=50),
        Access(width_m=2.4, volts=120, amps=20),
        Access(width_m=2.4, volts=240, amps=20),
        Access(),
        Access(width_m=2.4),
    ],
)
def test_a_narrow_way_little_power_or_an_unknown_site_take_the_small_one(access):
    assert fastest(BOTH, access) is SMALL


def test_a_site_for_none_says_what_each_lacks():
    with pytest.raises(NoMachine, match=r"0\.50 m.*Planetary"):
        fastest(BOTH, Access(width_m=0.5, volts=240, amps=30))


def test_the_pace_follows_the_machine():
    # 900 sq ft: 4 h at 225 sq ft an hour, 2.25 h at 400 (common practice), besides proving.
    def ground(machine):
        rates = rates_with(Rates(), machine)
        return stage_hours(work=floor_of(900), rates=rates, crew_size=2)[StageKind.GRIND]

    assert ground(SMALL) == pytest.approx(4.25)
    assert ground(LARGE) == pytest.approx(2.5)
