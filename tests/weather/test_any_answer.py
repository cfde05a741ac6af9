"""Whatever stands where in an answer, a reader gives hours or refuses by name; it never breaks.

Properties: a good document with one part replaced by anything JSON can hold is read or
refused; what is read is finite, in range and of one length; unknown stays unknown; an older
forecast never replaces a newer one.
"""

import copy
from contextlib import suppress
from datetime import timedelta
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.weather.replies import (
    HOUR,
    ISSUED,
    START,
    grid,
    hourly,
    metno,
    observation,
    point,
    stations,
)
from tests.weather.test_open_meteo import ensemble, forecast
from weather import services
from weather.answers import BadAnswer
from weather.models import Place
from weather.providers import metno as metno_reader
from weather.providers import nws_stations, open_meteo
from weather.providers.contract import Spot
from weather.providers.nws import covers, parse_point
from weather.providers.nws_grid import parse_grid
from weather.providers.nws_hourly import parse_hourly
from weather.providers.sanity import RANGES
from weather.reads import latest_forecast
from weather.rules.hours import LAYERS, Hours
from weather.rules.intervals import Stretch, copied, shared

NOW = ISSUED + HOUR
SPOT = Spot(Decimal("33.5"), Decimal("-86.8"), 190.0)
REPORTS = {"features": [observation(NOW - i * HOUR) for i in range(4)]}

READERS = {
    "grid": (grid(), lambda d: parse_grid(d, fetched_at=NOW)),
    "hourly": (hourly(), lambda d: parse_hourly(d, fetched_at=NOW)),
    "metno": (metno(), lambda d: metno_reader.parse(d, fetched_at=NOW)),
    "open-meteo": (forecast(6), lambda d: open_meteo.parse(d, fetched_at=NOW)),
    "members": (ensemble(of=10, count=6, at=2), open_meteo.parse_members),
    "point": (point(), parse_point),
    "cell": (grid(), lambda d: covers(d, SPOT)),
    "stations": (stations(), lambda d: nws_stations.parse_stations(d, spot=SPOT)),
    "observations": (REPORTS, lambda d: nws_stations.parse_observations(d, now=NOW)),
}

ANYTHING = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**25), 10**25)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=12)
    | st.sampled_from(
        [
            "2026-03-10T12:00:00+00:00",
            "2026-03-10T12:00:00",
            "9999-12-31T23:00:00Z",
            "PT1H",
            "/",
            "-",
        ]
    ),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3)
    ),
    max_leaves=5,
)


def spots_of(document, path=()):
    """The path of every value in a document, the document itself left out."""
    items = (
        document.items()
        if isinstance(document, dict)
        else enumerate(document)
        if isinstance(document, list)
        else ()
    )
    for key, value in items:
        yield (*path, key)
        yield from spots_of(value, (*path, key))


def replaced(document, path, value):
    changed = copy.deepcopy(document)
    at = changed
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value
    return changed


@pytest.mark.parametrize("name", READERS)
@settings(max_examples=150)
@given(data=st.data())
def test_one_part_replaced_by_anything_is_read_or_refused_by_name(name, data):
    document, read = READERS[name]
    path = data.draw(st.sampled_from(list(spots_of(document))))
    changed = replaced(document, path, data.draw(ANYTHING))

    with suppress(BadAnswer):
        found = read(changed)
        if isinstance(found, Hours):
            sound(found)


@pytest.mark.parametrize("name", READERS)
@given(document=ANYTHING)
def test_any_document_at_all_is_read_or_refused_by_name(name, document):
    _, read = READERS[name]
    if not isinstance(document, dict):
        document = {"properties": document, "hourly": document, "features": document}

    with suppress(BadAnswer):
        read(document)


def sound(hours: Hours) -> None:
    """Every layer is as long as the others, finite or unknown, and possible."""
    for name in LAYERS:
        values = getattr(hours, name)
        known = values[~np.isnan(values)]
        low, high = RANGES[name]
        assert len(values) == len(hours)
        assert ((known >= low) & (known <= high)).all(), name
    both = ~np.isnan(hours.dew_c) & ~np.isnan(hours.air_c)
    assert (hours.dew_c[both] <= hours.air_c[both] + 1e-9).all()


@given(
    st.lists(st.tuples(st.integers(1, 30), st.floats(0, 50)), min_size=1, max_size=6),
    st.integers(0, 40),
)
def test_a_series_cut_anywhere_keeps_what_each_hour_had(row, cut):
    stretches, at = [], START
    for length, value in row:
        stretches.append(Stretch(at, at + length * HOUR, value))
        at += length * HOUR
    count = sum(length for length, _ in row)
    cut = min(cut, count - 1)

    whole_total = shared(stretches, start=START, count=count)
    whole_state = copied(stretches, start=START, count=count)

    later = START + cut * HOUR
    assert np.allclose(shared(stretches, start=later, count=count - cut), whole_total[cut:])
    assert np.array_equal(copied(stretches, start=later, count=count - cut), whole_state[cut:])
    assert not np.isnan(whole_total).any()


@given(st.lists(st.one_of(st.none(), st.floats(-20, 40)), min_size=3, max_size=40))
def test_what_a_service_does_not_say_stays_unknown(airs):
    document = forecast(
        len(airs),
        temperature_2m=("°C", airs),
        dew_point_2m=("°C", [None] * len(airs)),
        relative_humidity_2m=("%", [None] * len(airs)),
    )

    try:
        hours = open_meteo.parse(document, fetched_at=NOW)
    except BadAnswer:
        assert all(air is None for air in airs)
        return
    for position, air in enumerate(airs):
        index = hours.index(START + (position + 1) * HOUR)
        if 0 <= index < len(hours):
            assert np.isnan(hours.air_c[index]) == (air is None)
        else:
            assert air is None
    assert np.isnan(hours.dew_c).all()


@pytest.mark.django_db
@settings(max_examples=25)
@given(ages=st.lists(st.integers(0, 30), min_size=1, max_size=7, unique=True))
def test_whatever_the_order_of_arrival_the_newest_issue_counts(ages):
    place, _ = Place.objects.get_or_create(latitude=33.5, longitude=-86.8, zone="UTC")
    place.forecasts.all().delete()
    newest = None
    for number, age in enumerate(ages):
        issued = ISSUED - age * HOUR
        hours = parse_grid(grid(issued=issued), fetched_at=NOW)
        kept = services.keep(place, hours, now=NOW + timedelta(seconds=number))
        assert (kept is not None) == (newest is None or issued > newest)
        newest = max(filter(None, (newest, issued)))
        assert latest_forecast(place, now=NOW + HOUR).issued_at == newest
