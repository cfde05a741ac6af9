"""Small replies of our own in the shapes the services document.

api.weather.gov/openapi.json (points, gridpoints, hourly forecast) and api.met.no's
Locationforecast data model. Values are invented.
"""

from datetime import UTC, datetime, timedelta
from typing import Any

ISSUED = datetime(2026, 3, 10, 12, 20, tzinfo=UTC)
START = datetime(2026, 3, 10, 6, tzinfo=UTC)
HOUR = timedelta(hours=1)


def at(hours: float) -> str:
    """The time `hours` after START, as the US service writes it."""
    return (START + hours * HOUR).isoformat()


def layer(unit: str, *values: tuple[float, str, object]) -> dict[str, Any]:
    """A layer of a raw grid from (hours after START, duration, value)."""
    return {
        "uom": f"wmoUnit:{unit}",
        "values": [
            {"validTime": f"{at(h)}/{length}", "value": value} for h, length, value in values
        ],
    }


def grid(*, issued: datetime = ISSUED, **changed: Any) -> dict[str, Any]:
    """A raw grid of two days; `changed` replaces a layer by its name, None takes it out."""
    properties: dict[str, Any] = {
        "updateTime": issued.isoformat(),
        "validTimes": f"{at(0)}/P2D",
        "temperature": layer("degC", (0, "PT12H", 10), (12, "P1DT12H", 18)),
        "dewpoint": layer("degC", (0, "P2D", 5)),
        "relativeHumidity": layer("percent", (0, "P2D", 60)),
        "probabilityOfPrecipitation": layer("percent", (0, "PT12H", 0), (12, "P1DT12H", 40)),
        "quantitativePrecipitation": layer(
            "mm", (0, "PT6H", 0), (6, "PT6H", 0), (12, "PT6H", 3.0), (18, "P1DT6H", 0)
        ),
        "snowfallAmount": layer("mm", (0, "P2D", 0)),
        "windSpeed": layer("km_h-1", (0, "P2D", 7.408)),
        "windGust": layer("km_h-1", (0, "P2D", 14.816)),
        "skyCover": layer("percent", (0, "P2D", 30)),
        "weather": {"values": []},
    }
    properties |= changed
    kept = {name: value for name, value in properties.items() if value is not None}
    return {"type": "Feature", "geometry": cell(), "properties": kept}


def cell(*, east: float = -86.8, north: float = 33.5) -> dict[str, Any]:
    """The polygon of a grid cell around a point."""
    corners = [(-1, 1), (-1, -1), (1, -1), (1, 1), (-1, 1)]
    ring = [[east + 0.014 * x, north + 0.012 * y] for x, y in corners]
    return {"type": "Polygon", "coordinates": [ring]}


def point(*, x: int = 59, y: int = 84, **changed: Any) -> dict[str, Any]:
    """The answer of /points for a place on land."""
    return {"properties": {"gridId": "BMX", "gridX": x, "gridY": y, "type": "land", **changed}}


def problem(kind: str, status: int) -> dict[str, Any]:
    """An error in the shape of RFC 9457, as the US service sends it."""
    return {"type": f"https://api.weather.gov/problems/{kind}", "status": status, "title": kind}


def hourly(count: int = 6, *, issued: datetime = ISSUED, **changed: Any) -> dict[str, Any]:
    """An hourly forecast in the zone six hours behind UTC; `changed` goes into each period."""
    first = datetime.fromisoformat("2026-03-10T07:00:00-06:00")
    periods = [
        {
            "startTime": (first + i * HOUR).isoformat(),
            "endTime": (first + (i + 1) * HOUR).isoformat(),
            "temperature": 50,
            "temperatureUnit": "F",
            "dewpoint": {"unitCode": "wmoUnit:degC", "value": 5},
            "relativeHumidity": {"unitCode": "wmoUnit:percent", "value": 71},
            "probabilityOfPrecipitation": {"unitCode": "wmoUnit:percent", "value": 20},
            "windSpeed": "5 to 10 mph",
            "shortForecast": "Partly Sunny",
            **changed,
        }
        for i in range(count)
    ]
    return {"properties": {"updateTime": issued.isoformat(), "periods": periods}}


def step(hours: float, *, one: Any = None, six: Any = None, **details: Any) -> dict[str, Any]:
    """One step of a MET Norway answer, `hours` after START."""
    instant = {
        "air_temperature": 10.0,
        "dew_point_temperature": 4.0,
        "relative_humidity": 66.0,
        "wind_speed": 5.0,
        "cloud_area_fraction": 40.0,
        **details,
    }
    data: dict[str, Any] = {"instant": {"details": instant}}
    for name, amount in (("next_1_hours", one), ("next_6_hours", six)):
        if amount is not None:
            told = amount if isinstance(amount, dict) else {"precipitation_amount": amount}
            data[name] = {"details": told}
    return {"time": at(hours).replace("+00:00", "Z"), "data": data}


def metno(*steps: dict[str, Any], issued: datetime = ISSUED, **units: str) -> dict[str, Any]:
    """A MET Norway answer of these steps, or of twelve dry hours and one six-hour step."""
    stated = {
        "air_temperature": "celsius",
        "dew_point_temperature": "celsius",
        "relative_humidity": "%",
        "wind_speed": "m/s",
        "wind_speed_of_gust": "m/s",
        "cloud_area_fraction": "%",
        "precipitation_amount": "mm",
        "probability_of_precipitation": "%",
        **units,
    }
    usual = [*(step(i, one=0.0, six=0.0) for i in range(12)), step(12, six=1.2), step(18)]
    meta = {"updated_at": issued.isoformat().replace("+00:00", "Z"), "units": stated}
    return {"properties": {"meta": meta, "timeseries": list(steps) or usual}}


def stations(*, height_m: float = 190.0) -> dict[str, Any]:
    """The stations of a cell: one far away, then one 10 km off."""
    spots = (("KFAR", -86.0, 34.2), ("KTST", -86.7, 33.46))
    return {
        "features": [
            {
                "geometry": {"type": "Point", "coordinates": [east, north]},
                "properties": {
                    "stationIdentifier": name,
                    "elevation": {"unitCode": "wmoUnit:m", "value": height_m},
                },
            }
            for name, east, north in spots
        ]
    }


def observation(when: datetime, **changed: Any) -> dict[str, Any]:
    """One report of a station; `changed` replaces measures by name."""
    measures = {
        "temperature": ("degC", 7.0),
        "dewpoint": ("degC", 3.0),
        "relativeHumidity": ("percent", 76.0),
        "windSpeed": ("km_h-1", 11.0),
        "windGust": ("km_h-1", None),
        "precipitationLastHour": ("mm", None),
        **changed,
    }
    properties: dict[str, Any] = {
        "timestamp": when.isoformat(),
        "cloudLayers": [{"amount": "FEW"}, {"amount": "BKN"}],
    }
    for name, stated in measures.items():
        unit, value, *flag = stated
        quality = flag[0] if flag else "V"
        properties[name] = {
            "unitCode": f"wmoUnit:{unit}",
            "value": value,
            "qualityControl": quality,
        }
    return {"properties": properties}
