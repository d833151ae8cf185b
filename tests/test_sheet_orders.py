"""Contested orders on a study sheet: every step once, where its case has it, and every pair that is put both ways."""

from pathlib import Path

import pytest
from invented import store_of

from trayconcord.generators.plans import default_plan
from trayconcord.generators.sheet_orders import MergedOrder
from trayconcord.generators.sheets import Answer, Sheet, study_sheet
from trayconcord.generators.work_order import orders_in
from trayconcord.kb.model import in_order
from trayconcord.kb.store import Store
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.orders import both_ways, merged

FORM = """source: {{id: invented-{number}, title: Invented {number}, kind: lecture-notes}}
claims:
  - {{parameter: procedure, {when}value: [{steps}], at: p. 1, obtained: read}}
"""


def sheet_of(store: Store) -> Sheet:
    return study_sheet(Comparison(store), store, "maxillary", default_plan(store.vocabulary))


def orders_on(sheet: Sheet) -> list[tuple[Answer, MergedOrder]]:
    return [
        (answer, answer.order)
        for chapter in sheet.chapters
        for entry in chapter.entries
        for answer in entry.answers
        if answer.order
    ]


def form(number: int, steps: str, when: str = "") -> str:
    return FORM.format(number=number, steps=steps, when=f"when: {{{when}}}, " if when else "")


def test_a_narrower_case_says_only_what_it_adds(tmp_path: Path) -> None:
    store = store_of(
        tmp_path,
        form(1, "draw-outline, block-out-undercuts, adapt-spacer"),
        form(2, "block-out-undercuts, draw-outline"),
        form(3, "adapt-spacer, cure", "tray-material: light-cured-resin"),
    )
    (_, general), (_, narrow) = orders_on(sheet_of(store))
    assert [step.id for step in general.steps] == ["draw-outline", "block-out-undercuts", "adapt-spacer"]
    (pair,) = general.differ
    assert (pair.one, pair.other) == ("draw the outline", "block out the undercuts")
    assert pair.one_first != pair.other_first and len(pair.one_first) == len(pair.other_first) == 1
    assert narrow.continues == "in general" and not narrow.differ
    (added,) = narrow.steps
    assert (added.id, added.after) == ("cure", "adapt the spacer")


def test_a_case_in_another_order_is_told_in_full(tmp_path: Path) -> None:
    resin = "when: {tray-material: light-cured-resin}, value: [adapt-spacer, block-out-undercuts, draw-outline]"
    both = form(1, "draw-outline, block-out-undercuts, adapt-spacer") + (
        f"  - {{parameter: procedure, {resin}, at: p. 2, obtained: read}}\n"
    )
    store = store_of(
        tmp_path,
        both,
        form(2, "block-out-undercuts, draw-outline"),
        form(3, "draw-outline, block-out-undercuts, cure", "tray-material: light-cured-resin"),
    )
    (_, general), (answer, narrow) = orders_on(sheet_of(store))
    assert answer.case == "light-cured resin" and narrow.continues == ""
    assert general.steps[-1].id == "adapt-spacer"
    assert narrow.steps[0].id == "adapt-spacer"
    assert {step.id for step in narrow.steps} == {"adapt-spacer", "block-out-undercuts", "draw-outline", "cure"}


@pytest.mark.parametrize("arch", ["maxillary", "mandibular"])
def test_every_order_of_the_shipped_store_can_be_read_back(shipped_report: Report, arch: str) -> None:
    comparison, store = shipped_report.comparison, shipped_report.store
    labels = {concept.label: concept.id for concept in store.vocabulary.in_scheme("step")}
    sheet = study_sheet(comparison, store, arch, default_plan(store.vocabulary))
    topics = {}
    for topic in comparison.answered:
        if topic.parameter.kind == "order":
            here = in_order({"arch": arch, "dentition": "edentulous"} | dict(topic.when), store.vocabulary)
            topics[topic.parameter.id, here] = comparison.at(topic.parameter.id, here)
    read = 0
    for chapter in sheet.chapters:
        for entry in chapter.entries:
            base: list[str] = []
            for answer in (answer for answer in entry.answers if answer.order):
                assert answer.order
                told = [step.id for step in answer.order.steps]
                if answer.order.continues:
                    steps = list(base)
                    for step in answer.order.steps:
                        steps.insert(steps.index(labels[step.after]) + 1 if step.after else 0, step.id)
                    told = steps
                base = base or told
                found = [
                    topic
                    for (parameter, _), topic in topics.items()
                    if parameter == entry.parameter.id
                    and list(merged(orders_in(topic, store.vocabulary), store.vocabulary)) == told
                ]
                assert found, (entry.parameter.id, answer.case, told)
                pairs = {
                    pair for topic in found for pair in both_ways(orders_in(topic, store.vocabulary), store.vocabulary)
                }
                for pair in answer.order.differ:
                    assert pair.one_first and pair.other_first
                    if entry.parameter.id == "procedure":
                        assert (labels[pair.one], labels[pair.other]) in pairs
                read += 1
    assert read > 8
