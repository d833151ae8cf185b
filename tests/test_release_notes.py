"""Release notes: what differs between two exports, id by id, and what that asks of a program that reads them."""

import copy
from pathlib import Path
from typing import Any

import pytest
from invented import NOTES, enter_forms, store_of

from trayconcord.generators.cli import main
from trayconcord.generators.export import rules_document
from trayconcord.generators.release_notes import bump, lost, release_notes
from trayconcord.shapes.compare import Comparison

OTHER = """\
source: {id: other-notes, title: Other notes, year: 2021, kind: lecture-notes}
claims:
  - {parameter: stop-count, value: VALUE, at: p. 7, obtained: read}
"""
RULING = """\
rulings:
  - {parameter: stop-count, value: 3, because: Three make a *plane*., decided-on: 2026-05-12, decided-by: a board}
"""
Document = dict[str, Any]


def exported(folder: Path, *forms: str) -> Document:
    folder.mkdir()
    store = store_of(folder, NOTES, *forms)
    return rules_document(store, Comparison(store))


@pytest.fixture(scope="module")
def documents(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Document]:
    """The invented notes alone; with a second voice that agrees, that differs, and that differs under a ruling."""
    folder = tmp_path_factory.mktemp("states")
    return {
        "alone": exported(folder / "alone"),
        "agreed": exported(folder / "agreed", OTHER.replace("VALUE", "3")),
        "contested": exported(folder / "contested", OTHER.replace("VALUE", "4")),
        "ruled": exported(folder / "ruled", OTHER.replace("VALUE", "4"), RULING),
    }


def section(notes: str, heading: str) -> list[str]:
    """The entries below a heading."""
    lines = notes.splitlines()
    if f"## {heading}" not in lines:
        return []
    rest = lines[lines.index(f"## {heading}") + 2 :]
    return [line[2:] for line in rest[: next((i for i, line in enumerate(rest) if not line), len(rest))]]


def test_two_exports_that_are_one_need_no_release(documents: dict[str, Document]) -> None:
    document = documents["agreed"]
    assert bump(document, document) == "none"
    notes = release_notes(document, document)
    assert "**No change.**" in notes and "No id, value or standing differs." in notes


def test_a_value_that_is_newly_agreed(documents: dict[str, Document]) -> None:
    notes = release_notes(documents["alone"], documents["agreed"])
    assert "**Minor: not breaking.**" in notes
    assert section(notes, "Newly with a value") == ["`stop-count`: single (3) → 3"]
    assert section(notes, "Newly agreed") == ["`stop-count`: single (3) → agreed (3)"]
    assert section(notes, "New sources") == ["`other-notes`"]
    assert section(notes, "New claims") == ["`other-notes/stop-count`"]


def test_a_value_that_is_newly_contested(documents: dict[str, Document]) -> None:
    notes = release_notes(documents["agreed"], documents["contested"])
    assert section(notes, "No longer with a value") == ["`stop-count`: 3 → contested (3 | 4)"]
    assert section(notes, "Newly contested") == ["`stop-count`: agreed (3) → contested (3 | 4)"]
    assert section(notes, "Corrected claims") == ["`other-notes/stop-count`: stated, value"]


def test_a_decision_gives_a_value_again(documents: dict[str, Document]) -> None:
    notes = release_notes(documents["contested"], documents["ruled"])
    assert section(notes, "Newly with a value") == ["`stop-count`: contested (3 | 4) → 3"]
    assert section(notes, "Decisions") == ["new `stop-count`: 3"]
    assert section(notes, "Newly contested") == []


def test_a_changed_value(documents: dict[str, Document]) -> None:
    changed = copy.deepcopy(documents["agreed"])
    (rule,) = (rule for rule in changed["rules"] if rule["id"] == "stop-count")
    rule["value"] |= {"min": "5.0", "max": "5.0", "text": "5"}
    assert section(release_notes(documents["agreed"], changed), "Changed values") == ["`stop-count`: 3 → 5"]


def test_an_id_that_goes_is_breaking_unless_it_is_deprecated(documents: dict[str, Document]) -> None:
    old, new = documents["agreed"], copy.deepcopy(documents["alone"])
    assert lost(old, new) == ["claim/other-notes/stop-count", "source/other-notes"]
    assert bump(old, new) == "major"
    notes = release_notes(old, new)
    assert "**Major: breaking.** 2 ids went without a deprecation." in notes
    assert section(notes, "Gone without a deprecation") == ["`claim/other-notes/stop-count`", "`source/other-notes`"]
    new["deprecated"] = [
        {
            "id": "claim/other-notes/stop-count",
            "retired": True,
            "because": "entered twice",
            "replaced-by": "claim/invented-notes/stop-count",
        },
        {"id": "source/other-notes", "retired": True, "because": "the <same> work"},
    ]
    assert lost(old, new) == []
    assert bump(old, new) == "minor"
    assert section(release_notes(old, new), "Deprecated") == [
        "`claim/other-notes/stop-count`, replaced by `claim/invented-notes/stop-count`: entered twice",
        r"`source/other-notes`, replaced by nothing: the \<same\> work",
    ]
    # what was told once is not told again, and must not be forgotten
    assert section(release_notes(new, new), "Deprecated") == []
    assert bump(new, documents["alone"]) == "major"


def test_words_alone_are_a_patch(documents: dict[str, Document]) -> None:
    worded = copy.deepcopy(documents["agreed"])
    worded["parameters"][0]["label"] += " (mm)"
    worded["sources"][0]["reference"] += " Second printing."
    worded["rules"][0]["positions"][0]["text"] += "."
    assert bump(documents["agreed"], worded) == "patch"
    assert "**Patch: not breaking.**" in release_notes(documents["agreed"], worded)


def test_another_format_is_breaking(documents: dict[str, Document]) -> None:
    assert bump(documents["agreed"], documents["agreed"] | {"format": 2}) == "major"
    assert "The format is another." in release_notes(documents["agreed"], documents["agreed"] | {"format": 2})


def test_the_command_prints_the_notes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    old = enter_forms(tmp_path, NOTES, name="old")
    new = enter_forms(tmp_path, NOTES, OTHER.replace("VALUE", "4"), name="new")
    assert main(["changes", "--only", "--format", "notes", str(old), str(new)]) == 0
    printed = capsys.readouterr().out
    assert printed.startswith("# Rules 0.")
    assert section(printed, "Newly contested") == ["`stop-count`: single (3) → contested (3 | 4)"]


def test_cases_and_the_marking_policy_are_in_the_notes(documents: dict[str, Document], tmp_path: Path) -> None:
    course = """\
cases:
  - {id: upper, label: Upper *tray*, when: {arch: maxillary}, asks: [stop-count]}
marking:
  pass: 70 %
  items:
    - {parameter: stop-count, weight: 2}
"""
    old = exported(tmp_path / "old", course)
    new = exported(tmp_path / "new", course.replace("weight: 2", "weight: 3").replace("maxillary", "mandibular"))
    notes = release_notes(old, new)
    assert section(notes, "Taught cases") == [r"altered Upper \*tray\*: conditions maxillary → mandibular"]
    assert section(notes, "Marking policy") == ["altered number of stops: weight 2 → 3"]
    assert bump(old, new) == "minor"
    # cases belong to a course and may go; their ids are no ids of the store
    assert bump(old, documents["alone"]) == "minor" and lost(old, documents["alone"]) == []
    renamed = copy.deepcopy(old)
    renamed["cases"][0]["label"] = "Upper tray"
    assert bump(old, renamed) == "patch"
    former = {key: part for key, part in old.items() if key not in ("cases", "marking")}
    assert bump(former, old) == "minor"
