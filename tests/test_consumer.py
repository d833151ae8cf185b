"""Programs that know the export by its contract alone answer cases as the plan does."""

import json
import os
import random
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_stores import VALUES, scopes, stores
from rdflib import Graph

from trayconcord.generators.cli import main
from trayconcord.generators.export import rules_document
from trayconcord.generators.export_context import graph_of
from trayconcord.generators.export_files import contract_text, export_files
from trayconcord.generators.value_json import value_json
from trayconcord.kb.canonical import canonical_hash
from trayconcord.kb.model import Claim, Ruling, Scope, comparable, in_order, topic_id
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.answers import Answer, Casebook, governing_value
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Comparison

CASES = (
    {"arch": "maxillary", "impression-material": "zinc-oxide-eugenol-paste", "tray-material": "light-cured-resin"},
    {"arch": "mandibular", "impression-material": "polyether", "tray-material": "autopolymerising-resin"},
    {"dentition": "edentulous", "impression-technique": "selective-pressure", "fabrication-method": "hand-formed"},
)
BASIS = {"agreed": "agreement", "single": "one voice", "silent": "open"}
Told = dict[str, Any]
Example = Callable[[Told, str, dict[str, str]], tuple[str, Told | None]]


def random_cases(vocabulary: Vocabulary, number: int) -> list[Scope]:
    """Cases that state some of the axes of a case, the same each time."""
    dice = random.Random(7)
    axes = [axis for axis in vocabulary.axes.values() if axis.of_case]
    return [
        in_order(
            {a.id: dice.choice([c.id for c in vocabulary.in_scheme(a.scheme)]) for a in axes if dice.random() < 0.6},
            vocabulary,
        )
        for _ in range(number)
    ]


def plain(value: Told | None) -> Told | None:
    """A value without name and words; numbers as the plan's JSON has them."""
    if value is None:
        return None
    told = {key: part for key, part in value.items() if key not in ("id", "type", "text", "claims", "unit")}
    for key in ("min", "max"):
        if isinstance(told.get(key), str):
            told[key] = float(told[key])
        elif isinstance(told.get(key), dict):
            numerator, denominator = told[key]["@value"].split("/")
            told[key] = round(int(numerator) / int(denominator), 6)
    if "steps" in told:
        told["steps"] = [step if isinstance(step, str) else step["step"] for step in told["steps"]]
    return {key: part for key, part in told.items() if part is not None}


def wanted(answer: Answer, vocabulary: Vocabulary) -> tuple[str, Told | None]:
    """What the plan says: the basis, and the value."""
    value = governing_value(answer.topic, vocabulary)
    return answer.basis, plain(value_json(value, answer.parameter, vocabulary)) if value is not None else None


def answers_of(store: Store, comparison: Comparison, cases: list[Scope]) -> list[Answer]:
    book = Casebook(store, comparison)
    return [answer for case in cases for answer in book.answers(case).answers]


@pytest.fixture(scope="module")
def example() -> Example:
    """The function of the example that goes with every export."""
    names: Told = {"__name__": "answer"}
    exec(compile(contract_text("answer.py"), "answer.py", "exec"), names)
    found: Example = names["answer"]
    return found


def test_the_example_answers_as_the_plan_does(ruled_report: Report, example: Example) -> None:
    store, comparison = ruled_report.store, ruled_report.comparison
    document = rules_document(store, comparison)
    found = answers_of(store, comparison, [(), *random_cases(store.vocabulary, 3)])
    left, kinds = 0, set()
    for answer in found:
        basis, value = example(document, answer.parameter.id, dict(answer.topic.when))
        if basis.startswith("to be compared"):
            left += 1
        else:
            assert (BASIS.get(basis, basis), plain(value)) == wanted(answer, store.vocabulary), answer.topic.id
            kinds.add(basis)
    assert kinds == {"ruling", "agreed", "contested", "single", "silent"}
    assert len(found) > 100 and left < len(found) / 20


def test_the_example_runs_as_the_page_says(demo_store: Store, tmp_path: Path) -> None:
    for name, data in export_files(demo_store, Comparison(demo_store)).items():
        (tmp_path / name).write_bytes(data)
    words = ["spacer-thickness", "arch=maxillary", "impression-material=zinc-oxide-eugenol-paste"]
    done = subprocess.run(
        [sys.executable, "answer.py", "rules.json", *words], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert done.stdout == "ruling: none\n"


@pytest.mark.schema
def test_a_program_in_another_language_answers_as_the_plan_does(
    ruled_report: Report, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Node with ajv, csv-parse, js-yaml, jsonld and n3: it checks every file against the others, then answers.

    The three cases go through the command line; the random ones test the same steps widely.
    """
    libraries = os.environ.get("TRAYCONCORD_NODE_MODULES", "")
    if not libraries or shutil.which("node") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("continuous integration must bring Node and name the libraries in TRAYCONCORD_NODE_MODULES")
        pytest.skip("TRAYCONCORD_NODE_MODULES names no folder with the libraries of the consumer")
    store, comparison = ruled_report.store, ruled_report.comparison
    layer = str(next(Path(p.file).parent.parent for p in store.places.values() if "harrow-vale" in p.file))
    asked: list[tuple[Told, tuple[str, Told | None]]] = []
    for case in CASES:
        assert main(["plan", "--kb", layer, "--format", "json", *(f"{a}={c}" for a, c in case.items())]) == 0
        for told in json.loads(capsys.readouterr().out)["answers"]:
            question = {"parameter": told["parameter"], "when": told["when"]}
            asked.append((question, (told["basis"], plain(told.get("value")))))
    for answer in answers_of(store, comparison, random_cases(store.vocabulary, 20)):
        question = {"parameter": answer.parameter.id, "when": dict(answer.topic.when)}
        asked.append((question, wanted(answer, store.vocabulary)))

    shutil.copy(Path(__file__).parent / "consumer" / "consumer.mjs", tmp_path)
    (tmp_path / "node_modules").symlink_to(Path(libraries).resolve())
    (tmp_path / "export").mkdir()
    for name, data in export_files(store, comparison).items():
        (tmp_path / "export" / name).write_bytes(data)
    (tmp_path / "questions.json").write_text(json.dumps([question for question, _ in asked]), encoding="utf-8")
    done = subprocess.run(
        ["node", "consumer.mjs", "export", "questions.json"], cwd=tmp_path, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert (report["files"], report["tables"]) == (17, 14)
    bases, left = set(), 0
    for (question, expected), told in zip(asked, report["answers"], strict=True):
        if told["basis"] == "not compared":  # sets and orders that meet in no rule
            left += 1
            continue
        assert (BASIS.get(told["basis"], told["basis"]), plain(told.get("value"))) == expected, question
        bases.add(told["basis"])
    assert bases == {"ruling", "agreed", "contested", "single", "silent"}
    assert len(asked) > 500 and left < len(asked) / 50


# --- random stores ---


@st.composite
def ruled_stores(draw: st.DrawFn) -> Store:
    """A random store with up to three rulings; two that adopt one value do so in the same words."""
    store, parameter = draw(stores())
    scopes_of = draw(st.lists(scopes, max_size=3, unique=True))
    values = draw(st.lists(VALUES[parameter], min_size=3, max_size=3))
    about = store.vocabulary.parameters[parameter]
    adopted = {comparable(value, about, store.vocabulary): value for value in values}
    rulings = [
        Ruling(topic_id(parameter, when), parameter, when, adopted[comparable(value, about, store.vocabulary)])
        for when, value in zip(scopes_of, values, strict=False)
    ]
    return replace(store, rulings=rulings)


def agree(store: Store, scope: Scope, example: Example) -> None:
    """The example answers at a scope what the comparison finds there, or leaves the comparing to others."""
    comparison = Comparison(store)
    records: list[Claim | Ruling] = [*store.claims, *store.rulings]
    parameter = records[0].parameter if records else "stop-count"
    basis, value = example(rules_document(store, comparison), parameter, dict(scope))
    topic = comparison.at(parameter, scope)
    if basis.startswith("to be compared"):
        assert len(topic.voices) > 1 and not topic.rulings
        return
    governing = governing_value(topic, store.vocabulary)
    assert basis == ("ruling" if topic.ruling else "tied rulings" if topic.tied else topic.standing)
    assert (value is None) == (governing is None)
    if governing is not None:
        assert plain(value) == plain(value_json(governing, topic.parameter, store.vocabulary))


@given(ruled_stores(), scopes)
@settings(max_examples=40)
def test_the_example_answers_random_stores(example: Example, store: Store, scope: Scope) -> None:
    agree(store, scope, example)


@pytest.mark.slow
@given(ruled_stores(), scopes)
@settings(max_examples=2000)
def test_the_example_answers_thousands_of_random_stores(example: Example, store: Store, scope: Scope) -> None:
    agree(store, scope, example)


@given(ruled_stores())
@settings(max_examples=20)
def test_the_triples_of_random_exports_are_those_of_a_json_ld_processor(store: Store) -> None:
    document = rules_document(store, Comparison(store))
    document |= {"parameters": [], "concepts": [], "axes": []}  # which never differ
    read = Graph().parse(data=json.dumps(document), format="json-ld")
    assert canonical_hash(read) == canonical_hash(graph_of(document))
