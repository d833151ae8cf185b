"""Plans of study sheets: mistakes told at their place, and everything a plan asks for done."""

import re
from pathlib import Path

import pytest
from html_tree import parse
from invented import NOTES, enter_forms

from trayconcord.generators.cli import main
from trayconcord.generators.plans import default_plan, read_plan
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.vocabulary import Vocabulary

PLAN = """title: Week three
arch: mandibular
depth: brief
figures: no
chapters:
  - wall-and-handle
  - {title: Room for the material, of: [stops-and-holes, spacer-and-relief]}
tables:
  - {by: impression-material, of: [spacer-thickness]}
"""


def plan_file(folder: Path, text: str) -> Path:
    path = folder / "plan.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_plan_that_ships_takes_every_chapter_once(vocabulary: Vocabulary) -> None:
    plan = default_plan(vocabulary)
    taken = [name for chapter in plan.chapters for name in chapter.of]
    assert sorted(taken) == sorted(vocabulary.chapters)
    assert (plan.arches, plan.depth, plan.figures) == (("maxillary", "mandibular"), "full", True)


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("chapters: [wall-and-handel]\n", "1:12", "did you mean wall-and-handle?"),
        ("chapters: [methods, faults, methods]\n", "1:29", "the chapter methods stands twice"),
        ("chapters: [methods]\narch: upper\n", "2:7", "use one of: both, maxillary, mandibular"),
        ("chapters: [methods]\ndepth: deep\n", "2:8", "use one of: full, brief"),
        ("chapters: [methods]\nfigures: some\n", "2:10", "use one of: yes, no"),
        ("chapters: [methods]\ncharts: 3\n", "2:9", "use one of: no"),
        ("chapters: [methods]\ncolour: red\n", "2:1", "unknown key colour"),
        ("chapters: [methods]\ntitle: ''\n", "2:8", "title is empty"),
        ("chapters: methods\n", "1:11", "chapters must be a list"),
        ("chapters:\n  - {title: A}\n", "2:5", "does not say what it holds"),
        ("title: A\n", "1:1", "names no chapters"),
        ("chapters: [methods]\ntables: [{by: material, of: [tray-fit]}]\n", "2:15", "by: unknown term material"),
        ("chapters: [methods]\ntables: [{by: arch, of: [trayfit]}]\n", "2:26", "did you mean tray-fit?"),
        ("chapters: [methods]\ntables: [{by: arch}]\n", "2:10", "the table lacks of"),
    ],
)
def test_a_mistake_in_a_plan_is_told_at_its_place(
    text: str, place: str, words: str, tmp_path: Path, vocabulary: Vocabulary
) -> None:
    path = plan_file(tmp_path, text)
    with pytest.raises(UnusableInput) as caught:
        read_plan(path, vocabulary)
    told = "\n".join(str(complaint) for complaint in caught.value.complaints)
    assert f"{path}:{place}: " in told
    assert words in told and "fix: " in told


def test_every_mistake_is_told_at_once(tmp_path: Path, vocabulary: Vocabulary) -> None:
    path = plan_file(tmp_path, "arch: upper\ndepth: deep\nchapters: [no]\n")
    with pytest.raises(UnusableInput) as caught:
        read_plan(path, vocabulary)
    assert len(caught.value.complaints) == 3


def test_the_sheets_follow_the_plan(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    plan_file(tmp_path, PLAN)
    assert main(["sheets", "plan.yaml", "--out", "week"]) == 0
    assert capsys.readouterr().out.startswith("wrote 3 files to week; read week/study-sheet-mandibular.html")
    page = parse((tmp_path / "week" / "study-sheet-mandibular.html").read_text(encoding="utf-8"))
    assert next(page.all("h1")).text == "Week three: mandibular arch"
    headings = [heading.text for heading in page.all("h2")]
    assert headings == ["Wall and handle", "Room for the material", "By impression material", "References"]
    assert list(page.all("svg")) == []
    for table in page.classed("answers"):
        for body in table.all("tbody"):
            assert len(list(body.all("tr"))) == 1  # brief: each question once
    text = page.text
    assert text.index("How many stops does the tray have?") < text.index("How thick is the spacer?")
    assert re.search(r"\d+ narrower cases? with another answer", text)
    (grid,) = page.classed("grid")
    assert "irreversible hydrocolloid" in grid.text and "3 mm" in grid.text


def test_sheets_of_their_own_lead_nowhere_outside_their_folder(tmp_path: Path) -> None:
    out = tmp_path / "sheets"
    assert main(["sheets", "--out", str(out)]) == 0
    seen = 0
    for path in out.glob("*.html"):
        page = parse(path.read_text(encoding="utf-8"))
        ids = {element.attributes.get("id") for element in page.all()}
        for element in page.all("a", "link"):
            file, _, fragment = element.attributes["href"].partition("#")
            assert not file or file == "data:," or (out / file).is_file(), element.attributes["href"]
            assert not fragment or fragment in ids
            seen += 1
        assert "Cited: " in page.text  # on paper, the place in the source stands in the list
    assert seen > 100
    for path in out.glob("*.md"):
        figures = re.findall(r"\]\(([^)]+\.svg)\)", path.read_text(encoding="utf-8"))
        assert figures and all((out / figure).is_file() for figure in figures)


def test_a_department_gets_its_rulings_on_its_sheets(tmp_path: Path) -> None:
    ruling = (
        "rulings:\n  - {parameter: stop-count, value: 4, because: We do, decided-on: 2026-01-01, decided-by: All}\n"
    )
    layer = enter_forms(tmp_path, NOTES + ruling)
    assert main(["sheets", "--kb", str(layer), "--only", "--out", str(tmp_path / "out")]) == 0
    for ending in ("html", "md"):
        text = (tmp_path / "out" / f"study-sheet-maxillary.{ending}").read_text(encoding="utf-8")
        assert "by decision of the course: We do" in text


def test_a_plan_may_ask_for_range_charts(tmp_path: Path) -> None:
    for answer, wanted in (("yes", True), ("no", False)):
        path = plan_file(tmp_path, f"chapters: [spacer-and-relief]\narch: maxillary\nfigures: no\ncharts: {answer}\n")
        assert main(["sheets", str(path), "--out", str(tmp_path / "out")]) == 0
        page = parse((tmp_path / "out" / "study-sheet-maxillary.html").read_text(encoding="utf-8"))
        titles = [plot.attributes["aria-label"] for plot in page.classed("plot")]
        assert any(title.startswith("Range chart of spacer thickness, ") for title in titles) == wanted
        assert bool(titles) == wanted


def test_a_folder_that_is_somebodys_own_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "thesis.txt").write_text("ten years of work")
    assert main(["sheets", "--out", str(tmp_path)]) == 2
    assert "holds files that no build made" in capsys.readouterr().err
    assert (tmp_path / "thesis.txt").read_text() == "ten years of work"
