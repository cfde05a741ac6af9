"""The United States National Weather Service: api.weather.gov, open data, no key.

Format: the service's own API description (api.weather.gov/openapi.json). The raw grid is
read first, because it still answers when the hourly text forecast has a hole; the hourly one
is the fallback. The service changes its grids without notice, so a cell is checked against
the place and looked up again.
"""

import re
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings

from weather import http
from weather.answers import BadAnswer, section
from weather.providers.contract import Memory, NotHere, Said, Spot
from weather.providers.nws_grid import parse_grid
from weather.providers.nws_hourly import parse_hourly

__all__ = ["ask", "look_up", "parse_grid", "parse_hourly", "parse_point"]

NAME = "nws"
CREDIT = "Forecast: US National Weather Service"
# Without this header the service has been seen to hand out a copy that is days old.
ACCEPT = "application/geo+json"
GRID = re.compile(r"[A-Z]{3}/\d{1,4},\d{1,4}")
RESOLVE_EVERY = timedelta(days=7)
# A cell is 2.5 km wide; the place may lie on its edge, and corners are rounded.
NEAR_CELL_DEG = 0.03


def ask(spot: Spot, *, memory: Memory, now: datetime) -> Said:
    """The newest forecast for `spot`, looking up its grid cell first where that is needed.

    Raises `NotHere` outside the service's area, `BadAnswer` and `http.Trouble` as they come.
    """
    grid = memory.nws_grid if memory.nws_grid is not None else look_up(spot)
    if not grid:
        raise NotHere("the US service does not cover this place")
    try:
        return _ask_grid(spot, grid=grid, memory=memory, now=now)
    except http.Refused as refusal:
        if refusal.kind == "stop":
            raise
        if refusal.status != 404:  # the grid fails for hours or days; the hourly text may not
            return _ask_hourly(grid=grid, now=now, why=refusal)
        return _ask_elsewhere(spot, grid=grid, now=now, why=refusal)
    except BadAnswer as trouble:
        return _ask_elsewhere(spot, grid=grid, now=now, why=trouble)


def _ask_elsewhere(spot: Spot, *, grid: str, now: datetime, why: Exception) -> Said:
    """The cell fails as if it had moved: look it up again, or take the hourly forecast."""
    moved = look_up(spot)
    if not moved:
        raise NotHere("the US service no longer covers this place") from why
    if moved != grid:
        return _ask_grid(spot, grid=moved, memory=Memory(), now=now)
    return _ask_hourly(grid=grid, now=now, why=why)


def look_up(spot: Spot) -> str:
    """The grid cell of `spot` as "BMX/59,84", or "" where the service has none."""
    path = f"/points/{degrees(spot.latitude)},{degrees(spot.longitude)}"
    try:
        answer = http.get_json(settings.NWS_URL, path, accept=ACCEPT)
    except http.Refused as refusal:
        if refusal.problem in {"InvalidPoint", "MarineForecastNotSupported"}:
            return ""
        raise
    return parse_point(answer.document)


def degrees(value: object) -> str:
    """At most four decimals and no trailing zeros: with them the service redirects."""
    return f"{float(str(value)):.4f}".rstrip("0").rstrip(".")


def parse_point(document: dict[str, Any] | None) -> str:
    """The grid cell a /points answer names, or "" for a point at sea."""
    properties = section(document, "properties")
    if properties.get("type") == "marine":
        return ""
    grid = f"{properties.get('gridId')}/{properties.get('gridX')},{properties.get('gridY')}"
    if not GRID.fullmatch(grid):
        raise BadAnswer(f"the point names no grid cell: {grid[:60]!r}")
    return grid


def _ask_grid(spot: Spot, *, grid: str, memory: Memory, now: datetime) -> Said:
    answer = http.get_json(
        settings.NWS_URL,
        f"/gridpoints/{grid}",
        accept=ACCEPT,
        if_modified_since=memory.last_modified,
    )
    if answer.document is None:
        return Said(None, answer.last_modified, answer.expires_at, grid)
    if not covers(answer.document, spot):
        raise BadAnswer(f"grid cell {grid} has moved away from the place")
    hours = parse_grid(answer.document, fetched_at=now)
    return Said(hours, answer.last_modified, answer.expires_at, grid)


def _ask_hourly(*, grid: str, now: datetime, why: Exception) -> Said:
    """The hourly forecast; when it fails as well, what was wrong with the grid says more."""
    path = f"/gridpoints/{grid}/forecast/hourly?units=si"
    try:
        answer = http.get_json(settings.NWS_URL, path, accept=ACCEPT)
        hours = parse_hourly(answer.document, fetched_at=now)
    except (http.Refused, BadAnswer) as second:
        if isinstance(second, http.Refused) and second.kind == "stop":
            raise
        raise why from second
    return Said(hours, "", answer.expires_at, grid, (f"hourly forecast used: {why}",))


def covers(document: dict[str, Any], spot: Spot) -> bool:
    """Whether the answer's cell lies at `spot`; an answer without a cell is believed."""
    geometry = document.get("geometry")
    try:
        ring = geometry["coordinates"][0] if isinstance(geometry, dict) else None
        corners = [(float(x), float(y)) for x, y in ring] if ring else []
    except (KeyError, IndexError, TypeError, ValueError):
        raise BadAnswer("the answer's cell is not a polygon") from None
    if not corners:
        return True
    easts, norths = [x for x, _ in corners], [y for _, y in corners]
    east, north = float(spot.longitude), float(spot.latitude)
    return (
        min(easts) - NEAR_CELL_DEG <= east <= max(easts) + NEAR_CELL_DEG
        and min(norths) - NEAR_CELL_DEG <= north <= max(norths) + NEAR_CELL_DEG
    )
