"""Recorded replies of the services, where a machine has them: each is read or refused by name."""

import json
from datetime import UTC, datetime

import numpy as np

from weather.answers import BadAnswer, decode
from weather.providers import metno, open_meteo
from weather.providers.nws_grid import parse_grid
from weather.providers.nws_hourly import parse_hourly

FETCHED = datetime(2027, 1, 1, tzinfo=UTC)


def readers(path):
    """How a file in its folder is read: every way that could be meant."""
    return {
        "nws": [parse_grid, parse_hourly],
        "metno": [metno.parse],
        "open-meteo": [open_meteo.parse],
    }[path]


def read(body, ways):
    """Hours, or the refusals of every way."""
    refusals = []
    for way in ways:
        try:
            document = decode(body)
            document = document.get("data", document)  # some were recorded with their headers
            return way(document, fetched_at=FETCHED), refusals
        except BadAnswer as refusal:
            refusals.append(str(refusal))
    return None, refusals


def files(samples):
    return sorted(path for path in samples.rglob("*.json") if path.parent != samples)


def test_every_recorded_reply_is_read_or_refused_by_name(samples):
    for path in files(samples):
        folder = path.relative_to(samples).parts[0]
        hours, refusals = read(path.read_bytes(), readers(folder))

        assert hours is not None or all(refusals), path
        if hours is not None:
            assert not np.isnan(hours.air_c).all(), path
            assert np.nanmin(hours.rain_mm, initial=0) >= 0, path
            assert (hours.dew_c[~np.isnan(hours.dew_c)] <= 40).all(), path


def test_recorded_forecasts_are_all_read(samples):
    unread = []
    for path in files(samples):
        name = path.relative_to(samples).as_posix()
        meant = name.startswith(("nws/gridpoint_", "nws/hourly_", "metno/comp"))
        if meant and "headers.json" not in name.replace("with_headers", ""):
            hours, refusals = read(path.read_bytes(), readers(name.partition("/")[0]))
            if hours is None:
                unread.append((name, refusals))

    assert unread == []


def test_no_recorded_total_of_rain_is_lost(samples):
    for path in samples.glob("nws/gridpoint_*.json"):
        document = json.loads(path.read_bytes())
        layer = document["properties"]["quantitativePrecipitation"]["values"]
        hours = parse_grid(document, fetched_at=FETCHED)

        total = sum(item["value"] for item in layer)
        assert abs(np.nansum(hours.rain_mm) - total) < 0.3, path
