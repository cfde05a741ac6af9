"""A plain test card: two invented systems with their labour, as files that `floor_day` takes.

Figures are common practice: a fast flake floor of one day and a two-day floor with an epoxy
base, read by steps of slab temperature, and two people who finish a double garage in a day.
"""

import csv
import json
from dataclasses import asdict
from pathlib import Path

import numpy as np

from jobs.rules.card_json import card_to_json
from jobs.rules.cards import Card
from tests.dispatch.rules.skies import PLANNING_THRESHOLDS
from tests.jobs.rules.floors import EPOXY_BASE, FAST, PLANNING_RATES
from weather.rules.hours import LAYERS, Hours, SlabHours

CARDS = {"fast": FAST, "two-day": EPOXY_BASE}


def card_file(folder: Path, card: Card) -> str:
    """The card with its rates and thresholds, written down."""
    path = folder / "card.json"
    rates, thresholds = asdict(PLANNING_RATES), asdict(PLANNING_THRESHOLDS)
    whole = {"card": card_to_json(card), "rates": rates, "thresholds": thresholds}
    path.write_text(json.dumps(whole), encoding="utf-8")
    return str(path)


def hours_file(folder: Path, hours: Hours, slab: SlabHours) -> str:
    """Every hour of a sky with the slab beside it, written down; unknown is left empty."""
    path = folder / "hours.csv"
    layers = {name: getattr(hours, name) for name in LAYERS}
    layers |= {"slab_c": slab.mid_c, "slab_cold_c": slab.cold_c, "slab_warm_c": slab.warm_c}
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["at", *layers])
        for position, at in enumerate(hours.starts()):
            values = [series[position] for series in layers.values()]
            rows.writerow([at.isoformat(), *("" if np.isnan(v) else f"{v:g}" for v in values)])
    return str(path)
