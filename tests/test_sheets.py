"""Study sheets: Markdown says what the page says, other names come once, tables give what the comparison gives."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayconcord.generators.glossary import glossary
from trayconcord.generators.plans import Plan, default_plan
from trayconcord.generators.sheet_markdown import answer_markdown, plain, sheet_markdown
from trayconcord.generators.sheets import Sheet, study_sheet
from trayconcord.kb.model import in_order
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.check import Report
from trayconcord.shapes.wording import position_text


@pytest.fixture(scope="module")
def plan(vocabulary: Vocabulary) -> Plan:
    return default_plan(vocabulary)


@pytest.fixture(scope="module", params=["maxillary", "mandibular"])
def sheet(request: pytest.FixtureRequest, shipped_report: Report, plan: Plan) -> Sheet:
    return study_sheet(shipped_report.comparison, shipped_report.store, request.param, plan)


def test_other_names_are_told_once_on_a_sheet(sheet: Sheet) -> None:
    told = [label for chapter in sheet.chapters for entry in chapter.entries for label, _ in entry.other_names if label]
    assert len(told) == len(set(told)) > 10
    for chapter in sheet.chapters:
        for entry in chapter.entries:
            assert ("", entry.parameter.alt) in entry.other_names or not entry.parameter.alt


def test_a_table_by_material_gives_the_answer_of_the_comparison(sheet: Sheet, shipped_report: Report) -> None:
    vocabulary, comparison = shipped_report.store.vocabulary, shipped_report.comparison
    (table,) = sheet.tables
    materials = {concept.label: concept.id for concept in vocabulary.in_scheme("impression-material")}
    rows = dict(table.rows)
    assert {"irreversible hydrocolloid", "zinc oxide-eugenol paste"} <= set(rows)
    looked = 0
    for label, answers in rows.items():
        if label not in materials:  # with a consistency
            continue
        when = {"arch": sheet.arch.id, "dentition": "edentulous", "impression-material": materials[label]}
        for parameter, answer in zip(table.columns, answers, strict=True):
            topic = comparison.at(parameter.id, in_order(when, vocabulary))
            assert answer.standing == topic.standing
            texts = [position_text(position, parameter, vocabulary, topic.when) for position in topic.positions]
            assert [value for _, value, _ in answer.choices] == texts
            looked += 1
    assert looked > 20


def test_every_answer_and_reference_stands_in_the_markdown(sheet: Sheet, shipped_store: Store) -> None:
    text = sheet_markdown(sheet, "A title", shipped_store)
    for chapter in sheet.chapters:
        assert f"\n## {plain(chapter.title)}\n" in text
        for entry in chapter.entries:
            assert plain(entry.parameter.question) in text
            for answer in entry.answers:
                assert f"| {plain(answer.case)} | {answer_markdown(answer)} |" in text
        for shown in (shown for group in chapter.figures for shown in group.figures):
            assert f"](figures/{shown.figure.name}.svg)" in text
    for reference in sheet.references:
        assert f"\n{reference.number}. {plain(reference.text)}" in text
    for caution in sheet.cautions:
        assert plain(caution.definition) in text
    for row in (line for line in text.splitlines() if line.startswith("|")):
        assert len(re.findall(r"(?<!\\)\|", row)) in (4, len(sheet.tables[0].columns) + 2), row


def test_a_contest_is_told_as_one_line_with_every_side(sheet: Sheet) -> None:
    contested = [
        answer
        for chapter in sheet.chapters
        for entry in chapter.entries
        for answer in entry.answers
        if answer.standing == "contested"
    ]
    assert contested
    for answer in contested:
        told = answer_markdown(answer)
        assert told.startswith("*the sources differ:*") and "\n" not in told
        if answer.order:
            continue
        assert "**" not in told
        assert all(plain(value) in told and numbers for _, value, numbers in answer.choices)


@given(st.text())
def test_no_text_means_anything_to_markdown(text: str) -> None:
    assert not re.search(r"(?<!\\)(?:\\\\)*[`*_\[\]<>#|&]", plain(text))
    assert "\n" not in plain(text)
    assert re.sub(r"\\([\\`*_{}\[\]<>#|~&!])", r"\1", plain(text)) == " ".join(text.split())


def test_the_glossary_holds_every_term_once_and_every_other_name(vocabulary: Vocabulary) -> None:
    found = glossary(vocabulary)
    anchors = [anchor for group in found.groups for anchor, _ in group.terms]
    assert len(anchors) == len(set(anchors)) == len(vocabulary.parameters) + len(vocabulary.concepts)
    others = {name for name, _ in found.others}
    for term in (*vocabulary.parameters.values(), *vocabulary.concepts.values()):
        assert set(term.alt) <= others
    assert all(anchor in anchors for _, terms in found.others for anchor, _ in terms)
