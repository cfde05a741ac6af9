"""Cards as JSON: nothing is lost, and what is wrong is named."""

import json

import pytest

from jobs.rules.card_json import BadCard, card_from_json, card_to_json
from jobs.rules.catalogue import ONE_DAY, catalogue
from tests.jobs.rules.floors import EPOXY_BASE, FAST

CARDS = [system.card for system in catalogue()] + [FAST, EPOXY_BASE]
TIME = {"points": [[21.1, 1.5]], "energy_kj_mol": 45}


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.name)
def test_a_card_comes_back_as_it_was(card):
    assert card_from_json(json.loads(json.dumps(card_to_json(card)))) == card


def test_a_card_from_before_a_value_existed_takes_its_default():
    kept = card_to_json(ONE_DAY)
    del kept["base_rain_safe"], kept["spread_min_c"]

    assert card_from_json(kept).spread_min_c == 3.0


@pytest.mark.parametrize(
    ("field", "value", "wrong"),
    [
        ("name", "  ", "not empty"),
        ("table", "steps", "must be step or curve, not 'steps'"),
        ("slab_min_c", "10", "must be a number"),
        ("slab_min_c", True, "must be a number"),
        ("slab_min_c", float("nan"), "must be a number"),
        ("slab_min_c", None, "must be a number"),
        ("slab_min_c", 20, "20 is above slab_amber_below_c"),
        ("stop_c", 11, "11 is above slab_min_c"),
        ("humidity_max_pct", 101, "above 100 %"),
        ("recoat_until_h", 0, "above zero"),
        ("mix_b", -1, "below zero"),
        ("base_m2_per_l", 0, "above zero"),
        ("shelf_life_days", 1.5, "whole days"),
        ("two_days", "yes", "true or false"),
        ("sources", ["a book"], "a source for each value"),
        ("sources", {"set": 3}, "not empty"),
        ("set", 3, "points of temperature and hours"),
        ("set", {"points": 3}, "points of temperature and hours"),
        ("set", {"points": []}, "at least one row"),
        ("set", {"points": [[21.1, 1.5]]}, "needs an energy"),
        ("set", {"points": [[20, 2], [10, 3]]}, "rise in temperature"),
        ("set", {"points": [[10, 2], [20, 3]]}, "cannot take longer"),
        ("set", {"points": [[10, 0], [20, 0]]}, "above zero"),
        ("set", {"points": [[10, 2, 3]]}, "a temperature and hours"),
        ("set", {"points": [[10, "2"]]}, "must be a number"),
        ("set", {**TIME, "energy_kj_mol": 4500}, "not one of a coating"),
        ("set", {**TIME, "energy": 45}, "does not know energy"),
        ("colour", "grey", "not a value that a card has"),
    ],
)
def test_what_is_wrong_is_named_with_its_field(field, value, wrong):
    typed = {**card_to_json(ONE_DAY), field: value}

    with pytest.raises(BadCard, match=wrong) as refused:
        card_from_json(typed)

    assert refused.value.field.startswith(field)


def test_a_missing_value_is_named():
    typed = card_to_json(ONE_DAY)
    del typed["drive_on"]

    with pytest.raises(BadCard, match="drive_on: is missing"):
        card_from_json(typed)


def test_what_is_no_card_at_all_is_refused():
    with pytest.raises(BadCard, match="named values"):
        card_from_json([1, 2])
