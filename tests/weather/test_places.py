"""Places: postal codes without a network, coordinates by hand, neighbours that share weather."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.db import IntegrityError

from weather import services
from weather.models import Forecast, Place, layers_of
from weather.places import NoSuchPlace, coordinates, find_postal_code, time_zone
from weather.reads import nearest_with_forecast
from weather.rules.distance import distance_km
from weather.rules.hours import Hours

ZONE = "America/Chicago"


def test_a_postal_code_gives_name_place_and_zone():
    found = find_postal_code(" 35203-1234 ")

    assert (found.name, found.zone) == ("Birmingham, AL", ZONE)
    # Birmingham, Alabama: 33.52 N, 86.80 W (US Census Bureau gazetteer, from memory).
    assert distance_km((found.latitude, found.longitude), (33.52, -86.80)) < 5


@pytest.mark.parametrize("code", ["", "1234", "ABCDE", "352031", "SW1A 1AA", "3520３"])
def test_what_is_no_postal_code_is_refused_in_a_sentence(code):
    with pytest.raises(NoSuchPlace, match="five digits"):
        find_postal_code(code)


def test_an_unknown_code_says_what_else_to_type():
    with pytest.raises(NoSuchPlace, match="latitude, longitude and time zone by hand"):
        find_postal_code("00000")


def test_a_military_code_is_not_put_into_the_atlantic():
    with pytest.raises(NoSuchPlace, match="no place on the map"):
        find_postal_code("09001")


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [("91", "0"), ("0", "-180.1"), ("north", "0"), ("nan", "0"), ("inf", "0"), ("", "")],
)
def test_coordinates_that_are_not_on_earth_are_refused(latitude, longitude):
    with pytest.raises(NoSuchPlace):
        coordinates(latitude, longitude)


def test_coordinates_are_rounded_to_three_decimals():
    assert coordinates("33.52149", -86.80661) == (Decimal("33.521"), Decimal("-86.807"))


@pytest.mark.parametrize("zone", ["", "Chicago", "../../etc/passwd", "America/Chicago\n\0"])
def test_a_zone_must_be_in_the_database_of_zones(zone):
    with pytest.raises(NoSuchPlace, match="America/Chicago"):
        time_zone(zone)


def test_a_degree_of_latitude_is_111_kilometres():
    # A minute of arc along a meridian is a nautical mile, 1852 m; so a degree is 111.1 km.
    assert distance_km((40, -75), (41, -75)) == pytest.approx(111.1, abs=0.2)


@pytest.mark.django_db
def test_sites_close_by_share_a_place():
    first = services.place_for(latitude=33.5, longitude=-86.8, zone=ZONE)

    near = services.place_for(latitude=33.515, longitude=-86.8, zone=ZONE)
    far = services.place_for(latitude=33.53, longitude=-86.8, zone=ZONE)

    assert near == first
    assert far != first


@pytest.mark.django_db
def test_a_hill_is_another_place():
    valley = services.place_for(latitude=33.5, longitude=-86.8, zone=ZONE, elevation_m=180)

    slope = services.place_for(latitude=33.51, longitude=-86.8, zone=ZONE, elevation_m=220)
    hill = services.place_for(latitude=33.51, longitude=-86.8, zone=ZONE, elevation_m=320)

    assert slope == valley
    assert hill != valley


@pytest.mark.django_db
def test_a_place_is_kept_once():
    services.place_for(latitude=33.5, longitude=-86.8, zone=ZONE)

    with pytest.raises(IntegrityError):
        Place.objects.create(latitude=Decimal("33.5"), longitude=Decimal("-86.8"), zone=ZONE)


@pytest.mark.django_db
def test_a_place_never_fetched_is_answered_from_its_neighbour_with_the_distance():
    now = datetime(2026, 3, 10, 12, tzinfo=UTC)
    new = services.place_for(latitude=33.5, longitude=-86.8, zone=ZONE)
    near = services.place_for(latitude=33.7, longitude=-86.8, zone=ZONE)
    far = services.place_for(latitude=36.0, longitude=-86.8, zone=ZONE)
    hours = Hours.unknown(start=now, count=2)
    for place in (near, far):
        Forecast.objects.create(
            place=place,
            source="nws",
            issued_at=now,
            fetched_at=now,
            start=now,
            count=2,
            layers=layers_of(hours),
        )

    neighbour, away_km = nearest_with_forecast(new)

    assert neighbour == near
    assert away_km == pytest.approx(22.2, abs=0.3)
    assert nearest_with_forecast(far) is None
