"""Cautions: data with sources, shown wherever the step, material or agent that brings them is shown."""

import re

from trayconcord.generators.pages import site_pages
from trayconcord.kb.store import load
from trayconcord.shapes.check import check

STORE = load()
CAUTIONS = STORE.vocabulary.cautions

# Hazard statements of the Globally Harmonized System (United Nations, GHS annex 3) that the store uses.
HAZARD_STATEMENTS = {
    "H225": "highly flammable liquid and vapour",
    "H315": "causes skin irritation",
    "H317": "may cause an allergic skin reaction",
    "H335": "may cause respiratory irritation",
}


def test_every_caution_arises_from_something_and_cites_sources_that_are_in_the_store() -> None:
    for caution in CAUTIONS.values():
        assert caution.definition and caution.arises_from
        assert set(caution.arises_from) <= set(STORE.vocabulary.concepts)
        assert set(caution.sources) <= set(STORE.sources)
        assert set(caution.hazards) <= set(HAZARD_STATEMENTS)
        assert not caution.hazards or caution.sources  # a code comes from somewhere


def test_monomer_eugenol_dust_burs_heat_light_disinfectants_and_infection_are_covered() -> None:
    assert set(CAUTIONS) >= {
        "monomer-vapour", "monomer-on-skin", "uncured-light-cured-resin", "curing-light", "eugenol", "grinding-dust",
        "burs", "heat", "disinfectants", "cross-infection",
    }  # fmt: skip


def test_a_material_brings_the_cautions_of_its_kind_and_a_group_those_of_its_members() -> None:
    def about(concept: str) -> set[str]:
        return {caution.id for caution in STORE.vocabulary.cautions_for([concept])}

    assert about("autopolymerising-resin") == {"monomer-vapour", "monomer-on-skin"}
    assert about("sodium-hypochlorite") == {"disinfectants"}
    assert "eugenol" in about("impression-paste")
    assert about("printed-polymer") == set()
    assert {"grinding-dust", "burs"} <= about("trim-borders")


def test_a_page_shows_the_cautions_of_what_it_shows_and_no_others() -> None:
    pages = site_pages(check(STORE))
    for name in ("reconciliation.html", "study-sheet-maxillary.html", "study-sheet-mandibular.html"):
        text = pages[name].decode()
        for caution in CAUTIONS.values():
            assert caution.definition.replace("'", "&#39;") in text, f"{caution.id} on {name}"
    empty = site_pages(check(load(only=True)))
    assert not re.search(r'class="caution"', empty["reconciliation.html"].decode())
