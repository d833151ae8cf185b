"""The bench card of a case: steps with their numbers, where to stop, what can hurt."""

from pathlib import Path

import pytest
from html_tree import Element, parse
from invented import store_of

from trayconcord.generators.bench_card import bench_card
from trayconcord.generators.plan import plan
from trayconcord.generators.plan_output import value_line
from trayconcord.generators.work_order import is_needless
from trayconcord.kb.case_file import CaseFile, case_of_words
from trayconcord.kb.store import Store, load
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Comparison

PASTE = ["arch=maxillary", "dentition=edentulous", "impression-material=zinc-oxide-eugenol-paste",
         "tray-material=autopolymerising-resin", "area=24 cm2"]  # fmt: skip


def card_of(store: Store, comparison: Comparison, *words: str, label: str = "") -> Element:
    case = case_of_words(list(words), store.vocabulary)
    return parse(bench_card(plan(store, comparison, CaseFile(case.when, label, case.area))))


def steps_of(page: Element) -> list[Element]:
    (steps,) = page.classed("steps")
    return [child for child in steps.children if isinstance(child, Element)]


@pytest.fixture(scope="module")
def card(ruled_report: Report) -> Element:
    return card_of(ruled_report.store, ruled_report.comparison, *PASTE)


def test_a_number_stands_at_the_step_that_needs_it(card: Element) -> None:
    by_name = {next(step.all("b")).text: step.text for step in steps_of(card)}
    assert "border clearance 2 mm" in by_name["Draw the outline."]
    assert "by decision of the course" in by_name["Draw the outline."]
    assert "stages of the mix" in by_name["Mix the resin."]


def test_what_the_course_makes_needless_is_left_out_with_the_reason(card: Element) -> None:
    (left_out,) = (note.text for note in card.classed("note") if note.text.startswith("Left out"))
    assert "adapt the spacer, cut the stops" in left_out
    assert "spacer thickness none" in left_out and "by decision of the course" in left_out
    assert "baseplate wax" not in card.text


def test_a_step_of_another_method_is_left_out(ruled_report: Report) -> None:
    made = card_of(ruled_report.store, ruled_report.comparison, "arch=maxillary", "fabrication-method=vacuum-formed")
    names = [next(step.all("b")).text for step in steps_of(made)]
    assert "Adapt the sheet." in names and "Mix the resin." not in names


def test_a_disputed_number_says_ask(card: Element) -> None:
    (fit,) = (item for step in steps_of(card) for item in step.all("li") if item.text.startswith("fit of the tray"))
    assert "ask" in fit.text.split() and "close-fitting or spaced" in fit.text


def test_every_step_of_the_sources_is_there_once(ruled_report: Report) -> None:
    words = ["arch=maxillary", "dentition=edentulous", "tray-material=autopolymerising-resin"]
    card = card_of(ruled_report.store, ruled_report.comparison, *words)
    case = case_of_words(words, ruled_report.store.vocabulary).when
    topic = ruled_report.comparison.at("procedure", case)
    wanted = {step for claim in topic.claims for step in claim.value.steps}
    names = [next(step.all("b")).text.rstrip(".").casefold() for step in steps_of(card)]
    assert sorted(names) == sorted(ruled_report.store.vocabulary.concepts[step].label for step in wanted)


def test_the_card_says_where_to_stop_and_what_can_hurt(card: Element) -> None:
    holds = [hold.text for hold in card.classed("hold")]
    assert any("before any wax goes on" in hold for hold in holds)
    (cautions,) = card.classed("caution")
    assert "Monomer vapour" in cautions.text and "Grinding dust" in cautions.text and "Eugenol" in cautions.text
    assert "Curing light" not in cautions.text, "nothing is cured with light here"
    assert any("Care: monomer vapour" in step.text for step in steps_of(card))


def test_another_material_brings_other_cautions(ruled_report: Report) -> None:
    words = ["arch=mandibular", "impression-material=polyether", "tray-material=light-cured-resin"]
    (cautions,) = card_of(ruled_report.store, ruled_report.comparison, *words).classed("caution")
    assert "Curing light" in cautions.text
    assert "Eugenol" not in cautions.text


def test_the_card_stands_alone_with_figure_and_references(card: Element) -> None:
    assert list(card.all("svg")) and not list(card.all("script")) and not list(card.all("link"))[1:]
    numbers = {int(n) for quiet in card.classed("quiet") for n in quiet.text.strip("[]").split(", ") if n.isdigit()}
    (references,) = card.classed("references")
    assert numbers and max(numbers) <= len(list(references.all("li")))


def test_what_a_person_writes_is_shown_as_text(ruled_report: Report) -> None:
    page = card_of(ruled_report.store, ruled_report.comparison, *PASTE, label="<script>alert(1)</script>")
    assert not list(page.all("script"))
    assert "<script>alert(1)</script>" in page.text


def test_a_case_of_which_nobody_speaks_has_a_card_that_says_so(tmp_path: object) -> None:
    store = load(only=True)
    assert "No source gives an order of work" in card_of(store, Comparison(store), *PASTE).text


def test_a_ruled_order_is_the_order_of_the_card(tmp_path) -> None:
    store = store_of(
        tmp_path,
        "rulings:\n  - {parameter: procedure, value: [draw-outline, adapt-spacer, cure], because: short,"
        " decided-on: 2026-05-12, decided-by: a board, without-source: for a test}\n",
    )
    page = card_of(store, Comparison(store), *PASTE)
    names = [next(step.all("b")).text for step in steps_of(page)]
    assert names == ["Draw the outline.", "Adapt the spacer.", "Cure."]
    assert "as the course rules" in page.text


BOOKS = """\
source: {id: NAME, title: NAME, kind: textbook}
claims:
  - {parameter: procedure, value: [draw-outline, adapt-spacer, cut-stops, cure], at: p. 1, obtained: read}
  - {parameter: spacer-thickness, value: 3 mm, at: p. 2, obtained: read}
"""
NONE = """\
source: {id: third-book, title: third-book, kind: textbook}
claims:
  - {parameter: spacer-design, value: no-spacer, at: p. 3, obtained: read}
"""


def test_a_source_that_lays_no_spacer_is_told_beside_those_that_give_its_thickness(tmp_path: Path) -> None:
    """Two questions, so no topic is contested; read together, the answers do not fit."""
    store = store_of(tmp_path, *(BOOKS.replace("NAME", name) for name in ("one-book", "other-book")), NONE)
    spacer, stops = steps_of(card_of(store, Comparison(store), *PASTE))[1:3]
    assert "Some sources do without this: see spacer design." in spacer.text
    assert "spacer design ask no spacer" in spacer.text and "spacer thickness 3 mm" in spacer.text
    assert "do without" not in stops.text, "said once"


def test_rulings_that_do_not_fit_leave_the_step_in(tmp_path: Path) -> None:
    ruled = "rulings:\n" + "".join(
        f"  - {{parameter: {parameter}, value: {value}, because: short, decided-on: 2026-05-12, decided-by: a board,"
        " without-source: for a test}\n"
        for parameter, value in (("spacer-design", "no-spacer"), ("spacer-thickness", "THICK"))
    )
    books = [BOOKS.replace("NAME", name) for name in ("one-book", "other-book")]
    for thickness, left_out in (("none", True), ("2 mm", False)):
        (tmp_path / thickness).mkdir()
        store = store_of(tmp_path / thickness, *books, ruled.replace("THICK", thickness))
        case = case_of_words(PASTE, store.vocabulary).when
        assert is_needless("adapt-spacer", case, Comparison(store)) == left_out


def test_a_tray_gets_no_ratio_that_is_stated_of_denture_base_resin(ruled_report: Report) -> None:
    """“Denture base resins: materials and mechanism” says so in its title, and means no trays."""
    store = ruled_report.store
    for material in ("acrylic-resin", "autopolymerising-resin"):
        words = ["arch=maxillary", f"tray-material={material}"]
        topic = ruled_report.comparison.at("polymer-monomer-ratio", case_of_words(words, store.vocabulary).when)
        assert not any(claim.source == "slidepub-denture-base-resins" for claim in topic.claims)


def test_a_dilution_says_what_it_says_nothing_without(ruled_report: Report) -> None:
    case = case_of_words([*PASTE, "disinfectant=iodophor"], ruled_report.store.vocabulary)
    answers = plan(ruled_report.store, ruled_report.comparison, case).found.answers
    (dilution,) = (answer for answer in answers if answer.parameter.id == "disinfectant-dilution")
    told = value_line(dilution, ruled_report.store.vocabulary)
    assert told == "1 in 213 (says nothing without the strength of the product as sold: look it up in the source)"
