"""A sample of a backlog file, which can itself be taken in."""

import csv
import io
from datetime import date, timedelta


def sample_csv(
    *, system: str, day: date, us: bool, place_by_hand: tuple[str, str, str] | None
) -> str:
    """Two rows around `day` with the usual columns; `place_by_hand` outside the United States."""
    latitude, longitude, zone = place_by_hand or ("", "", "")
    code = "35203" if place_by_hand is None else ""
    town = "" if place_by_hand is None else "Our town"
    garage, patio = ("450", "1,200") if us else ("42", "110")
    header = (
        "customer", "e-mail", "telephone", "street", "town", "postal code", "latitude",
        "longitude", "zone", "floor", "exposure", "area", "edge", "steps", "condition", "system",
        "wish", "day", "impossible days", "car needed by", "color", "notes",
    )  # fmt: skip
    days_off = f"{day}, {day + timedelta(days=2)} to {day + timedelta(days=4)}"
    rows = (
        (
            "Ada Fields", "ada@mail.example", "205-555-0123", "12 Oak Street", town, code,
            latitude, longitude, zone, "Garage", "closed garage", garage, "", "1", "bare",
            system, "any", "", days_off, "", "gray", "dog in the yard",
        ),
        (
            "Ben Stone", "", "205-555-0188", "7 Elm Street", town, code, latitude, longitude,
            zone, "Patio", "open patio", patio, "", "", "sealer", system, "prefers",
            str(day), "", f"{day + timedelta(days=5)} 17:00", "", "",
        ),
    )  # fmt: skip
    text = io.StringIO()
    csv.writer(text).writerows([header, *rows])
    return text.getvalue()
