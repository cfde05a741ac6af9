"""Cards as boxes: what was not touched stays exact, what is wrong is named by its label.

Conversions: NIST Special Publication 811, appendix B.
"""

import pytest

from jobs.rules.card_boxes import BOXES, BadBoxes, read_card, shown
from jobs.rules.card_json import card_to_json
from jobs.rules.cards import CureTime
from jobs.rules.catalogue import catalogue

CARDS = [each.card for each in catalogue()]


def typed(card, *, us=True, **changed):
    given = {
        "name": card.name,
        "table": card.table.value,
        "two_days": card.two_days,
        "overnight": card.overnight,
        "source": card.sources.get("card", ""),
    }
    texts = {**shown(card, us=us), **{key: text for key, text in changed.items() if key in BOXES}}
    given |= {key: value for key, value in changed.items() if key not in BOXES}
    return read_card(texts, kept=card, us=us, **given)


@pytest.mark.parametrize("us", [True, False])
@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.name)
def test_opening_and_keeping_a_card_changes_nothing(card, us):
    assert card_to_json(typed(card, us=us)) == card_to_json(card)


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.name)
def test_every_value_of_a_card_has_a_box(card):
    apart = {"name", "table", "two_days", "overnight", "sources"}

    assert set(card_to_json(card)) == set(BOXES) | apart


def test_american_boxes_are_kept_in_metric():
    card = typed(
        CARDS[0],
        slab_min_c="50",
        spread_min_c="5.4",
        base_m2_per_l="100",
        abrade_h_per_m2="0.6",
        kit_l="3",
    )

    assert card.slab_min_c == pytest.approx(10)
    assert card.spread_min_c == pytest.approx(3)
    assert card.base_m2_per_l == pytest.approx(2.4542, rel=1e-4)  # 100 sq ft/gal
    assert card.abrade_h_per_m2 == pytest.approx(0.6 / 9.290304)
    assert card.kit_l == pytest.approx(11.356235352)


def test_times_are_rows_and_an_energy():
    card = typed(CARDS[0], drive_on="50 °F: 72 h\n77 = 24\nenergy 60 kJ/mol")
    soft = typed(CARDS[0], us=False, working_minutes="10 = 20\n25 = 12")

    assert card.drive_on.points == ((pytest.approx(10), 72), (pytest.approx(25), 24))
    assert card.drive_on.energy_kj_mol == 60
    assert soft.working_minutes == CureTime(((10, 20 / 60), (25, 12 / 60)))


def test_a_changed_value_loses_the_source_of_the_old_one():
    before = CARDS[0]
    changed = typed(before, spread_min_c="6", source="Sheet of the product in use, May 2026")

    assert "spread_min_c" in before.sources
    assert "spread_min_c" not in changed.sources
    assert changed.sources["card"] == "Sheet of the product in use, May 2026"
    assert changed.sources["working_minutes"] == before.sources["working_minutes"]


@pytest.mark.parametrize(
    ("box", "text", "sentence"),
    [
        ("slab_min_c", "", "Slab, at least: please fill this in from the data sheet."),
        ("slab_min_c", "warm", "is not a number"),
        ("slab_min_c", "99", "Slab, at least lies above: slab, care below."),
        ("humidity_max_pct", "120", "Humidity of the air, at most: cannot be above 100 %"),
        ("mix_a", "0", "Part A: must be above zero"),
        ("shelf_life_days", "30.5", "A kit keeps: must be whole days"),
        ("set", "soon", 'Base coat until scraping or the next coat: "soon" is no row'),
        ("set", "50 = 3", "a single row needs an energy"),
        ("set", "50 = 3\n70 = 4", "a warmer row cannot take longer than a colder one"),
        ("set", "70 = 1\n50 = 3", "rows must rise in temperature"),
        ("walk_on", "", "Top coat until walk-on: please fill this in"),
    ],
)
def test_what_is_wrong_is_named_by_its_label(box, text, sentence):
    with pytest.raises(BadBoxes) as wrong:
        typed(CARDS[0], **{box: text})

    assert sentence in wrong.value.problems[box]


def test_all_boxes_at_fault_are_named_at_once():
    with pytest.raises(BadBoxes) as wrong:
        typed(CARDS[0], slab_min_c="", mix_a="two", set="?")

    assert set(wrong.value.problems) == {"slab_min_c", "mix_a", "set"}
