"""A case in, a cited plan out; cases from files and from the command line. What departments say here is invented."""

import json
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from trayconcord.generators.cli import main
from trayconcord.generators.plan import plan
from trayconcord.generators.plan_output import plan_object, text_plan
from trayconcord.kb.case_file import CaseFile, case_of_words, read_case
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.store import Store, load
from trayconcord.kb.values import Quantity
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Comparison

STORE = load()
VOCABULARY = STORE.vocabulary
PASTE = ["arch=maxillary", "dentition=edentulous", "impression-material=zinc-oxide-eugenol-paste"]
CASE = """\
label: Upper tray for a paste wash
case: {arch: maxillary, dentition: edentulous, impression-material: zinc-oxide-eugenol-paste}
area: 24 cm2
"""


def case_file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "case.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_case_file_is_read_in_full(tmp_path: Path) -> None:
    found = read_case(case_file(tmp_path, CASE), VOCABULARY)
    assert found == CaseFile(
        (("arch", "maxillary"), ("dentition", "edentulous"), ("impression-material", "zinc-oxide-eugenol-paste")),
        "Upper tray for a paste wash",
        Quantity(Fraction(24), Fraction(24), "CentiM2"),
    )


def test_words_make_the_same_case_as_a_file(tmp_path: Path) -> None:
    words = case_of_words([*PASTE, "area=24 cm2"], VOCABULARY)
    read = read_case(case_file(tmp_path, CASE), VOCABULARY)
    assert (words.when, words.area) == (read.when, read.area)


@pytest.mark.parametrize(
    ("text", "words", "fix"),
    [
        ("case: {arch: upper}\n", "case.yaml:1:14: arch: unknown term upper", "did you mean maxillary?"),
        ("case: {region: rugae}\n", "case.yaml:1:7: case: region belongs to single statements", "use: arch"),
        ("case: {arch: maxillary, arch: mandibular}\n", "the key arch stands twice", "keep one"),
        ("label: nothing\n", "case.yaml:1:1: case is missing", "add case:"),
        ("case: {arch: maxillary}\narea: 3 mm\n", "case.yaml:2:7: area: ", ""),
        ("case: {arch: maxillary}\narea: at least 3 cm2\n", "is no measured area", "24 cm2"),
        ("case: {arch: maxillary}\nweight: 3\n", "unknown key weight", "use one of: case, label, area"),
        ("case: [arch]\n", "when must be a mapping", ""),
    ],
)
def test_a_case_that_cannot_be_understood_is_told_at_its_place(tmp_path: Path, text: str, words: str, fix: str) -> None:
    with pytest.raises(UnusableInput) as refused:
        read_case(case_file(tmp_path, text), VOCABULARY)
    told = "\n".join(str(complaint) for complaint in refused.value.complaints)
    assert words in told.replace(str(tmp_path) + "/", "")
    assert fix in told


@given(st.lists(st.text(max_size=30) | st.text("=:'\"\\ \n#{}[]a-", max_size=12), max_size=3))
@example(["="])
@example(["arch="])
@example([": =x"])
@settings(max_examples=60)
def test_no_words_raise_anything_but_unusable_input(words: list[str]) -> None:
    try:
        case_of_words(words, VOCABULARY)
    except UnusableInput as refused:
        assert all(complaint.fix for complaint in refused.complaints)


def test_conditions_that_exclude_each_other_are_a_question_and_no_plan(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "fabrication-method=sprinkle-on", "tray-material=light-cured-resin"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "sprinkle-on does not go with light-cured resin" in told.err
    assert "for which tray material? sprinkle-on goes with: autopolymerising resin" in told.err


def test_a_value_stands_only_where_the_course_ruled_or_the_voices_agree(ruled_report: Report) -> None:
    made = plan(ruled_report.store, ruled_report.comparison, case_of_words(PASTE, VOCABULARY))
    told = plan_object(made)
    bases = {answer["basis"] for answer in told["answers"]}
    assert {"ruling", "agreement", "contested", "one voice"} <= bases
    for answer in told["answers"]:
        assert ("value" in answer) == (answer["basis"] in ("ruling", "agreement"))
        assert (answer["basis"] == "ruling") == ("ruling" in answer)
        assert answer["positions"] or answer["asks"] or answer["basis"] == "ruling"
    thickness = next(answer for answer in told["answers"] if answer["parameter"] == "spacer-thickness")
    assert thickness["value"]["text"] == "none"


def test_the_text_names_what_is_open_disputed_ruled_and_unknown(ruled_report: Report) -> None:
    text = text_plan(plan(ruled_report.store, ruled_report.comparison, case_of_words(PASTE, VOCABULARY)))
    assert text.startswith("Plan: maxillary, edentulous, zinc oxide-eugenol paste\n\nThis case leaves open\n")
    assert "  spacer thickness: none\n      the course: Paste is a thin wash" in text
    assert "  fit of the tray: contested\n" in text
    assert "No source in the store speaks of: " in text
    assert "voices agree: " in text


def test_every_answer_of_a_plan_leads_to_claims_of_the_store(ruled_report: Report) -> None:
    told = plan_object(plan(ruled_report.store, ruled_report.comparison, case_of_words(PASTE, VOCABULARY)))
    claims = {claim.id: claim for claim in ruled_report.store.claims}
    for answer in told["answers"]:
        for position in answer["positions"]:
            assert position["claims"]
            assert {claims[claim].parameter for claim in position["claims"]} == {answer["parameter"]}


def test_the_command_reads_files_and_words_and_prints_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "--format", "json", str(case_file(tmp_path, CASE))]) == 0
    from_file = json.loads(capsys.readouterr().out)
    assert main(["plan", "--format", "json", *PASTE]) == 0
    from_words = json.loads(capsys.readouterr().out)
    assert from_file["answers"] == from_words["answers"]
    assert from_file["label"] == "Upper tray for a paste wash"


def test_why_takes_its_options_between_the_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["why", "spacer-thickness", "--only", "arch=maxillary"]) == 0
    assert "no source covers this case" in capsys.readouterr().out
    assert main(["why", "spacer-thicknes", "arch=maxillary"]) == 2
    assert "did you mean spacer-thickness?" in capsys.readouterr().err


def test_why_tells_each_statement_once(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["why", "spacer-thickness", "--format", "json", *PASTE]) == 0
    told = json.loads(capsys.readouterr().out)
    stated = [claim.id for claim in STORE.claims if claim.parameter == "spacer-thickness"]
    assert sorted(claim["id"] for claim in told["claims"]) == sorted(stated)
    applies = {claim["id"] for claim in told["claims"] if claim["fate"] == "applies"}
    topic = Comparison(STORE).at("spacer-thickness", case_of_words(PASTE, VOCABULARY).when)
    assert applies == {claim.id for claim in topic.claims}


def test_a_store_without_sources_has_a_plan_that_says_so() -> None:
    store: Store = load(only=True)
    text = text_plan(plan(store, Comparison(store), case_of_words(PASTE, VOCABULARY)))
    assert "No source in the store speaks of: " in text
    assert "This case leaves open" not in text
