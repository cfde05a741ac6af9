"""Heaters before and after the crew: heat into the slab over days, water into the air."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from tests.weather.slab_weather import KANSAS_CITY, after, days
from weather.rules.exposures import Exposure
from weather.rules.heaters import Heater, heated, share_on, with_water
from weather.rules.hours import Hours
from weather.rules.moist_air import dew_point_of_grains_c, grains_per_lb
from weather.rules.slab import slab_hours

NOW = after(20 * 24)
COLD = days(26, mean_c=0.0, swing_c=3.0)


def heater(power_kw=6.0, *, start=NOW - timedelta(days=2), end=NOW + timedelta(days=1), **more):
    return Heater(power_kw=power_kw, floor_m2=42.0, start=start, end=end, **more)


def slab(*heaters, door_open=(), exposure=Exposure.GARAGE):
    return slab_hours(
        hours=COLD,
        exposure=exposure,
        now=NOW,
        heaters=heaters,
        door_open=door_open,
        **KANSAS_CITY,
    )


def test_a_heater_of_two_days_warms_the_slab_and_the_warmth_fades():
    plain, warmed = slab().mid_c, slab(heater()).mid_c

    gain = warmed - plain
    at = COLD.index(NOW)
    assert gain[at - 49] == pytest.approx(0)
    # Heating a slab over days: some degrees for 6 kW in a double garage (common practice).
    assert 4 < gain[at] < 20
    assert gain[at] > gain[at - 24] > gain[at - 47] > 0
    assert 0 < gain[at + 72] < gain[at + 30] < gain[at + 23]


def test_a_heater_left_after_the_crew_keeps_the_night_warmer():
    end = NOW + timedelta(hours=48)

    left = slab(heater(start=NOW, end=end)).mid_c
    taken_away = slab(heater(start=NOW, end=NOW + timedelta(hours=4))).mid_c

    at = COLD.index(NOW)
    assert (left[at + 12 : at + 48] > taken_away[at + 12 : at + 48] + 2).all()


def test_more_power_is_never_a_colder_slab():
    at = COLD.index(NOW)

    gains = [slab(heater(kw)).mid_c[at] for kw in (2, 4, 8, 16)]

    assert gains == sorted(gains)


def test_the_thermostat_holds_the_air():
    warm = slab(heater(40.0, most_c=15.0)).mid_c

    assert np.nanmax(warm) <= 15.0


def test_while_the_door_stands_open_the_heat_goes_out_with_it():
    span = [(NOW - timedelta(days=2), NOW + timedelta(days=1))]

    assert slab(heater(), door_open=span).mid_c == pytest.approx(slab(door_open=span).mid_c)


def test_a_floor_outside_has_no_room_to_heat():
    plain = slab(exposure=Exposure.OPEN).mid_c

    assert slab(heater(), exposure=Exposure.OPEN).mid_c == pytest.approx(plain)


def test_half_an_hour_of_heat_is_half_an_hour():
    hours = days(1)

    share = share_on(hours, heater(start=after(2.5), end=after(4)))

    assert list(share[:5]) == [0, 0, 0.5, 1, 0]


def test_without_losses_all_heat_goes_into_the_slab(monkeypatch):
    # The balance itself: what the slab takes up is what the heater gives.
    monkeypatch.setattr("weather.rules.heaters.LOSS_W_M2K", 1e-6)
    monkeypatch.setattr("weather.rules.heaters.FEWEST_FILM", 1e-12)
    hours, film = days(1), np.full(24, 7.5)

    drive, weaker = heated(
        hours=hours,
        drive_c=np.full(24, 10.0),
        film_w_m2k=film,
        heaters=[heater(4.2, start=hours.start, end=hours.end, most_c=1e12)],
        door_share=np.zeros(24),
    )

    assert weaker * (drive - 10.0) == pytest.approx(4200 / 42)


class TestWater:
    def test_a_gallon_for_a_hundred_thousand_btu(self):
        # constructionheatersinc.com, combustion moisture: 0.98 gal of water for 100,000 Btu of
        # propane. Through one change of air an hour of a double garage, worked by hand:
        # 6 kW burn 0.76 kg of water into 126 kg of air.
        assert heater(vented=False).water_grains == pytest.approx(7000 * 0.7594 / 126, rel=0.002)

    def test_an_open_flame_raises_the_dew_point_and_a_flue_does_not(self):
        inside = replace(COLD, dew_c=np.full(len(COLD), -4.0))
        at = COLD.index(NOW)

        wet = with_water(inside, [heater(vented=False)])
        dry = with_water(inside, [heater()])

        assert wet.dew_c[at] > 5
        assert wet.dew_c[at - 60] == -4.0
        assert dry.dew_c == pytest.approx(inside.dew_c)

    def test_unknown_air_stays_unknown(self):
        nothing = Hours.unknown(start=COLD.start, count=len(COLD))

        assert np.isnan(with_water(nothing, [heater(vented=False)]).dew_c).all()

    @pytest.mark.parametrize("dew_c", [-20.0, 0.0, 6.5, 25.0])
    def test_grains_and_dew_point_undo_each_other(self, dew_c):
        grains = grains_per_lb(dew_c=dew_c)

        assert dew_point_of_grains_c(grains=grains) == pytest.approx(dew_c)


@pytest.mark.parametrize(
    "wrong",
    [{"power_kw": 0}, {"power_kw": float("nan")}, {"power_kw": 900}, {"end": NOW - timedelta(9)}],
)
def test_equipment_outside_physics_is_refused(wrong):
    with pytest.raises(ValueError, match="heater"):
        heater(**wrong)
