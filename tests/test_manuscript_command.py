"""The command for manuscripts: what it writes, what it leaves alone, and how it ends."""

import json
import os
import shutil
from pathlib import Path

import pytest
from invented import enter_demo

from trayconcord.generators.cli import main
from trayconcord.generators.manuscripts.functions import NAMES


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo, entered, and its manual, rendered."""
    folder = tmp_path_factory.mktemp("shelf")
    layer = enter_demo(folder)
    assert main(["render", str(folder / "demo" / "manual.md.j2"), "--kb", str(layer)]) == 0
    return folder / "demo"


@pytest.fixture
def desk(shelf: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of that folder to work in; the working directory."""
    shutil.copytree(shelf, tmp_path / "desk")
    monkeypatch.chdir(tmp_path / "desk")
    return tmp_path / "desk"


def files(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_the_manual_of_the_demo_is_a_chapter_with_everything_in_it(desk: Path) -> None:
    text = Path("manual.md").read_text(encoding="utf-8")
    assert 1_800 < len(text.split()) < 3_200  # about four printed pages, and the references
    for part in ("(sources differ)", "| impression material |", "![", "**Monomer vapour.**", "## References", "1. "):
        assert part in text
    assert "{{" not in text and "{%" not in text
    figures = sorted(path.name for path in Path("manual-figures").iterdir())
    assert figures == ["mandibular-section-irreversible-hydrocolloid.svg", "maxillary-outline.svg"]
    assert all(f"(manual-figures/{name})" in text for name in figures)


def test_no_number_of_the_demo_manual_is_the_authors_own() -> None:
    import re
    from importlib.resources import files as package_files

    text = (package_files("trayconcord.generators") / "demo" / "manual.md.j2").read_text(encoding="utf-8")
    words = re.sub(r"\{[{%#].*?[#%}]\}", "", text, flags=re.DOTALL)
    assert re.findall(r"\d+", words) == ["4"]  # the number of the chapter


def test_rendering_again_changes_nothing(desk: Path) -> None:
    before = files(desk)
    assert main(["render", "manual.md.j2", "--kb", "kb"]) == 0
    assert files(desk) == before


def test_a_run_that_ended_before_the_record_was_written_is_made_good(desk: Path) -> None:
    before = files(desk)
    (desk / "manual.md.passages.json").unlink()
    assert main(["render", "manual.md.j2", "--kb", "kb"]) == 0
    assert files(desk) == before


def test_a_check_of_what_was_rendered_passes_and_names_the_file(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["render", "--check", "manual.md", "--kb", "kb"]) == 0
    assert capsys.readouterr().out == "39 passages of manual.md hold\n"


def test_a_ruling_makes_the_manual_stale_and_a_build_stop(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("ruling.yaml").write_text(
        "rulings:\n  - {parameter: wall-thickness, value: 2 mm, because: Stiff enough., decided-on: 2026-09-01,"
        " decided-by: Nobody (invented)}\n",
        encoding="utf-8",
    )
    assert main(["add", "--kb", "kb", "ruling.yaml"]) == 0
    capsys.readouterr()
    assert main(["render", "--check", "manual.md", "--kb", "kb"]) == 1
    told = capsys.readouterr().out
    line = next(
        n for n, text in enumerate(Path("manual.md").read_text().splitlines(), 1) if "agree on the wall" in text
    )
    assert f"manual.md:{line}: value: both(" in told
    assert "no longer do" in told.splitlines()[-1]
    assert main(["render", "--check", "--format", "json", "manual.md", "--kb", "kb"]) == 1
    (found,) = json.loads(capsys.readouterr().out)["files"]
    assert (found["file"], found["gone"]) == ("manual.md", 0)
    assert {"line", "manuscript-line", "kind", "about", "was", "now", "fix"} == set(found["stale"][0])


def test_a_text_that_was_worked_on_is_not_written_over(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("manual.md").write_text(Path("manual.md").read_text(encoding="utf-8") + "Mine.\n", encoding="utf-8")
    before = files(desk)
    assert main(["render", "manual.md.j2", "--kb", "kb"]) == 2
    assert "manual.md: was changed by hand since it was rendered" in capsys.readouterr().err
    assert files(desk) == before
    Path("other.md").write_text("somebody's own", encoding="utf-8")
    assert main(["render", "manual.md.j2", "--kb", "kb", "--out", "other.md"]) == 2
    assert "other.md: is no rendered manuscript" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "arguments", "told"),
    [
        ('a\n{{ value("wall-thickness") }}', ["m.md.j2"], "m.md.j2:2: value: wall thickness: "),
        ("a\n{{ value( }}", ["m.md.j2"], "m.md.j2:2: "),
        ("fine", ["nothing.md.j2"], "nothing.md.j2: cannot be read"),
        ("fine", ["m.md.j2", "--out", "m.md.j2"], "m.md.j2: would be written over"),
        ("fine", ["m.md.j2", "--out", "."], ".: is a folder"),
        ("fine", ["m.md.j2", "--out", "m.md.j2/x.md"], "cannot be written"),
        ("fine", ["m.md.j2", "other.md.j2"], "takes one manuscript"),
        ("fine", ["m.md.j2", "--case", "arch=upper"], "did you mean maxillary?"),
        ("fine", ["--check", "m.md.j2"], "m.md.j2.passages.json: is missing"),
        ("fine", ["--check", "m.md.j2", "--case", "arch=maxillary"], "takes neither --case nor --out"),
        ("fine", [], "takes one manuscript"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_told_and_nothing_is_written(
    desk: Path, capsys: pytest.CaptureFixture[str], text: str, arguments: list[str], told: str
) -> None:
    Path("m.md.j2").write_text(text, encoding="utf-8")
    before = files(desk)
    assert main(["render", *arguments, "--kb", "kb", "--only"]) == 2
    found = capsys.readouterr()
    assert told in found.err
    assert "fix: " in found.err and "Traceback" not in found.err
    assert found.out == ""
    assert files(desk) == before


def test_a_manuscript_that_is_no_text_is_told_at_its_line(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("m.md.j2").write_bytes(b"one\ntw\xe9\n")
    assert main(["render", "m.md.j2", "--kb", "kb", "--only"]) == 2
    assert "m.md.j2:2: is not UTF-8" in capsys.readouterr().err


def test_a_failed_write_leaves_no_draft(desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import os

    Path("m.md.j2").write_text("new", encoding="utf-8")
    before = files(desk)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    assert main(["render", "m.md.j2", "--kb", "kb", "--only"]) == 2
    assert files(desk) == before


@pytest.mark.parametrize(
    "case", [["lower-alginate"], ["arch=mandibular", "impression-material=irreversible-hydrocolloid"]]
)
def test_the_case_is_a_case_of_the_store_or_words(desk: Path, case: list[str]) -> None:
    Path("m.txt.j2").write_text('{{ value("spacer-thickness") }}', encoding="utf-8")
    assert main(["render", "m.txt.j2", "--kb", "kb", "--only", "--case", *case]) == 0
    assert Path("m.txt").read_text(encoding="utf-8") == "3 mm"


def test_notes_to_the_author_go_beside_the_output(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("m.md.j2").write_text('{{ both("border-clearance", "upper-paste-wash") }}', encoding="utf-8")
    assert main(["render", "m.md.j2", "--kb", "kb", "--only"]) == 0
    told = capsys.readouterr()
    assert told.out == "wrote m.md with 1 passage from the rules\n"
    assert "m.md.j2: it cites and has no reference list" in told.err


def test_the_functions_are_explained(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["render", "--functions"]) == 0
    told = capsys.readouterr().out
    assert all(f"\n{name}\n  " in told for name in NAMES)
    assert "\\VAR{" in told


def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    os.mkfifo(tmp_path / "manual.md.j2")
    assert main(["render", "--only", str(tmp_path / "manual.md.j2")]) == 2
    assert "cannot be read: not a regular file" in capsys.readouterr().err
