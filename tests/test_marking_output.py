"""What is printed of marks: text, JSON, CSV, feedback and the sheet to mark by hand, on the class of the demo."""

import csv
import io
import json
from fractions import Fraction
from pathlib import Path

import pytest
from html_tree import Element, parse
from invented import NOTES, store_of

from trayconcord.generators.cli import main
from trayconcord.generators.demo import lay_out
from trayconcord.generators.marking_output import COLUMNS, csv_marks, json_marks, text_marks
from trayconcord.generators.marking_pages import feedback_page, marking_sheet
from trayconcord.generators.marking_words import percent
from trayconcord.kb.case_file import CaseFile, read_case
from trayconcord.kb.measured_file import Measurement, Tray, read_measured
from trayconcord.kb.store import Store
from trayconcord.kb.values import Interval
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.judgement import VERDICTS
from trayconcord.shapes.marking import Marks, mark

LIMITS = {
    "HV-01": "100",
    "HV-02": "80.3922",
    "HV-03": "82.3529",
    "HV-04": "66.6667",
    "HV-05": "66.6667",
    "HV-06": "72.0588",
}
"""Scores of the demo's class in per cent, worked by hand from the weights of its policy (17 in all).

HV-02: labial and buccal border outside, lingual borderline: 17 - 4 + 4/3 x 1/2 of 17. HV-03: the wall outside: 14 of
17. HV-04: buccal border and spacer borderline, stops and waiting outside: 17 - 2/3 - 1 - 2 - 2 of 17. HV-05: frena,
handle length, inclination and finger rests outside, wall and waiting not measured: 8 of 12. HV-06: border, frena,
spacer, half of the wall and the inclination borderline: 17 - (4 + 1 + 2 + 3/2 + 1)/2 of 17.
"""


@pytest.fixture(scope="module")
def forms(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("forms") / "demo"
    lay_out(folder)
    return folder


@pytest.fixture(scope="module")
def case(forms: Path, ruled_report: Report) -> CaseFile:
    return read_case(forms / "lower-alginate.yaml", ruled_report.store.vocabulary)


@pytest.fixture(scope="module")
def marks(forms: Path, ruled_report: Report, case: CaseFile) -> Marks:
    measured = read_measured(forms / "measured-trays.yaml", ruled_report.store.vocabulary)
    return mark(ruled_report.store, ruled_report.comparison, case.when, measured.trays)


def test_the_scores_of_the_demo_are_those_worked_by_hand(marks: Marks) -> None:
    scores = {tray.tray.id: tray.score.counted for tray in marks.trays}
    assert scores == {
        "HV-01": 1,
        "HV-02": Fraction(17 - 4, 17) + Fraction(2, 3) / 17,
        "HV-03": Fraction(14, 17),
        "HV-04": (17 - Fraction(2, 3) - 1 - 2 - 2) / Fraction(17),
        "HV-05": Fraction(8, 12),
        "HV-06": (17 - Fraction(19, 2) / 2) / Fraction(17),
    }
    assert {name: str(round(float(score) * 100, 4)) for name, score in scores.items() if score} == {
        name: text if "." in text else f"{text}.0" for name, text in LIMITS.items()
    }


def test_the_text_says_what_is_off_by_how_much_and_who_says_so(marks: Marks, ruled_report: Report) -> None:
    lines = text_marks(marks, ruled_report.store, "The class").splitlines()
    assert "    outside: number of stops 3; allowed 4; 1 too few" in lines
    at = lines.index("    outside: wall thickness, ridge crest 4.8 mm ± 0.1 mm; allowed 1.5–3.5 mm; 1.3 mm too much")
    assert lines[at - 1] == "  wall and handle"
    assert lines[at + 1].startswith("        the course: Thinner trays bend")
    assert any(line.startswith("  not measured: wall thickness, ridge crest; wall") for line in lines)
    assert lines[lines.index("Not marked: no rule of the course") + 1].startswith("  sites of the stops: contested: ")
    assert "support the examiner’s judgement" in lines[-1]


def test_one_tray_is_told_without_a_table_of_the_class(marks: Marks, ruled_report: Report) -> None:
    alone = Marks(marks.case, marks.policy, marks.criteria, marks.trays[:1])
    text = text_marks(alone, ruled_report.store)
    assert "The class" not in text and "HV-01: 100 %" in text and "HV-02" not in text


def test_without_a_policy_the_text_says_so(tmp_path: Path) -> None:
    store = store_of(tmp_path, NOTES)
    found = Measurement("stop-count", "", Interval(Fraction(3), Fraction(3)))
    text = text_marks(mark(store, Comparison(store), (), [Tray("A", (found,))]), store)
    assert "The store holds no marking policy" in text
    assert "A: nothing to count" in text
    assert "number of stops: one voice: 3" in text


def test_json_carries_every_item_exactly(marks: Marks, ruled_report: Report) -> None:
    document = json.loads(json_marks(marks, ruled_report.store, "The class"))
    assert set(document) == {"case", "label", "policy", "note", "trays", "items"}
    assert document["policy"]["pass"] == 0.7
    trays = {tray["tray"]: tray for tray in document["trays"]}
    assert trays["HV-03"]["score"]["exact"]["counted"] == "14/17"
    assert trays["HV-03"]["score"]["counted"] == 0.823529
    assert (trays["HV-04"]["passed"], trays["HV-04"]["depends-on-borderline"]) == (False, True)
    items = {(item["parameter"], item["site"]): item for item in trays["HV-04"]["items"]}
    stops = items["stop-count", ""]
    assert (stops["verdict"], stops["off"], stops["credit"], stops["basis"]) == ("outside", -1, 0, "ruling")
    assert stops["ruling"] == "stop-count?arch=mandibular&impression-material=irreversible-hydrocolloid"
    border = items["border-clearance", "labial-sulcus"]
    assert border["exact"] == {"weight": "4/3", "credit": "1"}
    assert (border["allowed"]["min"], border["allowed"]["max"], border["allowed"]["unit"]) == (1.5, 2.5, "mm")
    assert (border["measured"]["min"], border["measured"]["uncertainty"]) == (1.8, 0.3)
    assert border["measured"]["uncertainty-from"] == "file"
    sites = items["stop-sites", ""]
    assert (sites["verdict"], sites["governing"], sites["credit"]) == ("not marked", None, None)
    assert len(sites["positions"]) == 2
    for tally in document["items"]:
        assert sum(tally[verdict] for verdict in VERDICTS) == 6


def test_csv_has_a_line_for_each_item_of_each_tray(marks: Marks, ruled_report: Report) -> None:
    text = csv_marks(marks, ruled_report.store)
    assert text.count("\r\n") == text.count("\n")
    header, *rows = csv.reader(io.StringIO(text))
    assert tuple(header) == COLUMNS
    assert len(rows) == sum(len(tray.marks) for tray in marks.trays)
    assert {row[0]: row[1] for row in rows} == LIMITS
    (stops,) = (dict(zip(COLUMNS, row, strict=True)) for row in rows if row[0] == "HV-04" and row[7] == "stop-count")
    assert (stops["found"], stops["allowed"], stops["off"], stops["weight"], stops["credit"]) == (
        "3",
        "4",
        "-1",
        "2",
        "0",
    )
    assert stops["says so"].startswith("course ruling, Harrow Vale")


def test_no_cell_of_the_csv_is_a_formula(ruled_report: Report, case: CaseFile) -> None:
    """An id cannot begin with a sign that starts a formula; what a source or a note says can."""
    found = Measurement("handle-inclination", "", Interval(Fraction(-1), Fraction(-1)), "-1 deg", note="=2+2")
    marks = mark(ruled_report.store, ruled_report.comparison, case.when, [Tray("=1+1", (found,))])
    for row in csv.reader(io.StringIO(csv_marks(marks, ruled_report.store))):
        for cell in row:
            assert not cell.startswith(("=", "+", "@", "\t", "\r"))
            assert not cell.startswith("-") or float(cell) < 0


def articles(page: Element) -> list[Element]:
    return list(page.all("article"))


def test_every_tray_has_a_feedback_sheet_of_its_own(marks: Marks, ruled_report: Report) -> None:
    page = parse(feedback_page(marks, ruled_report.store, "The class"))
    assert [next(a.all("h1")).text.split()[1] for a in articles(page)] == [tray.tray.id for tray in marks.trays]
    second, fifth = articles(page)[1], articles(page)[4]
    assert [v.text for v in second.classed("verdict")][:3] == ["outside", "outside", "borderline"]
    assert "Decision A of the course" in second.text and "Nearly all books agree" in second.text
    assert "66.7 % of what was measured, 47.1 % of everything" in fifth.text
    assert [v.text for v in fifth.classed("verdict")].count("not measured") == 3
    for article, tray in zip(articles(page), marks.trays, strict=True):
        assert "do not replace it" in article.text
        assert all(other.tray.id not in article.text for other in marks.trays if other is not tray)
    assert not list(page.all("script"))


def test_what_a_person_writes_is_shown_as_text(ruled_report: Report, case: CaseFile) -> None:
    found = Measurement("stop-count", "", Interval(Fraction(3), Fraction(3)), "3", note="<script>x</script>")
    marks = mark(ruled_report.store, ruled_report.comparison, case.when, [Tray("A", (found,), "<b>note</b>")])
    page = parse(feedback_page(marks, ruled_report.store, "<i>label</i>"))
    assert not list(page.all("script")) and not list(page.all("i"))
    assert "<script>x</script>" in page.text and "<b>note</b>" in page.text


def test_the_sheet_has_a_box_and_three_ticks_for_each_item(ruled_report: Report, case: CaseFile, marks: Marks) -> None:
    page = parse(marking_sheet(ruled_report.store, ruled_report.comparison, case.when, case.label))
    ruled = [criterion for criterion in marks.criteria if criterion.value is not None]
    assert len([cell for cell in page.all("td") if "box" in cell.attributes.get("class", "")]) == len(ruled)
    assert len(page.classed("square")) == 3 * len(ruled)
    rows = {next(row.all("th")).text: row.text for row in page.all("tr") if list(row.all("td"))}
    (wall,) = (text for name, text in rows.items() if name.startswith("wall thickness, ridge crest"))
    assert "1.5–3.5 mm" in wall and "rule: 2–3 mm" in wall and "± 0.1 mm" in wall and "1.5" in wall
    (waiting,) = (text for name, text in rows.items() if name.startswith("waiting time"))
    assert "at least 1 h" in waiting and "borderline earns 0" in waiting
    assert "(of 17)" in page.text and "Pass mark 70 %" in page.text
    assert "sites of the stops" in page.text and "do not replace it" in page.text
    (cautions,) = page.classed("caution")
    assert "Curing light" in cautions.text
    assert "Care. The edge of a fresh tray" in page.text


def test_a_sheet_for_a_case_without_rules_says_so(tmp_path: Path) -> None:
    store = store_of(tmp_path, NOTES)
    page = parse(marking_sheet(store, Comparison(store), ()))
    assert "No rule of the course governs anything" in page.text
    assert "one voice: 3" in page.text


@pytest.mark.parametrize(
    ("part", "limit", "text"),
    [
        (Fraction(2, 3), None, "66.7 %"),
        (Fraction(1), None, "100 %"),
        (Fraction(5996, 10000), Fraction(3, 5), "59.96 %"),  # 60 % would say that the mark was reached
        (Fraction(3, 5), Fraction(3, 5), "60 %"),
        (None, None, "nothing to count"),
    ],
)
def test_a_score_is_rounded_to_its_own_side_of_the_pass_mark(
    part: Fraction | None, limit: Fraction | None, text: str
) -> None:
    assert percent(part, limit) == text


# --- the command -----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def layer(tmp_path_factory: pytest.TempPathFactory, forms: Path) -> Path:
    folder = tmp_path_factory.mktemp("layer") / "kb"
    names = [str(forms / f"{name}.yaml") for name in ("handout-2019", "handout-2024", "course")]
    assert main(["add", "--only", "--kb", str(folder), *names]) == 0
    return folder


def run(layer: Path, *words: str) -> int:
    return main(["mark", *words[:1], "--only", "--kb", str(layer), *words[1:]])


def test_the_command_marks_one_tray_of_the_class(layer: Path, forms: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    words = [str(forms / "measured-trays.yaml"), "--tray", "HV-03", "--case", str(forms / "lower-alginate.yaml")]
    assert run(layer, *words) == 0
    printed = capsys.readouterr().out
    assert "HV-03: " in printed and "HV-02" not in printed


def test_the_command_takes_a_case_in_words(layer: Path, forms: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        main(["mark", "--format", "sheet", "--only", "--kb", str(layer), "--case", "arch=mandibular", "fit=spaced"])
        == 0
    )
    assert "Marking sheet for one tray" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--case", "arch=mandibular"], "mark: no file of measurements"),
        (
            ["{measured}", "--format", "sheet", "--case", "arch=mandibular"],
            "has nothing to do on a sheet to mark by hand",
        ),
        (["{measured}", "--tray", "HV-99", "--case", "arch=mandibular"], "holds no tray HV-99"),
        (["nowhere.yaml", "--case", "arch=mandibular"], "nowhere.yaml: cannot be read"),
        (["{measured}", "--case", "arch=maxillary"], "site: a tray of this case has no place lingual-sulcus"),
        (["{measured}", "--case", "tray-material=shellac", "fabrication-method=fused-deposition"], "does not go with"),
        (["{measured}", "--case", "arch=upper"], "arch: unknown term upper"),
    ],
)
def test_what_cannot_be_marked_is_told_and_nothing_is_printed(
    layer: Path, forms: Path, words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    filled = [word.format(measured=forms / "measured-trays.yaml") for word in words]
    assert main(["mark", "--only", "--kb", str(layer), *filled]) == 2
    printed = capsys.readouterr()
    assert printed.out == "" and told in printed.err and "fix: " in printed.err


def test_the_same_class_gives_the_same_bytes(marks: Marks, ruled_report: Report) -> None:
    for made in (text_marks, json_marks, csv_marks, feedback_page):
        assert made(marks, ruled_report.store) == made(marks, ruled_report.store)


def test_a_store_of_one_voice_marks_nothing(tmp_path: Path) -> None:
    store: Store = store_of(tmp_path, NOTES)
    found = Measurement("stop-count", "", Interval(Fraction(3), Fraction(3)))
    (tray,) = mark(store, Comparison(store), (), [Tray("A", (found,))]).trays
    assert {one.verdict for one in tray.marks} == {"not marked"}
