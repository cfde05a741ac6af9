"""Faults that users of the services have reported in public threads, each by its condition.

One test for each of 34 kinds of fault; the thread stands beside it. Everything that travels
goes through a real HTTP server on this machine and the whole way into the database.
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from deploy import settings as program
from tests.weather.conftest import Reply
from tests.weather.replies import (
    HOUR,
    ISSUED,
    START,
    cell,
    grid,
    hourly,
    layer,
    point,
    problem,
    step,
)
from tests.weather.replies import metno as norwegian
from tests.weather.test_open_meteo import ensemble, forecast
from weather import places, services
from weather.models import Forecast, Place, PlaceServiceState, ServiceState
from weather.providers import open_meteo as meteo_reader
from weather.providers.nws import degrees
from weather.providers.nws_grid import parse_grid
from weather.providers.nws_hourly import parse_hourly
from weather.reads import forecast_age_h, hours_at, latest_forecast
from weather.rules.hours import Hours
from weather.services import Outcome

pytestmark = pytest.mark.django_db

NOW = ISSUED + HOUR
POINT = "/points/33.5,-86.8"
GRID = "/gridpoints/BMX/59,84"
HOURLY = f"{GRID}/forecast/hourly"
METNO = "/complete"
JSON = "application/json"
HTML = "text/html"
PROBLEM = "application/problem+json"


@pytest.fixture
def place() -> Place:
    return services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago")


@pytest.fixture
def us(nws, metno):
    """Both services on this machine, both well."""
    nws.say(POINT, point())
    nws.say(GRID, grid())
    metno.say(METNO, Reply(norwegian(), kind=JSON))
    return nws


@pytest.fixture
def abroad(nws, metno):
    """MET Norway at a place the US service does not cover."""
    nws.say(POINT, failing(404, "InvalidPoint"))
    metno.say(METNO, Reply(norwegian(), kind=JSON))
    return metno


@pytest.fixture
def keyed(abroad, open_meteo):
    """Open-Meteo with a key where the others are silent."""
    abroad.say(METNO, Reply(b"", status=500, kind=HTML))
    open_meteo.say("/forecast", Reply(forecast(), kind=JSON))
    open_meteo.say("/ensemble", Reply(ensemble(), kind=JSON))
    return open_meteo


def failing(status, kind):
    return Reply(problem(kind, status), status=status, kind=PROBLEM)


def held(place, now=NOW) -> Hours:
    return latest_forecast(place, now=now).hours()


def meteo(document):
    return meteo_reader.parse(document, fetched_at=NOW)


# 1. weather-gov/api 19, 76, 160; ws4kp 40: single cells answer 500 or 503, for seconds or days.
@pytest.mark.parametrize("status", [500, 503])
def test_01_a_cell_that_fails_for_seconds_is_tried_again(us, place, status):
    us.say(GRID, Reply({}, status=status), Reply({}, status=status), Reply(grid()))

    assert services.refresh(place, now=NOW).source == "nws"
    assert held(place).source == "nws"


def test_01_a_cell_that_fails_for_days_rests_alone_and_its_neighbours_are_asked(us, metno, place):
    us.say(GRID, failing(500, "UnexpectedProblem"))
    neighbour = services.place_for(latitude=34.5, longitude=-86.8, zone="America/Chicago")
    us.say("/points/34.5,-86.8", point(x=60))
    us.say("/gridpoints/BMX/60,84", {**grid(), "geometry": cell(north=34.5)})

    results = [services.refresh(each, now=NOW) for each in (place, neighbour)]

    assert [result.source for result in results] == ["metno", "nws"]
    assert PlaceServiceState.objects.get(place=place, service="nws").not_before > NOW
    assert ServiceState.objects.get(service="nws").not_before is None


# 2. weather-gov/api 29, 30, 78: ForecastGridExpired, an office has sent nothing for a day.
def test_02_an_office_that_sends_nothing_leaves_the_last_forecast_with_its_age(us, metno, place):
    services.refresh(place, now=NOW)
    us.say(GRID, failing(503, "ForecastGridExpired"))
    metno.say(METNO, Reply(b"", status=502, kind=HTML))
    later = NOW + timedelta(hours=20)

    result = services.refresh(place, now=later)

    assert "ForecastGridExpired" in " ".join(result.reasons)
    assert forecast_age_h(latest_forecast(place, now=later), now=later) == 21.0


# 3. weather-gov/weather.gov 1670: a hole in the last days breaks the text, not the raw grid.
def test_03_a_hole_in_the_last_days_does_not_take_the_first_ones(us, place):
    us.say(HOURLY, failing(500, "ForecastGridInvalid"))
    us.say(GRID, grid(dewpoint=layer("degC", (0, "P1D", 5), (36, "PT12H", 5))))

    services.refresh(place, now=NOW)

    assert HOURLY not in us.paths()
    assert not np.isnan(held(place).dew_c[:24]).any()


# 4. weather-gov/api 71, 86, 108, 177: caches hand out old forecasts under fresh HTTP dates.
def test_04_an_old_forecast_under_a_fresh_date_replaces_nothing_and_is_old(us, place):
    services.refresh(place, now=NOW)
    fresh = {"Last-Modified": "Fri, 13 Mar 2026 12:00:00 GMT"}
    stale = grid(issued=ISSUED - timedelta(hours=30), temperature=layer("degC", (0, "P2D", -9)))
    us.say(GRID, Reply(stale, headers=fresh))

    services.refresh(place, now=NOW + 2 * HOUR)

    assert latest_forecast(place, now=NOW + 2 * HOUR).issued_at == ISSUED
    assert -9 not in held(place, NOW + 2 * HOUR).air_c


# 5. goat-hill/bitclock 15: without an Accept header a stale copy is served.
def test_05_every_question_carries_an_accept_header(us, place):
    services.refresh(place, now=NOW)

    assert {seen.headers["Accept"] for seen in us.seen} == {"application/geo+json"}


# 6. weather-gov/weather.gov 756; weather-gov/api 157; ws4kp 230: a cell moves without notice.
def test_06_a_cell_that_has_moved_is_noticed_by_its_polygon(us, place):
    services.refresh(place, now=NOW)
    us.say(GRID, {**grid(issued=ISSUED + HOUR), "geometry": cell(east=-74.0, north=40.7)})
    us.say(POINT, point(x=61))
    us.say("/gridpoints/BMX/61,84", grid(issued=ISSUED + HOUR))

    services.refresh(place, now=NOW + 2 * HOUR)

    place.refresh_from_db()
    assert place.nws_grid == "BMX/61,84"


def test_06_a_cell_that_is_now_at_sea_is_looked_up_again(us, place):
    services.refresh(place, now=NOW)
    us.say(GRID, failing(404, "MarineForecastNotSupported"))
    us.say(POINT, failing(404, "MarineForecastNotSupported"))

    result = services.refresh(place, now=NOW + 2 * HOUR)

    place.refresh_from_db()
    assert (result.source, place.nws_grid) == ("metno", "")


# 7. weather-gov/api 21, 69, 111: uneven intervals, run lengths, totals of rain.
def test_07_uneven_intervals_cover_every_hour_once_and_keep_their_totals(us, place):
    us.say(
        GRID,
        grid(
            temperature=layer(
                "degC", (0, "PT1H", 11), (1, "PT5H", 12), (6, "P1DT6H", 13), (36, "PT12H", 14)
            ),
            quantitativePrecipitation=layer(
                "mm", (0, "PT1H", 0.5), (1, "PT4H", 2.0), (5, "PT1H", 0), (6, "P1DT18H", 7.5)
            ),
        ),
    )

    services.refresh(place, now=NOW)

    hours = held(place)
    assert hours.air_c.tolist() == [11] + [12] * 5 + [13] * 30 + [14] * 12
    assert hours.rain_mm.sum() == pytest.approx(10.0, abs=0.05)


# 8. weather-gov/api 20: a series begins hours in the past.
def test_08_now_is_now_and_not_the_first_hour_of_the_series(us, place):
    us.say(GRID, grid(temperature=layer("degC", (0, "PT7H", -5), (7, "P1DT17H", 12))))

    services.refresh(place, now=NOW)

    hours = hours_at(place, now=NOW)
    assert hours.air_c[hours.index(NOW)] == 12


# 9. weather-gov/api 24, 194: layers are empty, other ones at each office.
def test_09_an_empty_layer_is_unknown_and_each_layer_has_its_own_end(us, place):
    us.say(
        GRID,
        grid(
            windGust={"values": []},
            snowfallAmount=None,
            quantitativePrecipitation=layer("mm", (0, "PT12H", 0)),
        ),
    )

    services.refresh(place, now=NOW)

    hours = held(place)
    assert np.isnan(hours.gust_kmh).all()
    assert np.isnan(hours.snow_mm).all()
    assert (np.isnan(hours.rain_mm[:12]).any(), np.isnan(hours.rain_mm[12:]).all()) == (False, True)
    assert not np.isnan(hours.air_c).any()


# 10. MatthewFlamm/pynws 130: the chance is null in the text forecast and may mean nothing.
def test_10_a_null_chance_in_the_text_forecast_is_unknown(us, place):
    us.say(GRID, failing(500, "UnexpectedProblem"))
    null = {"unitCode": "wmoUnit:percent", "value": None}
    us.say(HOURLY, hourly(probabilityOfPrecipitation=null, shortForecast="Sunny"))

    services.refresh(place, now=NOW)

    assert np.isnan(held(place).rain_chance_pct).all()


# 11. weather-gov/api 77: the grid is in UTC, the hourly forecast in local time.
def test_11_local_and_utc_times_name_the_same_hour(us):
    local = parse_hourly(hourly(), fetched_at=NOW)
    utc = parse_grid(grid(), fetched_at=NOW)

    assert local.start == datetime(2026, 3, 10, 13, tzinfo=UTC)
    assert local.hour(0) == utc.hour(utc.index(local.start))


# 12. weather-gov/api 18: coordinates come back with other decimals, as a redirect.
def test_12_a_redirect_to_other_decimals_is_followed_and_ours_have_no_trailing_zeros(us, place):
    us.say(POINT, Reply({}, status=301, headers={"Location": "/points/33.4999,-86.8001"}))
    us.say("/points/33.4999,-86.8001", point())

    assert services.refresh(place, now=NOW).source == "nws"
    assert us.paths()[0] == POINT
    assert degrees("47.650") == "47.65"


# 13. weather-gov/api 11, 189: the point is fine and its cell is not.
@pytest.mark.parametrize("reply", [failing(404, "InvalidPoint"), failing(500, "UnexpectedProblem")])
def test_13_a_point_without_its_cell_is_left_to_the_next_service(us, metno, place, reply):
    us.say(GRID, reply)

    assert services.refresh(place, now=NOW).source == "metno"


# 14. weather-gov/api 163: 403 as HTML, because the header was misspelt.
def test_14_the_real_user_agent_header_is_sent_and_html_is_an_error(us, metno, place):
    us.say(POINT, Reply(b"<html>Access Denied</html>", status=403, kind=HTML))

    result = services.refresh(place, now=NOW)

    assert us.seen[0].headers["User-Agent"].startswith("Slabcast/")
    assert "UserAgent" not in us.seen[0].headers
    assert result.source == "metno"
    assert ServiceState.objects.get(service="nws").not_before >= NOW + HOUR


# 15. weather-gov/api 73: a 500 answer that calls itself good for a day.
def test_15_an_error_is_never_kept_whatever_its_headers_say(us, place):
    us.say(
        POINT,
        *[
            Reply(
                {},
                500,
                headers={
                    "Cache-Control": "max-age=86400",
                    "Expires": "Thu, 12 Mar 2026 0:00:00 GMT",
                },
            )
        ]
        * 3,
        Reply(point()),
    )
    services.refresh(place, now=NOW)

    result = services.refresh(place, now=NOW + 2 * HOUR)

    assert result.source == "nws"
    assert PlaceServiceState.objects.get(place=place, service="nws").expires_at is None


# 16. weather-gov/weather.gov 763; ws4kp 4: null shown as 32 °F or 0 mph.
def test_16_null_is_unknown_all_the_way(us, place):
    us.say(
        GRID,
        grid(
            temperature=layer("degC", (0, "PT9H", 8), (9, "PT1H", None), (10, "P1D", 8)),
            windSpeed=layer("km_h-1", (0, "P2D", None)),
        ),
    )

    services.refresh(place, now=NOW)

    hours = hours_at(place, now=NOW)
    assert np.isnan(hours.air_c[hours.index(START + 9 * HOUR)])
    assert np.isnan(hours.wind_kmh).all()


# 17. weather-gov/api 139: a point carries the name of the next town.
def test_17_a_place_keeps_the_name_we_gave_it(us):
    mine = services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago", name="Depot")
    us.say(POINT, point(relativeLocation={"properties": {"city": "Elsewhere"}}))

    services.refresh(mine, now=NOW)

    mine.refresh_from_db()
    assert str(mine) == "Depot"


# 18. home-assistant/core 36874: MET Norway's 203 taken for an error, the data thrown away.
def test_18_a_version_about_to_end_is_used_and_warned_of(abroad, place):
    abroad.say(METNO, Reply(norwegian(), status=203, kind=JSON))

    assert services.refresh(place, now=NOW).outcome is Outcome.STORED
    assert "about to end" in ServiceState.objects.get(service="metno").warning


# 19. home_assistant_weather_data 11; ioBroker.plenticore 32: a version switched off.
def test_19_a_version_that_is_gone_is_named_as_the_trouble(abroad, place):
    abroad.say(METNO, Reply(b"<html>gone</html>", status=404, kind=HTML))

    result = services.refresh(place, now=NOW)

    assert result.outcome is Outcome.FAILED
    assert "404" in PlaceServiceState.objects.get(place=place, service="metno").trouble
    assert program.METNO_URL.endswith("/2.0")  # the version stands in one setting


# 20. inkyshot 34; wckd/python-yr 48: MET Norway answers 403 without a contact.
def test_20_without_a_contact_nothing_is_asked(us, metno, place, settings):
    settings.FORECAST_CONTACT = ""

    result = services.refresh(place, now=NOW)

    assert result.outcome is Outcome.FAILED
    assert (us.seen, metno.seen) == ([], [])
    assert "SLABCAST_FORECAST_CONTACT" in result.reasons[0]


# 21. weather-widget-2 91: MET Norway answers 403 to five decimals.
def test_21_no_service_is_asked_for_more_than_three_decimals(abroad, place):
    fine = services.place_for(latitude=40.712776, longitude=-74.005974, zone="America/New_York")
    services.refresh(fine, now=NOW)

    assert places.coordinates("40.712776", "-74.005974") == (fine.latitude, fine.longitude)
    assert abroad.seen[0].path == "/complete?lat=40.713&lon=-74.006"


# 22. erikw/tmux-powerline 504: a broken cache made 21,500 requests an hour.
def test_22_a_loop_that_runs_wild_stops_at_the_hours_budget(us, metno, place):
    for turn in range(400):
        Place.objects.update(try_not_before=None, checked_at=None)
        services.refresh(place, now=NOW + timedelta(seconds=turn))

    assert 140 <= len(us.seen) <= 152  # the budget, and the station that was asked once
    assert metno.seen == []


# 23. metno-locationforecast 1: no precipitation in the last interval.
def test_23_the_last_steps_may_be_bare(abroad, place):
    abroad.say(METNO, Reply(norwegian(step(0, one=0.2), step(1, one=0.0), step(2)), kind=JSON))

    services.refresh(place, now=NOW)

    assert np.isnan(held(place).rain_mm).tolist() == [False, False, True]


# 24. Overmorrow 176; home-assistant/core 150537: a missing chance shown as 0 %.
def test_24_a_missing_chance_is_a_marked_stand_in_and_never_zero(abroad, place):
    services.refresh(place, now=NOW)

    hours = held(place)
    known = ~np.isnan(hours.rain_chance_pct)
    assert known.any()
    assert (hours.rain_chance_pct[known] > 0).all()
    assert hours.chance_derived[known].all()


# 25. open-meteo 488, 490, 1545; emhass 589, 592: one offset for both sides of a clock change.
@pytest.mark.parametrize(("day", "hours_long"), [((2026, 3, 8), 23), ((2026, 11, 1), 25)])
def test_25_a_day_with_a_clock_change_is_cut_by_the_zone(keyed, place, day, hours_long):
    zone = ZoneInfo("America/Toronto")
    start = datetime(*day, tzinfo=zone).astimezone(UTC)
    stamps = [int((start + i * HOUR).timestamp()) for i in range(48)]
    document = forecast()
    document["hourly"]["time"] = stamps

    hours = meteo_reader.parse(document, fetched_at=start)
    services.refresh(place, now=NOW)

    local = [moment.astimezone(zone).date() for moment in hours.starts()]
    assert local.count(datetime(*day).date()) == hours_long
    assert "timeformat=unixtime&timezone=GMT" in keyed.seen[0].path


def test_25_a_local_hour_that_does_not_exist_is_no_double_and_no_hole():
    document = forecast(count=6)
    document["utc_offset_seconds"] = -18000
    document["hourly"]["time"] = [f"2026-03-08T{h:02d}:00" for h in range(6)]

    hours = meteo(document)

    assert hours.hour(0) == datetime(2026, 3, 8, 5, tzinfo=UTC)
    assert len(hours) == 6
    assert not np.isnan(hours.air_c).any()


# 26. open-meteo 33, 71, 1905: single hours and tails of null.
def test_26_gaps_and_null_tails_are_unknown():
    air = [10.0] * 20 + [None] + [10.0] * 19 + [None] * 8

    hours = meteo(forecast(temperature_2m=("°C", air)))

    assert np.isnan(hours.air_c).sum() == 1  # the tail is cut off, the gap stays a gap
    assert len(hours) == 40


# 27. open-meteo 942, 1175, 1631: the chance is null everywhere.
def test_27_where_no_chance_is_written_members_or_amounts_stand_in(keyed, place):
    nothing = [None] * 48
    keyed.say("/forecast", Reply(forecast(precipitation_probability=("%", nothing)), kind=JSON))
    services.refresh(place, now=NOW)
    with_members = held(place)
    keyed.say("/ensemble", Reply({"error": True, "reason": "no"}, 503, JSON))
    services.refresh(place, now=NOW + 2 * HOUR)
    without = held(place, NOW + 2 * HOUR)

    assert not with_members.chance_derived[:6].any()
    assert without.chance_derived.any()
    assert np.nanmin(without.rain_chance_pct) > 0


# 28. open-meteo 506: past its end, null was turned into no rain.
def test_28_rain_of_zero_past_the_end_of_temperature_is_cut_off():
    air = [10.0] * 30 + [None] * 18

    hours = meteo(forecast(temperature_2m=("°C", air)))

    assert hours.end == START + 31 * HOUR
    assert len(hours.rain_mm) == 30


# 29. open-meteo 1486: negative amounts of rain.
def test_29_amounts_a_little_below_zero_are_zero_and_noted():
    rain = [0.0] * 10 + [-0.1] * 2 + [0.0] * 36

    hours = meteo(forecast(precipitation=("mm", rain)))
    members, _ = meteo_reader.parse_members(ensemble(amount=-0.2))

    assert np.nanmin(hours.rain_mm) == 0
    assert any("below zero" in note for note in hours.notes)
    assert np.nanmin(members) == 0


# 30. open-meteo 434, 889: a chance of 70 % with no rain at all, and the reverse.
@pytest.mark.parametrize(("chance", "amount"), [(70, 0.0), (0, 3.0)])
def test_30_chance_and_amount_that_disagree_are_both_kept(chance, amount):
    hours = meteo(forecast(precipitation_probability=("%", chance), precipitation=("mm", amount)))

    assert hours.rain_chance_pct[5] == chance
    assert hours.rain_mm[5] == amount


# 31. open-meteo 189, 1155, 1331, 1420: the answer is for another point than asked.
def test_31_an_answer_for_a_point_far_away_is_noted(keyed, place):
    keyed.say("/forecast", Reply({**forecast(), "longitude": -86.5}, kind=JSON))

    services.refresh(place, now=NOW)

    assert any("28 km away" in note for note in latest_forecast(place, now=NOW).notes)


# 32. open-meteo 1844: the control run lags its members by two days.
def test_32_the_control_run_counts_for_nothing(keyed, place):
    keyed.say("/ensemble", Reply(ensemble(wet=0, control=20.0), kind=JSON))

    services.refresh(place, now=NOW)

    known = held(place).rain_chance_pct
    assert np.nanmax(known[:40]) == 0.0


# 33. open-meteo 439, 832, 852, 1493, 1847: 429 by weight, by address, by concurrency.
@pytest.mark.parametrize(
    "reason", ["Minutely API request limit exceeded.", "Too many concurrent requests"]
)
def test_33_a_refusal_for_the_pace_silences_the_service_and_is_told(keyed, place, reason):
    keyed.say("/forecast", Reply({"error": True, "reason": reason}, 429, JSON))

    services.refresh(place, now=NOW)

    state = ServiceState.objects.get(service="open_meteo")
    assert reason.rstrip(".") in state.trouble
    assert state.not_before > NOW


# 34. open-meteo 342, 1801, 1870, 1893, 1911: 502 and 504 as HTML, for hours.
@pytest.mark.parametrize("status", [502, 504, 200])
def test_34_a_page_in_place_of_data_is_an_error_whatever_its_status(keyed, place, status):
    keyed.say("/forecast", Reply(b"<html>Bad Gateway</html>", status=status, kind=HTML))

    result = services.refresh(place, now=NOW)

    assert result.outcome is Outcome.FAILED
    assert not Forecast.objects.exists()


def test_every_kind_of_fault_has_its_test():
    numbers = {name[5:7] for name in globals() if name.startswith("test_") and name[5:7].isdigit()}

    assert numbers == {f"{n:02d}" for n in range(1, 35)}
