"""The demo: an invented department whose two handouts disagree with each other and with the books."""

from pathlib import Path

import pytest
import yaml

from trayconcord.generators.cli import main
from trayconcord.generators.demo import lay_out
from trayconcord.kb.case_file import read_case
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.measured_file import read_measured
from trayconcord.kb.store import Store
from trayconcord.shapes.check import Report, check
from trayconcord.shapes.compare import Topic
from trayconcord.shapes.marking import mark

HANDOUTS = ("harrow-vale-2019", "harrow-vale-lab-2024")


@pytest.fixture(scope="module")
def alone(demo_store: Store) -> Report:
    return check(demo_store)


def sides(topic: Topic) -> list[set[str]]:
    """The sources of each position."""
    return [set(position.sources) for position in topic.positions]


def test_every_file_of_the_demo_says_that_it_is_invented(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demo", str(tmp_path / "demo")]) == 0
    assert "an invented department" in capsys.readouterr().out
    files = sorted((tmp_path / "demo").iterdir())
    assert [file.name for file in files] == [
        "course.yaml", "handout-2019.yaml", "handout-2024.yaml", "lower-alginate.yaml", "manual.md.j2",
        "measured-trays.yaml",
    ]  # fmt: skip
    manuscript = files.pop(4).read_text(encoding="utf-8")
    assert manuscript.startswith("{# Invented for the demo") and "chapter are invented" in manuscript
    for file in files:
        text = file.read_text(encoding="utf-8")
        assert text.startswith("# Invented for the demo")
        form = yaml.safe_load(text)
        if "source" in form:
            assert "Invented" in form["source"]["note"]
        for ruling in form.get("rulings", []):
            assert "(invented)" in ruling["decided-by"]


def test_what_the_demo_prints_to_do_next_works(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["demo", "harrow-vale"]) == 0
    following = capsys.readouterr().out.splitlines()[-1].partition("next: trayconcord ")[2]
    assert following == "add --kb harrow-vale/kb harrow-vale/handout-2019.yaml"
    assert main(following.split()) == 0
    assert main(["add", "--kb", "harrow-vale/kb", "harrow-vale/handout-2024.yaml", "harrow-vale/course.yaml"]) == 0
    written = sorted(str(path.relative_to("harrow-vale/kb")) for path in Path("harrow-vale/kb").rglob("*.ttl"))
    assert written == [
        "cases/lower-alginate.ttl",
        "cases/upper-paste-wash.ttl",
        "marking/policy.ttl",
        "rulings/border-clearance.ttl",
        "rulings/spacer-thickness.ttl",
        "rulings/stop-count.ttl",
        "rulings/wait-before-use.ttl",
        "rulings/wall-thickness.ttl",
        "sources/harrow-vale-2019.ttl",
        "sources/harrow-vale-lab-2024.ttl",
    ]


def test_the_handouts_disagree_with_each_other(alone: Report) -> None:
    contested = [topic for topic in alone.comparison.topics if topic.standing == "contested"]
    assert len(contested) >= 5
    for topic in contested:
        assert {claim.source for claim in topic.claims} == set(HANDOUTS)
    assert {"spacer-thickness", "stop-sites", "wait-before-use", "procedure"} <= {t.parameter.id for t in contested}
    assert "order-conflict" in {finding.rule for finding in alone.findings}


def test_the_handouts_disagree_with_the_books(ruled_report: Report) -> None:
    def against_the_books(topic: Topic) -> bool:
        ours = [side for side in sides(topic) if side & set(HANDOUTS)]
        books = [side for side in sides(topic) if not side & set(HANDOUTS)]
        return bool(ours and books)

    clashing = {
        t.parameter.id for t in ruled_report.comparison.topics if t.standing == "contested" and against_the_books(t)
    }
    assert len(clashing) >= 5
    assert {"spacer-thickness", "wait-before-use", "finger-rest-site"} <= clashing


def test_they_also_agree_somewhere_with_a_book_and_with_each_other(ruled_report: Report, alone: Report) -> None:
    assert any(topic.standing == "agreed" for topic in alone.comparison.topics)
    joint = [side for topic in ruled_report.comparison.topics for side in sides(topic) if side & set(HANDOUTS)]
    assert any(side - set(HANDOUTS) for side in joint)


def test_the_check_finds_the_slips_that_the_demo_holds(alone: Report) -> None:
    found = {(finding.rule, finding.parameter) for finding in alone.findings}
    assert ("implausible-value", "wall-thickness") in found
    assert ("missing-locator", "light-curing-time") in found
    assert any(rule == "uncovered-case" for rule, _ in found)
    assert alone.count("violation") == 0
    assert alone.errors == {}


def test_the_rulings_of_the_demo_are_supported_and_fresh(alone: Report) -> None:
    assert alone.states["unsupported-ruling"] == "passed"
    assert alone.states["stale-ruling"] == "passed"
    (paste,) = (ruling for ruling in alone.store.rulings if ruling.parameter == "spacer-thickness")
    assert len(paste.positions_then) == 2


def test_the_case_file_of_the_demo_is_one_of_its_taught_cases(tmp_path: Path, alone: Report) -> None:
    lay_out(tmp_path / "demo")
    case = read_case(tmp_path / "demo" / "lower-alginate.yaml", alone.store.vocabulary)
    assert case.when in {taught.when for taught in alone.store.cases}


def test_the_class_of_the_demo_shows_the_usual_mistakes(tmp_path: Path, ruled_report: Report) -> None:
    lay_out(tmp_path / "demo")
    store = ruled_report.store
    case = read_case(tmp_path / "demo" / "lower-alginate.yaml", store.vocabulary)
    measured = read_measured(tmp_path / "demo" / "measured-trays.yaml", store.vocabulary)
    marks = mark(store, ruled_report.comparison, case.when, measured.trays)
    found = {
        tray.tray.id: {(one.verdict, one.criterion.parameter.id) for one in tray.marks if one.verdict != "not marked"}
        for tray in marks.trays
    }
    assert {verdict for verdict, _ in found["HV-01"]} == {"within"}
    assert ("outside", "border-clearance") in found["HV-02"]
    assert ("outside", "wall-thickness") in found["HV-03"]
    assert {("outside", "stop-count"), ("outside", "wait-before-use")} <= found["HV-04"]
    assert ("not measured", "wall-thickness") in found["HV-05"]
    assert ("borderline", "border-clearance") in found["HV-06"]
    assert {one.criterion.basis for tray in marks.trays for one in tray.marks} == {"ruling", "agreement", "contested"}


def test_nothing_of_the_demo_is_in_the_shipped_store(shipped_store: Store) -> None:
    assert shipped_store.rulings == []
    assert shipped_store.cases == []
    assert shipped_store.marking is None
    assert not set(HANDOUTS) & set(shipped_store.sources)
    told = " ".join(str(term) for triple in shipped_store.graph for term in triple).casefold()
    assert "harrow" not in told
    assert "invented" not in told


def test_a_folder_that_holds_something_is_refused_and_left_alone(tmp_path: Path) -> None:
    lay_out(tmp_path / "demo")
    (tmp_path / "demo" / "course.yaml").write_text("mine now", encoding="utf-8")
    with pytest.raises(UnusableInput, match="exists already"):
        lay_out(tmp_path / "demo")
    assert (tmp_path / "demo" / "course.yaml").read_text(encoding="utf-8") == "mine now"
    (tmp_path / "file").write_text("a file", encoding="utf-8")
    with pytest.raises(UnusableInput, match="exists already"):
        lay_out(tmp_path / "file")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["demo", "file"]


def test_folders_above_are_made(tmp_path: Path) -> None:
    assert all(path.is_file() for path in lay_out(tmp_path / "a" / "b"))
