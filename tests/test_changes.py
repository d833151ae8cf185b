"""What changed between two states of a store. All of it is invented."""

import json
from pathlib import Path
from typing import Any

import pytest
from html_tree import parse
from invented import NOTES, enter_forms

from trayconcord.generators.build import build
from trayconcord.generators.changes import Record, changes, document_of
from trayconcord.generators.changes_output import text_changes
from trayconcord.generators.cli import main
from trayconcord.generators.export import rules_document
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.store import Store, load
from trayconcord.shapes.check import Report, check
from trayconcord.shapes.compare import Comparison

OTHER = """\
source: {id: other-notes, title: Other notes, year: 2021, kind: lecture-notes}
claims:
  - {parameter: stop-count, value: 4, at: p. 7, obtained: read}
"""
RULING = """\
rulings:
  - {parameter: stop-count, value: 3, because: Three make a plane., decided-on: 2026-05-12, decided-by: a board}
"""


TABLES = ("rules", "rulings", "claims", "sources", "parameters", "axes", "concepts", "units", "cautions", "deprecated")
RULE = {"id": "p", "parameter": "p", "standing": "single", "when": {}, "positions": []}


def broken(**parts: Any) -> bytes:
    """An export without records, but for some parts."""
    empty: dict[str, Any] = {"format": 1, "version": "0.1.0", **{name: [] for name in TABLES}}
    return json.dumps(empty | parts).encode()


def test_an_export_without_records_is_one(tmp_path: Path) -> None:
    """So that what is refused below is refused for what is broken in it."""
    (tmp_path / "rules.json").write_bytes(broken(rules=[RULE]))
    assert document_of(tmp_path / "rules.json", True)["rules"] == [RULE]


def after(tmp_path: Path, *forms: str) -> tuple[Path, Path]:
    """The folder of a store before and after forms are entered."""
    old, new = enter_forms(tmp_path, NOTES, name="old"), enter_forms(tmp_path, NOTES, name="new")
    for form in forms:
        enter_forms(tmp_path, form, name="new")
    return old, new


def told(old: Path, new: Path) -> list[str]:
    return text_changes(changes(document_of(old, True), document_of(new, True))).splitlines()


def test_nothing_changes_between_a_store_and_itself(shipped_store: Store) -> None:
    document = rules_document(shipped_store, Comparison(shipped_store))
    assert text_changes(changes(document, document)) == "nothing changed"


def test_a_new_source_is_told_with_its_claim_and_the_topic_it_moves(tmp_path: Path) -> None:
    assert told(*after(tmp_path, OTHER)) == [
        "changed: 1 source, 1 claim, 1 topic",
        "",
        "Sources",
        "  + Other notes. 2021.",
        "",
        "number of stops  [stop-count]",
        "  ~ in general: single → contested (3 | 4)",
        "  + Other notes 2021, p. 7: 4",
    ]


def test_the_way_back_tells_the_same_the_other_way_round(tmp_path: Path) -> None:
    old, new = after(tmp_path, OTHER)
    lines = told(new, old)
    assert "  - Other notes. 2021." in lines
    assert "  ~ in general: contested → single (3)" in lines
    assert "  - Other notes 2021, p. 7: 4" in lines


def test_a_corrected_value_shows_what_it_was(tmp_path: Path) -> None:
    lines = told(*after(tmp_path, NOTES.replace("2-3 mm", "3 mm").replace("at: p. 1", "at: p. 2")))
    assert "  ~ Nobody A 2020, p. 2: 2-3 mm → 3 mm for polyether [altered: the value, the place]" in lines
    assert "  ~ polyether: still single, (2–3 mm) → (3 mm)" in lines


def test_a_ruling_and_its_change_are_told_with_the_reason(tmp_path: Path) -> None:
    old, new = after(tmp_path, RULING)
    line = "  + the course adopts 3 (a board, 2026-05-12: Three make a plane.)"
    assert line in told(old, new)
    enter_forms(tmp_path, RULING, name="old")
    enter_forms(tmp_path, RULING.replace("value: 3", "value: 4").replace("2026-05-12", "2026-09-01"), name="new")
    assert any(line.startswith("  ~ the course adopts 3 → 4 (a board, 2026-09-01:") for line in told(old, new))


def test_narrower_topics_that_change_the_same_way_are_counted_with_the_wider_one(tmp_path: Path) -> None:
    narrower = NOTES.replace("invented-notes", "more-notes").replace(
        "{parameter: stop-count,", "{parameter: stop-count, when: {arch: maxillary},"
    )
    old = enter_forms(tmp_path, NOTES, narrower, name="old")
    new = enter_forms(tmp_path, NOTES, narrower, OTHER, name="new")
    (question,) = changes(document_of(old, True), document_of(new, True)).questions
    assert {topic.id for topic in question.topics} | {n for t in question.topics for n in t.narrower} == {
        "stop-count",
        "stop-count?arch=maxillary",
    }


def test_every_change_of_a_claim_is_found_in_the_shipped_store_too(shipped_store: Store, ruled_report: Report) -> None:
    """The demo department laid over the shipped store adds its own claims and no others."""
    old = rules_document(shipped_store, Comparison(shipped_store))
    new = rules_document(ruled_report.store, ruled_report.comparison)
    found = changes(old, new)
    added = {change.id for question in found.questions for change in question.claims if change.before is None}
    assert added == {claim.id for claim in ruled_report.store.claims} - {claim.id for claim in shipped_store.claims}
    assert {change.id for question in found.questions for change in question.rulings} == {
        ruling.id for ruling in ruled_report.store.rulings
    }
    moved = {change.id for q in found.questions for change in q.topics}
    moved |= {name for q in found.questions for change in q.topics for name in change.narrower}
    before = {rule["id"]: rule["standing"] for rule in old["rules"]}
    for rule in new["rules"]:
        if before.get(rule["id"], "silent") != rule["standing"]:
            assert rule["id"] in moved


def test_a_store_its_export_and_its_site_are_the_same_state(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    layer = enter_forms(tmp_path, NOTES, OTHER)
    site = tmp_path / "site"
    build(check(load([layer], only=True)), site)
    for one, other in ((layer, site), (site, site / "export" / "rules.json")):
        assert main(["changes", "--only", str(one), str(other)]) == 0
        assert capsys.readouterr().out == "nothing changed\n"


def test_the_json_gives_every_record_before_and_after(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    old, new = after(tmp_path, OTHER)
    assert main(["changes", "--only", "--format", "json", str(old), str(new)]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [source["id"] for source in document["sources"]] == ["other-notes"]
    (question,) = document["questions"]
    assert question["parameter"] == "stop-count"
    (topic,) = question["topics"]
    assert (topic["before"]["standing"], topic["after"]["standing"]) == ("single", "contested")


def test_the_page_stands_alone_and_shows_hostile_text_as_text(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    hostile = OTHER.replace("Other notes", "<script>alert(1)</script>")
    old, new = after(tmp_path, hostile)
    assert main(["changes", "--only", "--format", "html", str(old), str(new)]) == 0
    page = capsys.readouterr().out
    assert "<script" not in page and "&lt;script&gt;alert(1)" in page
    assert 'href="style.css"' not in page and "src=" not in page
    assert "number of stops" in parse(page).text.casefold()


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("missing", None, "does not exist"),
        ("rules.json", b"{", "rules.json:1:2: JSON syntax"),
        ("rules.json", b"\xff", "is not UTF-8 text"),
        ("rules.json", b"[]", "is no rule export of this format"),
        ("rules.json", b'{"format": 1, "rules": [3], "claims": {}, "rulings": {}, "sources": {}}', "is no rule export"),
        ("rules.json", broken(version=1), "is no rule export"),
        ("rules.json", broken(deprecated=[{"id": "claim/a", "because": "b", "replaced-by": 1}]), "is no rule export"),
        ("rules.json", broken(rules=[RULE | {"value": "2 mm"}]), "is no rule export"),
        ("rules.json", broken(rules=[RULE | {"positions": None}]), "is no rule export"),
        ("rules.json", broken(rules=[RULE | {"when": {"arch": []}}]), "is no rule export"),
        ("rules.json", b"[" * 100_000, "nested too deeply"),
    ],
)
def test_what_is_no_state_of_a_store_is_told_plainly(
    tmp_path: Path, name: str, content: bytes | None, words: str
) -> None:
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(UnusableInput, match=words):
        document_of(path, True)


def test_a_folder_of_something_else_is_refused(tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    with pytest.raises(UnusableInput, match="neither a store nor a built site"):
        document_of(tmp_path / "photos", True)


def test_what_an_export_does_not_hold_is_told_to_differ(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "more").mkdir()
    noted = NOTES.replace("at: p. 2,", "at: p. 2, note: said twice,")
    one, other = enter_forms(tmp_path, NOTES), enter_forms(tmp_path / "more", noted)
    assert main(["changes", "--only", str(one), str(other)]) == 0
    assert capsys.readouterr().out == "nothing changed but what an export does not hold: notes or history\n"


# --- what the course teaches and how it marks ---

COURSE = """\
cases:
  - {id: first, label: First tray, when: {arch: maxillary}, asks: [stop-count, spacer-thickness]}
  - {id: second, label: Second tray, when: {}, asks: [stop-count]}
marking:
  pass: 70 %
  borderline: 1/2
  not-measured: left-out
  decided-on: 2026-05-12
  decided-by: a board
  items:
    - {parameter: stop-count, weight: 2}
    - {parameter: wall-thickness, sites: [ridge-crest], weight: 3, tolerance: 0.5 mm, uncertainty: 0.1 mm}
    - {parameter: handle-length, when: {arch: maxillary}, tolerance: 25 %}
"""
COURSE_NOW = """\
cases:
  - {id: first, label: The first tray, when: {arch: mandibular}, asks: [spacer-thickness, wall-thickness]}
  - {id: third, when: {arch: maxillary}, asks: [stop-count]}
marking:
  pass: 1/3
  borderline: 0
  not-measured: zero
  decided-on: 2026-09-01
  items:
    - {parameter: stop-count, weight: 2, borderline: 1/4}
    - {parameter: wall-thickness, sites: [ridge-crest, lingual-flange], weight: 1/2, tolerance: 10 %}
    - {parameter: handle-inclination, tolerance: 5 deg, uncertainty: 1 deg}
"""


def courses(tmp_path: Path) -> tuple[Record, Record]:
    """Two states of a course that differ in nothing but what it teaches and how it marks."""
    return tuple(  # type: ignore[return-value]
        document_of(enter_forms(tmp_path, NOTES, form, name=name), True)
        for name, form in (("old", COURSE), ("new", COURSE_NOW))
    )


def test_taught_cases_and_the_marking_policy_are_told_part_by_part(tmp_path: Path) -> None:
    old, new = courses(tmp_path)
    assert text_changes(changes(old, new)).splitlines() == [
        "changed: 3 taught cases, 5 entries of the marking policy",
        "",
        "Taught cases",
        "  ~ The first tray: name “First tray” → “The first tray”; conditions maxillary → mandibular; "
        "now asks for wall thickness; no longer asks for number of stops",
        "  + third (maxillary): asks for number of stops",
        "  - Second tray: asks for number of stops",
        "",
        "Marking policy",
        "  ~ the policy: pass mark 70 % → 1/3; credit when borderline 0.5 → 0; "
        "what was not measured left out → counts as nothing; decided on 2026-05-12 → 2026-09-01; "
        "decided by a board → none",
        "  ~ number of stops: credit when borderline none → 0.25",
        "  ~ wall thickness: weight 3 → 0.5; tolerance 0.5 mm → 10 %; uncertainty 0.1 mm → none; "
        "sites ridge crest → ridge crest, lingual flange",
        "  + handle inclination: weight 1; tolerance 5°; uncertainty 1°",
        "  - handle length for maxillary: weight 1; tolerance 25 %",
    ]
    assert text_changes(changes(old, old)) == "nothing changed"


def test_a_policy_that_comes_or_goes_is_told_whole(tmp_path: Path) -> None:
    old, new = document_of(enter_forms(tmp_path, NOTES), True), courses(tmp_path)[0]
    line = "the policy: pass mark 70 %; credit when borderline 0.5; what was not measured left out; "
    line += "decided on 2026-05-12; decided by a board"
    assert f"  + {line}" in text_changes(changes(old, new)).splitlines()
    assert f"  - {line}" in text_changes(changes(new, old)).splitlines()


def test_the_words_of_a_term_change_no_case(tmp_path: Path) -> None:
    old, _ = courses(tmp_path)
    worded = json.loads(json.dumps(old))
    for record in (*worded["cases"], *worded["marking"]["items"]):
        record["conditions"] = "put in other words"
    assert changes(old, worded).cases == changes(old, worded).marking == []


def test_page_and_json_tell_of_cases_and_marking_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    courses(tmp_path)
    states = [str(tmp_path / "old"), str(tmp_path / "new")]
    assert main(["changes", "--only", "--format", "html", *states]) == 0
    page = parse(capsys.readouterr().out)
    text = " ".join(page.text.split())
    assert "Taught cases" in text and "conditions maxillary → mandibular" in text
    assert "Marking policy" in text and "weight 3 → 0.5; tolerance 0.5 mm → 10 %" in text
    assert main(["changes", "--only", "--format", "json", *states]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [(case["id"], case["fields"]) for case in document["cases"]] == [
        ("first", ["label", "when", "asks"]),
        ("third", []),
        ("second", []),
    ]
    policy, item, *_ = document["marking"]
    assert policy["before"]["pass-mark"] == "0.7"
    assert policy["after"]["pass-mark"] == {"@type": "owl:rational", "@value": "1/3"}
    assert (item["id"], item["fields"]) == ("stop-count", ["borderline-credit"])


def test_an_export_of_a_former_release_says_nothing_of_cases_and_marking(tmp_path: Path) -> None:
    """Such an export is no state without cases: what it does not tell is not told to be new."""
    old, new = courses(tmp_path)
    former = {key: part for key, part in old.items() if key not in ("cases", "marking")}
    found = changes(former, new)
    assert (found.cases, found.marking) == ([], [])
    assert text_changes(found).splitlines() == [
        "nothing changed but what an export does not hold: cases, the marking policy, notes or history",
        "",
        "An export of a former release holds no cases and no marking policy, so these are not compared.",
    ]


CASE = {"id": "a", "when": {}, "asks": []}
POLICY = {"id": "policy", "type": "MarkingPolicy", "unmeasured": "zero", "borderline-credit": "0.5", "items": []}
ITEM = {"id": "p", "type": "MarkingItem", "parameter": "p", "when": {}, "sites": [], "weight": "1.0"}


@pytest.mark.parametrize(
    "parts",
    [
        {"cases": {}},
        {"cases": [CASE | {"asks": None}]},
        {"cases": [CASE | {"asks": [1]}]},
        {"cases": [{"id": "a", "asks": []}]},
        {"marking": []},
        {"marking": POLICY | {"items": None}},
        {"marking": POLICY | {"pass-mark": 0.7}},
        {"marking": POLICY | {"borderline-credit": {"@value": "1/0"}}},
        {"marking": POLICY | {"items": [ITEM | {"weight": "9" * 5000 + ".0"}]}},
        {"marking": POLICY | {"items": [ITEM | {"sites": "p"}]}},
        {"marking": POLICY | {"items": [{key: ITEM[key] for key in ITEM if key != "weight"}]}},
    ],
)
def test_cases_and_policies_that_are_broken_are_refused(tmp_path: Path, parts: Record) -> None:
    path = tmp_path / "rules.json"
    path.write_bytes(broken(cases=[CASE], marking=POLICY | {"items": [ITEM]}))
    assert document_of(path, True)["cases"] == [CASE]  # so that what is refused is refused for what is broken
    path.write_bytes(broken(**parts))
    with pytest.raises(UnusableInput, match="is no rule export of this format"):
        document_of(path, True)
