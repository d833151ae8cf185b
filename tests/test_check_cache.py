"""A store checked part by part, with what earlier checks found kept, says what the whole says, byte for byte."""

import json
import os
import random
import re
import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from invented import NOTES, enter_demo, enter_forms, write_shapes
from spoil import mutated
from synthetic import write_sources

from trayconcord.generators import check_cache
from trayconcord.generators.check_cache import check_by_parts, sealed
from trayconcord.generators.check_output import FORMATS, Told, told
from trayconcord.generators.cli import main
from trayconcord.kb.document_parts import DocumentParts
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.parts import Uncut
from trayconcord.kb.store import documents, load, shipped
from trayconcord.shapes.check import check

DAY = date(2030, 1, 1)
OTHERS = """# Invented for a test.
source: {id: invented-others, title: Other notes, authors: ["Noone, Bo"], year: 2001, kind: textbook}
claims:
  - {parameter: spacer-thickness, when: {impression-material: polyether}, value: 4 mm, at: p. 1, obtained: read}
  - {parameter: procedure, value: [draw-outline, adapt-spacer, cut-stops], at: p. 9, obtained: read}
  - {parameter: stop-count, value: 3, obtained: read}
"""


def whole(layers: list[Path], form: str = "all", only: bool = True) -> Told:
    return told(check(load(layers, only), today=DAY), form)


def by_parts(layers: list[Path], cache: Path, form: str = "all", only: bool = True) -> Told:
    return check_by_parts(documents(layers, only), form, DAY, cache)


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """The parts that are checked: the parameters that each has claims on."""
    done: list[str] = []

    def counting(store, rules, today):  # type: ignore[no-untyped-def]
        done.append(" ".join(sorted({claim.parameter for claim in store.claims})))
        return check(store, rules, today)

    monkeypatch.setattr(check_cache, "check", counting)
    yield done


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    """A department with sources, rulings, taught cases and a marking policy."""
    return enter_demo(tmp_path)


def test_the_shipped_store_falls_apart_into_what_it_is(tmp_path: Path) -> None:
    assert by_parts([], tmp_path / "kept", "json", only=False) == whole([], "json", only=False)


@pytest.mark.parametrize("form", FORMATS)
def test_a_department_falls_apart_into_what_it_is(demo: Path, tmp_path: Path, form: str) -> None:
    expected = whole([demo], form)
    assert {"review-due", "uncovered-case"} & {section.rule for section in expected.sections}
    for _ in range(2):
        assert by_parts([demo], tmp_path / "kept", form) == expected


@pytest.mark.slow
@pytest.mark.parametrize("form", FORMATS)
def test_a_department_over_the_shipped_store_falls_apart_too(demo: Path, tmp_path: Path, form: str) -> None:
    expected = whole([demo], form, only=False)
    for _ in range(2):
        assert by_parts([demo], tmp_path / "kept", form, only=False) == expected


def test_what_has_not_changed_is_not_checked_again(tmp_path: Path, counted: list[str]) -> None:
    layer = enter_forms(tmp_path, NOTES, OTHERS)
    first = by_parts([layer], tmp_path / "kept")
    assert sorted(counted) == ["", "procedure", "spacer-thickness", "stop-count"]  # the first is the rest
    del counted[:]
    assert by_parts([layer], tmp_path / "kept") == first
    assert counted == [""]
    del counted[:]
    source = layer / "sources" / "invented-others.ttl"
    source.write_text(source.read_text().replace("4.0", "3.5").replace("4 mm", "3.5 mm"))
    assert by_parts([layer], tmp_path / "kept") == whole([layer]) != first
    assert counted == ["", "spacer-thickness"] or counted == ["spacer-thickness", ""]


EDITS = {
    "a value": (r"tc:max (\d+)\.0", r"tc:max \1.5"),
    "a condition": ("concept:polyether", "concept:silicone"),
    "a condition that nobody knows": ("concept:polyether", "concept:polyethre"),
    "how it is known": ("obtained:read", "obtained:recalled"),
    "no place": (r'    bibo:locator "p. 1" ;\n', ""),
    "the year of a source": ('"2001"', '"2031"'),
    "the name of a source": ("Noone, Bo", "Nemo, Cy"),
    "the kind of a source": ("kind:textbook", "kind:textbok"),
    "an edition": ("dcterms:type", "dcterms:isVersionOf source:invented-notes ;\n    dcterms:type"),
    "a compilation": (r"(source:invented-\w+ a tc:Source ;)", r"\1\n    prov:wasDerivedFrom source:invented-others ;"),
    "the order of steps": ("rdf:_1 concept:draw-outline", "rdf:_3 concept:draw-outline"),
    "a step that nobody knows": ("rdf:_1 concept:draw-outline", "rdf:_1 concept:draw-outlin"),
    "the line": (r"\n\n<", "\n\n\n# moved\n\n<"),
    "a withdrawn document": ("dcterms:type kind:textbook", 'tc:withdrawn "2020" ;\n    dcterms:type kind:textbook'),
    "two sources": (r"(source source:invented-\w+) ;", r"\1, source:invented-notes, source:invented-others ;"),
    "an unknown source": ("dcterms:source source:invented-others", "dcterms:source source:invented-athers"),
    "a class that nobody knows": (r"source:invented-others a tc:Source", "source:invented-others a tc:Sauce"),
    "a parameter that nobody knows": ("parameter:stop-count", "parameter:stop-cuont"),
    "another parameter": ("parameter:stop-count", "parameter:wall-thickness"),
    "no parameter": (r"    tc:parameter parameter:stop-count ;\n", ""),
    "two parameters": ("parameter:stop-count ;", "parameter:stop-count ;\n    tc:parameter parameter:wall-thickness ;"),
    "written otherwise": ("tc:parameter", "<https://w3id.org/trayconcord/def/parameter>"),
    "under another name": ("@prefix tc: <", "@prefix tcx: <https://w3id.org/trayconcord/def/> .\n@prefix tc: <"),
    "a prefix of its own": ("obtained: <https://w3id.org/trayconcord/obtained/>", "obtained: <http://example.org/>"),
    "no prefix": ("@prefix obtained: .*\n", ""),
    "two claims without an empty line": (r" \.\n\n<", " .\n<"),
    "a long text": (r'"p. 1"', '"""p.\n\n1"""'),
    "no longer there": (r"(?s)\n<.*", "\n"),
}  # fmt: skip
"""What may change in a store, and the patterns that do it in any of its documents."""


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Told]:
    """A folder with a store that was checked, and what was kept of that; and what the check told."""
    folder = tmp_path_factory.mktemp("checked")
    return folder, by_parts([enter_forms(folder, NOTES, OTHERS)], folder / "kept")


@pytest.mark.parametrize("edit", EDITS)
def test_after_any_change_it_is_the_whole_again(tmp_path: Path, checked: tuple[Path, Told], edit: str) -> None:
    folder, before = checked
    shutil.copytree(folder, tmp_path, dirs_exist_ok=True)
    layer = tmp_path / "department"
    changed = False
    for path in (layer / "sources").iterdir():
        text = path.read_text()
        path.write_text(re.sub(*EDITS[edit], text))
        changed |= path.read_text() != text
    assert changed
    outcome = hold(layer, tmp_path / "kept")
    assert outcome in ("cut", "uncut", "complaint")
    if outcome == "cut":
        assert by_parts([layer], tmp_path / "kept") != before


@pytest.mark.slow
def test_after_any_changes_one_after_the_other_it_is_the_whole_again(tmp_path: Path) -> None:
    dice = random.Random(7)
    layer = enter_forms(tmp_path, NOTES, OTHERS)
    sound = {path: path.read_text() for path in (layer / "sources").iterdir()}
    cut = 0
    for _ in range(30):
        for path, text in sound.items():
            path.write_text(text)
        for edit in dice.sample(sorted(EDITS), 4):
            for path in dice.sample(sorted(sound), dice.choice([1, 2])):
                path.write_text(re.sub(*EDITS[edit], path.read_text()))
            cut += hold(layer, tmp_path / "kept") == "cut"
    assert cut > 20


def hold(layer: Path, cache: Path) -> str:
    """A store in parts, with what was kept of others, is what the whole is, or it is not cut."""
    try:
        expected: Told | str = whole([layer])
    except UnusableInput:
        expected = "complaint"
    try:
        found: Told | str = by_parts([layer], cache)
    except Uncut:
        return "uncut"
    except UnusableInput:
        found = "complaint"
    assert found == expected
    return "complaint" if found == "complaint" else "cut"


def test_changes_of_a_department_bring_it_to_the_whole_again(demo: Path, tmp_path: Path) -> None:
    assert by_parts([demo], tmp_path / "kept") == whole([demo])
    changes = 0
    for folder in ("rulings", "cases", "marking"):
        for path in sorted((demo / folder).iterdir()):
            text = path.read_text()
            for old, new in (("tc:because", "tc:withoutSource"), ("tc:reviewBy", "dcterms:modified"),
                             ("tc:asks parameter:", "tc:asks parameter:x"), ("rdfs:label", "skos:note"),
                             ("tc:weight", "tc:wait"), (" a tc:Ruling", " a tc:FormerRuling")):  # fmt: skip
                if old in text:
                    path.write_text(text.replace(old, new, 1))
                    changes += hold(demo, tmp_path / "kept") == "cut"
            path.rename(path.with_name(f"renamed-{path.name}"))
            hold(demo, tmp_path / "kept")
            path.with_name(f"renamed-{path.name}").rename(path)
    assert changes > 10


def test_a_review_that_falls_due_is_found(demo: Path, tmp_path: Path, counted: list[str]) -> None:
    days = [date(2020, 1, 1), DAY, date(2020, 1, 1), None]
    due = []
    for day in days:
        found = check_by_parts(documents([demo], True), "all", day, tmp_path / "kept")
        assert found == told(check(load([demo], True), today=day), "all")
        due.append("review-due" in {section.rule for section in found.sections})
    assert due == [False, True, False, False]
    del counted[:]
    check_by_parts(documents([demo], True), "all", date(2019, 5, 5), tmp_path / "kept")
    assert len(counted) == 1, "another day on which nothing falls due is no reason to check again"


def spoilt(folder: Path, numbers: range) -> dict[str, int]:
    layer = enter_forms(folder, NOTES, OTHERS)
    seeds = [path.read_bytes() for path in sorted((layer / "sources").iterdir())]
    os.remove(layer / "sources" / "invented-others.ttl")
    outcomes: dict[str, int] = {}
    for number in numbers:
        (layer / "sources" / "spoilt.ttl").write_bytes(mutated(seeds, number))
        outcome = hold(layer, folder / "kept")
        outcomes[outcome] = outcomes.get(outcome, 0) + 1
    return outcomes


def test_spoilt_documents_in_parts_are_what_they_are_as_a_whole(tmp_path: Path) -> None:
    assert spoilt(tmp_path, range(40)).keys() == {"cut", "uncut"}


@pytest.mark.slow
def test_many_spoilt_documents_in_parts_are_what_they_are_as_a_whole(tmp_path: Path) -> None:
    assert spoilt(tmp_path, range(60, 1500))["cut"] > 50


def test_a_synthetic_store_falls_apart_into_what_it_is(tmp_path: Path) -> None:
    write_sources(tmp_path / "store", 300)
    layer = tmp_path / "store"
    assert by_parts([layer], tmp_path / "kept", "text") == whole([layer], "text")
    dice = random.Random(5)
    for path in dice.sample(sorted((layer / "sources").iterdir()), 5):
        path.write_text(path.read_text().replace("tc:min 1.0", "tc:min 1.5"))
        assert by_parts([layer], tmp_path / "kept", "text") == whole([layer], "text")


DAMAGE = {
    "nothing": b"",
    "something else": b"kept: yes\n",
    "half of it": None,
    "a number for a text": (rb'"unstated-condition"', b"7"),
    "a severity that nobody knows": (rb'"info"', b'"doom"'),
    "a word too many": (rb'"info"', b'"info", "more"'),
    "another shape": (rb"^\{.*\}$", b"[1, 2]"),
    "far too deep": (rb"^\{.*\}$", b"[" * 100_000),
}


@pytest.mark.parametrize("damage", DAMAGE)
@pytest.mark.parametrize("anew", [True, False])
def test_what_was_kept_and_is_damaged_is_not_used(
    tmp_path: Path, checked: tuple[Path, Told], damage: str, anew: bool
) -> None:
    folder, _ = checked
    layer, expected = folder / "department", whole([folder / "department"])
    shutil.copytree(folder / "kept", tmp_path / "kept")
    (file,) = (tmp_path / "kept").iterdir()
    text = file.read_bytes().rstrip(b"\n").split(b"\n")[1]
    done = DAMAGE[damage]
    if isinstance(done, tuple):
        text = re.sub(done[0], done[1], text, flags=re.S)
    else:
        text = text[: len(text) // 2] if done is None else done
    file.write_bytes(sealed(text) if anew else file.read_bytes().partition(b"\n")[0] + b"\n" + text + b"\n")
    assert by_parts([layer], tmp_path / "kept") == expected
    assert json.loads(file.read_bytes().split(b"\n")[1])


def test_what_another_version_kept_is_not_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, counted: list[str]
) -> None:
    layer = enter_forms(tmp_path, NOTES)
    by_parts([layer], tmp_path / "kept")
    monkeypatch.setattr(check_cache, "_engine", lambda: b"another")
    del counted[:]
    assert by_parts([layer], tmp_path / "kept") == whole([layer])
    assert sorted(counted) == ["", "spacer-thickness", "stop-count"]


def test_the_version_is_the_program_itself() -> None:
    assert re.fullmatch(rb"[0-9a-f]{64}", check_cache._engine())
    assert check_cache._engine() == check_cache._engine()


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    status = main(list(words))
    shown = capsys.readouterr()
    return status, shown.out, shown.err


def test_the_command_says_the_same_with_and_without(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    layer = enter_forms(tmp_path, NOTES, OTHERS)
    for more in ([], ["--all"], ["--format", "json"], ["--format", "sarif"]):
        words = ["check", "--only", "--kb", str(layer), *more]
        expected = run(capsys, *words)
        for _ in range(2):
            assert run(capsys, *words, "--cache", str(tmp_path / "kept")) == expected
    assert sorted(path.name for path in (tmp_path / "kept").iterdir()) == [
        f"check-{form}.json" for form in sorted(FORMATS)
    ]
    shutil.rmtree(tmp_path / "kept")
    assert run(capsys, *words, "--cache", str(tmp_path / "kept")) == expected


def test_a_store_that_cannot_be_cut_is_checked_as_a_whole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    layer = enter_forms(tmp_path, NOTES)
    path = layer / "sources" / "invented-notes.ttl"
    path.write_text(path.read_text().replace('"p. 1"', '"""p.\n\n1"""'))
    status, expected, _ = run(capsys, "check", "--only", "--kb", str(layer))
    found = run(capsys, "check", "--only", "--kb", str(layer), "--cache", str(tmp_path / "kept"))
    assert found[:2] == (status, expected)
    assert found[2] == f"{tmp_path / 'kept'}: not used, since not every file is laid out as add writes it\n"
    assert not (tmp_path / "kept").exists()


def test_rules_of_ones_own_are_not_checked_in_parts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shape = write_shapes(
        tmp_path, "ours:x a sh:PropertyShape ; sh:targetClass tc:Claim ; sh:path tc:note ; sh:minCount 1 ."
    )
    status, out, error = run(capsys, "check", "--shapes", str(shape), "--cache", str(tmp_path / "kept"))
    assert (status, out) == (2, "")
    assert "--cache" in error and "leave --cache out" in error
    assert not (tmp_path / "kept").exists()


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "kept").write_text("a file of somebody's")
    status, out, error = run(capsys, "check", "--cache", str(tmp_path / "kept"))
    assert (status, out) == (2, "")
    assert "kept" in error and "Traceback" not in error
    assert (tmp_path / "kept").read_text() == "a file of somebody's"


def test_every_shipped_document_can_be_cut() -> None:
    parts = DocumentParts(documents([]))
    whole = load()
    assert {parameter: len(parts.part(parameter).claims) for parameter in parts.parameters} == {
        parameter: sum(claim.parameter == parameter for claim in whole.claims) for parameter in parts.parameters
    }
    assert sum(len(parts.part(parameter).claims) for parameter in parts.parameters) == len(whole.claims)
    assert shipped().is_dir() and not parts.rest().claims
