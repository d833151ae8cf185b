"""The page of every rule, and its examples run: the bad one is found, the good one passes."""

import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from judged_alike import judged_alike
from rdflib import Graph
from rdflib.namespace import SH
from rule_examples import FENCE, example, store_of, text_of

from trayconcord.kb.namespaces import RULE, TC, iri
from trayconcord.shapes import rules as rules_module
from trayconcord.shapes.check import Report, check
from trayconcord.shapes.rules import RuleBook, page_names, rule_book

FOLDER = Path(rules_module.__file__).parent / "rules"
NAMES = sorted(path.stem for path in FOLDER.glob("*.ttl"))
HEADINGS = ["## What it means", "## Why it matters", "## What to do", "## Bad example", "## Good example"]
PLACEHOLDER = re.compile(r"\{[^{}\s]*\}")
SCREEN = 40
"""Lines of prose that fit one screen."""


def report_on(blocks: list[tuple[str, str]], folder: Path) -> Report:
    """The check of such a store."""
    return check(store_of(blocks, folder), today=date(2026, 11, 25))


def violations(report: Report, but: str = "") -> list[str]:
    return [f.message for f in report.findings if f.severity == "violation" and f.rule != but]


def test_every_rule_has_a_page_and_every_page_a_rule() -> None:
    assert page_names() == NAMES
    assert sorted(rule_book().rules) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_page_has_its_headings_in_order_and_says_that_it_invents(name: str) -> None:
    prose = FENCE.sub("", text_of(name))
    title, finds = prose.split("\n\n")[:2]
    assert title == f"# {name}"
    assert finds.endswith(".") and len(re.findall(r"\.(\s|$)", finds)) == 1, "one sentence under the title"
    assert re.findall(r"^#.*", prose, flags=re.MULTILINE) == [f"# {name}", *HEADINGS]
    for part in re.split(r"^#.*\n", prose, flags=re.MULTILINE)[2:-1]:
        assert part.strip(), f"{name}: a heading with nothing under it"
    assert prose.count("The sources in these examples are invented.") == 1
    assert len(prose.rstrip().splitlines()) <= SCREEN


@pytest.mark.parametrize("name", NAMES)
def test_the_bad_example_is_found_and_told_in_full(name: str, tmp_path: Path) -> None:
    report = report_on(example(name, "Bad example"), tmp_path)
    assert report.states[name] == "found"
    found = [finding for finding in report.findings if finding.rule == name]
    assert found
    for finding in found:
        for text in (finding.message, finding.help):
            assert text
            assert not PLACEHOLDER.search(text)
        assert finding.where and all(place.line > 0 for place in finding.where)
    # what else is wrong with an example would draw the eye from what it shows
    assert violations(report, but=name) == []


@pytest.mark.parametrize("name", NAMES)
def test_the_good_example_passes(name: str, tmp_path: Path) -> None:
    report = report_on(example(name, "Good example"), tmp_path)
    assert report.states[name] == "passed", [f.message for f in report.findings if f.rule == name]
    assert violations(report) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_the_engine_judges_the_examples_alike(name: str, tmp_path: Path) -> None:
    for heading in ("Bad example", "Good example"):
        found = judged_alike(store_of(example(name, heading), tmp_path / heading), today=date(2026, 11, 25))
        assert (name in found) == (heading == "Bad example")


@pytest.mark.parametrize("name", NAMES)
def test_a_rule_states_its_severity_its_message_and_what_to_do(name: str) -> None:
    graph = Graph().parse(FOLDER / f"{name}.ttl")
    shape = iri(RULE, name)
    for predicate in (SH.severity, SH.message, TC.help):
        assert len(list(graph.objects(shape, predicate))) == 1
    assert graph.value(shape, SH.severity) in (SH.Violation, SH.Warning, SH.Info)
    assert str(graph.value(shape, SH.message)).strip()
    assert str(graph.value(shape, TC.help)).strip()


def test_every_placeholder_is_one_that_findings_fill(tmp_path: Path) -> None:
    book = rule_book()
    texts = " ".join(f"{rule.message} {rule.help}" for rule in book.rules.values())
    assert "{parameter}" in texts
    # a finding is given every word, some of them empty, so one rule can speak the texts of all
    speaker = replace(book.rules["unsourced-claim"], message=texts)
    store = store_of(example("unsourced-claim", "Bad example"), tmp_path)
    report = check(store, RuleBook(book.graph, book.rules | {speaker.name: speaker}))
    (finding,) = (finding for finding in report.findings if finding.rule == speaker.name)
    assert PLACEHOLDER.findall(finding.message) == []
