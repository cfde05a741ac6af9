"""What is asked against other water, with its clock times: common practice of exterior coaters."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from dispatch.rules.customer_reasons import customer_reason
from dispatch.rules.water_asks import Occasion, Who, asks
from jobs.rules.other_water import Water
from tests.dispatch.rules import days
from tests.dispatch.rules.floors_on_days import garage_in_the_desert, washed_patio
from tests.jobs.rules.floors import clock
from weather.rules.exposures import Exposure

ZONE = ZoneInfo(days.CAROLINA)


def occasion(*seen, exposure=Exposure.GARAGE, start="2026-04-16 07:00", **more):
    arrive = clock(days.CAROLINA, start)
    return Occasion(
        exposures=(exposure,),
        waters=seen,
        arrive=arrive,
        pour=arrive + timedelta(hours=3),
        coated=arrive + timedelta(hours=6),
        zone=ZONE,
        **more,
    )


def said(of, who=Who.CUSTOMER):
    return " ".join(ask.words for ask in asks(of) if ask.who is who)


def test_sprinklers_stay_off_from_the_day_before_until_the_evening_after():
    words = said(occasion(exposure=Exposure.OPEN))

    assert "irrigation off from Wed Apr 15, 7:00 AM until Fri Apr 17, 6:00 PM" in words


def test_a_patio_that_was_wet_is_metered_on_arrival_where_it_dried_last():
    dryness = tuple(floor.dryness for floor in washed_patio("2026-04-16 07:00").floors)

    words = said(occasion(exposure=Exposure.OPEN, dryness=dryness), Who.CREW)

    assert "meter first on the shaded half" in words


def test_a_dry_garage_that_nobody_saw_wet_asks_nothing():
    assert asks(occasion()) == ()


@pytest.mark.parametrize(
    ("seen", "start", "words"),
    [
        (Water.VEHICLES, "2026-01-14 07:00", "slush"),
        (Water.THAW, "2026-01-14 07:00", "Clear snow"),
        (Water.ROOF_EDGE, "2026-10-14 07:00", "leaves"),
        (Water.VEHICLES, "2026-07-14 07:00", "Keep wet cars out from Mon Jul 13, 7:00 AM."),
    ],
)
def test_the_season_changes_what_is_asked(seen, start, words):
    assert words in said(occasion(seen, start=start))


def test_nobody_clears_snow_in_summer_and_the_south_has_its_winter_in_july():
    assert "snow" not in said(occasion(Water.THAW, start="2026-07-14 07:00"))
    assert "snow" in said(occasion(Water.THAW, start="2026-07-14 07:00", latitude=-37.8))


def test_the_crew_takes_a_tarp_where_the_drive_falls_to_the_door():
    assert "tarp" in said(occasion(Water.SLOPE), Who.CREW)


def test_the_customer_hears_the_true_cause():
    wet = washed_patio("2026-04-14 08:00").judged().verdict
    hot = garage_in_the_desert().judged().verdict

    assert customer_reason(wet).startswith(
        "We move the day because the concrete needs a full day to dry"
    )
    assert "too short" in customer_reason(wet)
    assert "temperatures" in customer_reason(hot)


def test_a_good_day_has_no_reason_to_tell():
    assert customer_reason(days.patio_before_showers()) == ""
