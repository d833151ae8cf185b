"""Derived quantities against examples worked by hand. The store they come from is invented; the formulas are geometry
and the conservation of mass."""

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented import store_of
from pint import UnitRegistry

from trayconcord.generators.plan import plan
from trayconcord.generators.plan_output import plan_object, text_plan
from trayconcord.generators.quantities import Derived, derived, range_written
from trayconcord.kb.case_file import case_of_words
from trayconcord.kb.store import Store
from trayconcord.shapes.compare import Comparison

NOTES = """\
source: {id: one-work, title: One, kind: textbook}
claims:
  - {parameter: spacer-thickness, value: 3 mm, at: p. 1, obtained: read}
  - {parameter: wall-thickness, value: 2-3 mm, at: p. 2, obtained: read}
  - {parameter: wax-sheet-thickness, when: {spacer-material: baseplate-wax}, value: 1.5 mm, at: p. 3, obtained: read}
  - {parameter: wax-sheet-thickness, when: {spacer-material: casting-wax}, value: 0.4 mm, at: p. 3, obtained: read}
  - {parameter: polymer-density, value: 1.2 g/cm3, at: p. 4, obtained: read}
  - {parameter: monomer-density, value: 0.945 g/cm3, at: p. 4, obtained: read}
  - {parameter: polymer-monomer-ratio, value: "2:1 by mass", at: p. 5, obtained: read}
  - {parameter: volumetric-shrinkage, when: {substance: acrylic-dough}, value: 6 %, at: p. 6, obtained: read}
"""
CASE = ["arch=maxillary", "tray-material=autopolymerising-resin"]


def quantities(store: Store, *words: str) -> dict[str, Derived]:
    case = case_of_words([*CASE, *words], store.vocabulary)
    return {found.label: found for found in derived(plan(store, Comparison(store), case))}


def test_sheets_come_nearest_to_the_spacer_and_say_what_they_miss_it_by(tmp_path: Path) -> None:
    """By hand: 2 x 1.5 = 3 mm fits; of 0.4 mm six make 2.4 mm, the most that anybody lays, 0.6 mm short: not named."""
    told = quantities(store_of(tmp_path, NOTES))["sheets for the spacer"].text
    assert told == "2 sheets of 1.5 mm baseplate wax, 3 mm, which fits"


def test_a_tray_without_a_spacer_takes_no_sheet(tmp_path: Path) -> None:
    found = quantities(
        store_of(tmp_path, NOTES.replace("spacer-thickness, value: 3 mm", "spacer-thickness, value: none"))
    )
    assert found["sheets for the spacer"].text == "no sheet: there is no spacer"


def test_volumes_and_masses_of_a_tray(tmp_path: Path) -> None:
    """By hand, for 20 cm2: 20 x 0.2 to 0.3 = 4 to 6 cm3; x 1.2 = 4.8 to 7.2 g; by 2:1 a third is liquid, 1.6 to 2.4 g,
    which is 1.69 to 2.54 mL at 0.945 g/cm3; 4 and 6 cm3 are 94 % of 4.26 and 6.38 cm3; 20 x 0.3 = 6 cm3 of space."""
    found = quantities(store_of(tmp_path, NOTES), "area=20 cm2")
    assert found["resin of the tray body"].text == "4–6 cm³, 4.8–7.2 g"
    assert found["powder and liquid"].text == (
        "3.2–4.8 g of powder with 1.6–2.4 g of liquid (1.6–2.6 mL); the maker’s measure comes first"
    )
    assert found["dough before it shrinks"].text == "4.2–6.4 cm³"
    assert found["impression material"].text == "6 cm³ between tray and tissue, without what escapes"


def test_the_arithmetic_is_that_of_a_general_library_of_units(tmp_path: Path) -> None:
    """The mass of the tray by Pint, in exact fractions."""
    units = UnitRegistry(non_int_type=Fraction)
    area, wall, density = units("20 cm**2"), units("2 mm"), units("1.2 g/cm**3")
    mass = (area * wall * density).to("gram").magnitude
    thin = NOTES.replace("2-3 mm", "2 mm")
    told = quantities(store_of(tmp_path, thin), "area=20 cm2")["resin of the tray body"].text
    assert told == f"4 cm³, {float(mass):.1f} g" == "4 cm³, 4.8 g"


def test_inputs_stand_beside_each_quantity_with_what_they_rest_on(tmp_path: Path) -> None:
    found = quantities(store_of(tmp_path, NOTES), "area=2000 mm2")["resin of the tray body"]
    assert [(given.label, given.text, given.basis) for given in found.inputs] == [
        ("area of the fitting surface", "20 cm²", "measured"),
        ("wall thickness", "2–3 mm", "one voice only"),
        ("density of the polymer", "1.2 g/cm³", "one voice only"),
    ]


@pytest.mark.parametrize(
    ("before", "after", "reason"),
    [
        ("wall-thickness, value: 2-3 mm", "wall-thickness, value: '>= 2 mm'", "wall thickness has an open end"),
        ("wall-thickness, value: 2-3 mm", "handle-length, value: 12 mm", "no value of wall thickness for this case"),
        ("value: 1.2 g/cm3", "when: {arch: mandibular}, value: 1.2 g/cm3", "no value of density of the polymer"),
    ],
)
def test_without_an_input_nothing_is_computed(tmp_path: Path, before: str, after: str, reason: str) -> None:
    found = quantities(store_of(tmp_path, NOTES.replace(before, after)), "area=20 cm2")["resin of the tray body"]
    assert found.text == ""
    assert found.missing.startswith(reason)


def test_no_area_is_assumed(tmp_path: Path) -> None:
    found = quantities(store_of(tmp_path, NOTES))["resin of the tray body"]
    assert (found.text, found.missing) == ("", "no value of area of the fitting surface for this case")


def test_a_contested_input_is_not_averaged(tmp_path: Path) -> None:
    other = NOTES.replace("one-work", "other-work").replace("2-3 mm", "5 mm")
    store = store_of(tmp_path, NOTES, other)
    found = quantities(store, "area=20 cm2")["resin of the tray body"]
    assert (found.text, found.missing) == ("", "wall thickness is contested")
    case = case_of_words([*CASE, "area=20 cm2"], store.vocabulary)
    made = plan(store, Comparison(store), case)
    assert "  resin of the tray body: not computed, wall thickness is contested\n" in text_plan(made)
    assert {entry["missing"] for entry in plan_object(made)["derived"]} >= {"wall thickness is contested"}


@given(st.fractions(0, 50), st.fractions(0, 50))
def test_a_range_is_rounded_outwards(one: Fraction, other: Fraction) -> None:
    low, high = sorted((one, other))
    if low == high:
        return
    text = range_written((low, high), Fraction(1), "").strip()
    ends = [Fraction(end) for end in text.replace("–", " ").split()]
    assert ends[0] <= low and ends[-1] >= high
    assert low - ends[0] < Fraction(1, 10) and ends[-1] - high < Fraction(1, 10)
