"""What the demo department's store prints, kept as files: a changed output shows as a changed snapshot.

Rewrite them with ``TRAYCONCORD_SNAPSHOTS=write pytest tests/test_snapshots.py`` and read the difference.
"""

import json
import os
import re
from pathlib import Path

import pytest

from trayconcord.generators.cli import main

FOLDER = Path(__file__).parent / "snapshots"
MARKED = [
    "harrow-vale/measured-trays.yaml", "--kb", "harrow-vale/kb", "--only", "--case", "harrow-vale/lower-alginate.yaml",
]  # fmt: skip
OUTPUTS = {
    "check.txt": ["check", "--kb", "harrow-vale/kb", "--only"],
    "check.json": ["check", "--kb", "harrow-vale/kb", "--only", "--format", "json"],
    "check.sarif": ["check", "--kb", "harrow-vale/kb", "--only", "--format", "sarif"],
    "compare.txt": ["compare", "--kb", "harrow-vale/kb", "--only", "wait-before-use"],
    "compare.json": ["compare", "--kb", "harrow-vale/kb", "--only", "--format", "json"],
    "mark.txt": ["mark", *MARKED],
    "mark.json": ["mark", *MARKED, "--format", "json", "--tray", "HV-04"],
    "mark.csv": ["mark", *MARKED, "--format", "csv"],
    "mark.html": ["mark", *MARKED, "--format", "html", "--tray", "HV-06"],
    "mark-sheet.html": ["mark", *MARKED[1:], "--format", "sheet"],
    "marking.yaml": ["form", "--kb", "harrow-vale/kb", "--only", "marking"],
    "form.yaml": ["form", "--kb", "harrow-vale/kb", "--only", "harrow-vale-lab-2024"],
}
FILES = (
    "sources/harrow-vale-lab-2024.ttl",
    "rulings/spacer-thickness.ttl",
    "cases/upper-paste-wash.ttl",
    "marking/policy.ttl",
)
PAGES = ("export/rules.json", "export/rules.csv", "study-sheet-maxillary.html")
VOCABULARY = ("@context", "axes", "cautions", "concepts", "parameters", "units")
"""What an export carries of the vocabulary, which has tests of its own."""


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented department, with everything entered into a store of its own, and built."""
    folder = tmp_path_factory.mktemp("demo")
    before = Path.cwd()
    os.chdir(folder)
    try:
        assert main(["demo", "harrow-vale"]) == 0
        forms = [f"harrow-vale/{name}.yaml" for name in ("handout-2019", "handout-2024", "course")]
        assert main(["add", "--kb", "harrow-vale/kb", "--only", *forms]) == 0
        assert main(["build", "--kb", "harrow-vale/kb", "--only", "--out", "site"]) == 0
        assert main(["render", "harrow-vale/manual.md.j2", "--kb", "harrow-vale/kb", "--out", "manual.md"]) == 0
    finally:
        os.chdir(before)
    return folder


def hold(name: str, found: str) -> None:
    """Compare with a snapshot, or write it when asked to."""
    found = re.sub(r"\b[0-9a-f]{64}\b", "the hash of the store", found, flags=re.IGNORECASE)
    found = re.sub(r"<style>.*?</style>", "<style></style>", found, flags=re.DOTALL)  # the look is not what is kept
    found = found.replace("\r\n", "\n")
    path = FOLDER / name
    if os.environ.get("TRAYCONCORD_SNAPSHOTS") == "write":
        path.write_text(found, encoding="utf-8")
    assert found == path.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", OUTPUTS)
def test_a_command_prints_what_it_printed(
    demo: Path, name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(demo)
    capsys.readouterr()
    assert main(OUTPUTS[name]) == 0
    printed = capsys.readouterr().out
    if name == "check.sarif":  # the pages of the rules are kept, and tested, elsewhere
        document = json.loads(printed)
        for rule in document["runs"][0]["tool"]["driver"]["rules"]:
            del rule["help"]
        printed = json.dumps(document, ensure_ascii=False, indent=2, sort_keys=True) + "\n"
    hold(name, printed)


@pytest.mark.parametrize("name", FILES)
def test_a_form_is_stored_as_it_was_stored(demo: Path, name: str) -> None:
    hold(name.replace("/", "-"), (demo / "harrow-vale" / "kb" / name).read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_built_as_it_was_built(demo: Path, name: str) -> None:
    written = (demo / "site" / name).read_text(encoding="utf-8")
    if name == "export/rules.json":
        document = {key: part for key, part in json.loads(written).items() if key not in VOCABULARY}
        written = json.dumps(document, ensure_ascii=False, indent=2, sort_keys=True) + "\n"
    hold(name.replace("/", "-"), written)


def test_the_manual_is_rendered_as_it_was_rendered(demo: Path) -> None:
    """Over the shipped store, since a manual cites books: a new claim on what it says changes it."""
    text = (demo / "manual.md").read_text(encoding="utf-8")
    hold("manual.md", re.sub(r"(?<=the rules )[0-9a-f]{12}\b", "(the hash of the store)", text))
