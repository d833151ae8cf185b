"""Holding a rendered manual against the rules: what changed, where it stands now, and what was changed by hand.

The departments are invented. Every test renders with one store and checks with another, or with an edited text.
"""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import store_of

from trayconcord.generators.manuscripts.checking import Stale, Verdict, stale
from trayconcord.generators.manuscripts.passages import Passage, read_record, record_json
from trayconcord.generators.manuscripts.places import places
from trayconcord.generators.manuscripts.rendering import Rendered, render
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.store import Store

BOOK = """# Invented for a test.
source: {id: book-NAME, title: Book NAME, authors: ["Nobody, Ann"], year: 2020, kind: textbook}
claims:
"""
BASE = (
    BOOK.replace("NAME", "one")
    + """
  - {parameter: border-clearance, value: 2 mm, at: p. 1, obtained: read}
  - {parameter: stop-count, value: 3, at: p. 2, obtained: read}
  - {parameter: wall-thickness, value: 2 mm, at: p. 3, obtained: read}
"""
)
AGREES = (
    BOOK.replace("NAME", "two")
    + """
  - {parameter: border-clearance, value: 1-2 mm, at: p. 1, obtained: read}
  - {parameter: stop-count, value: 3, at: p. 2, obtained: read}
  - {parameter: wall-thickness, value: 2 mm, at: p. 3, obtained: read}
"""
)
THIRD = BOOK.replace("NAME", "three")
RULING = """rulings:
  - {parameter: PARAMETER, value: VALUE, because: So decided., decided-on: 2026-05-12, decided-by: Nobody (invented)}
"""
MANUAL = """# A manual

The border ends {{ value("border-clearance") }} short, with {{ both("stop-count") }} stops.
The wall is {{ value("wall-thickness") }}.

{{ table("arch", ["wall-thickness", "stop-count"], rows=["maxillary", "mandibular"]) }}

{{ references() }}
"""


@pytest.fixture(scope="module")
def department(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Store]:
    """A function that gives the store of a department that entered these forms."""

    def make(*forms: str) -> Store:
        return store_of(tmp_path_factory.mktemp("department"), BASE, *forms)

    return make


@pytest.fixture(scope="module")
def agreed(department: Callable[..., Store]) -> Store:
    return department(AGREES)


@pytest.fixture(scope="module")
def manual(agreed: Store) -> Rendered:
    """A manual rendered where two books agree."""
    return render(MANUAL, agreed, name="manual.md.j2")


def kinds(verdict: Verdict) -> list[tuple[int, str]]:
    return [(one.line, one.kind) for one in verdict.stale]


def only(verdict: Verdict) -> Stale:
    (one,) = verdict.stale
    return one


def test_a_manual_holds_while_nothing_changes(manual: Rendered, agreed: Store) -> None:
    assert stale(manual.text, manual.record, agreed) == Verdict((), 5, 0)


def test_a_ruling_that_changes_a_value_is_told_with_old_and_new(
    manual: Rendered, department: Callable[..., Store]
) -> None:
    ruled = department(AGREES, RULING.replace("PARAMETER", "stop-count").replace("VALUE", "4"))
    verdict = stale(manual.text, manual.record, ruled)
    stops, *rows = (one for one in verdict.stale if "references" not in one.about)
    assert (stops.line, stops.kind, stops.was) == (3, "value", r"3 \[1, 2\]")
    assert stops.now.startswith("4")
    assert [(row.line, row.was.partition(" | ")[0]) for row in rows] == [(8, "| maxillary")]
    assert "| mandibular" in rows[0].was.splitlines()[1]


def test_a_claim_that_makes_a_value_contested_is_told_with_the_positions(
    manual: Rendered, department: Callable[..., Store]
) -> None:
    other = department(AGREES, THIRD + "  - {parameter: border-clearance, value: 5 mm, at: p. 9, obtained: read}\n")
    one = only(stale(manual.text, manual.record, other))
    assert (one.line, one.kind, one.was) == (3, "contested", "2 mm")
    assert "2 positions of 3 voices" in one.now
    assert "5 mm: Nobody 2020, p. 9" in one.now
    assert 'contested="positions"' in one.fix


def test_a_voice_that_falls_silent_is_told(manual: Rendered, department: Callable[..., Store]) -> None:
    verdict = stale(manual.text, manual.record, department())
    assert {one.kind for one in verdict.stale} == {"unanswered", "value"}
    assert all("one voice only" in one.now for one in verdict.stale if one.kind == "unanswered")


def test_a_further_source_changes_a_citation_and_no_value(manual: Rendered, department: Callable[..., Store]) -> None:
    other = department(AGREES, THIRD + "  - {parameter: stop-count, value: 3, at: p. 9, obtained: read}\n")
    found = kinds(stale(manual.text, manual.record, other))
    assert (3, "citation") in found
    assert (3, "value") not in found


def test_a_value_that_now_rests_on_a_ruling_is_told(manual: Rendered, department: Callable[..., Store]) -> None:
    ruled = department(AGREES, RULING.replace("PARAMETER", "border-clearance").replace("VALUE", "2 mm"))
    one = only(stale(manual.text, manual.record, ruled))
    assert (one.line, one.kind, one.was, one.now) == (3, "standing", "agreed", "ruled")


def test_numbers_of_references_that_moved_are_nothing_new(department: Callable[..., Store], agreed: Store) -> None:
    text = '{{ both("stop-count") }} {{ both("border-clearance") }}'
    done = render(text, agreed)
    more = department(AGREES, THIRD + "  - {parameter: stop-count, value: 3, at: p. 9, obtained: read}\n")
    assert [one.about for one in stale(done.text, done.record, more).stale] == ['both("stop-count")']


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("The border ends 2 mm", "The border ends 3 mm", 3),
        ("The border ends 2 mm", "The border ends 1.2 mm", 3),
        ("The border ends 2 mm", "The border ends 1–2 mm", 3),
        ("The border ends 2 mm", "The border ends −2 mm", 3),
        ("The wall is 2 mm.", "All new here.\n\nThe wall measures 2.5 mm!", 6),
        (r"3 \[1, 2\] stops", r"3 \[1\] stops", 3),
        ("| mandibular | 2 mm", "| mandibular | 9 mm", 9),
    ],
)
def test_a_passage_that_was_edited_by_hand_is_noticed(
    manual: Rendered, agreed: Store, old: str, new: str, line: int
) -> None:
    assert old in manual.text
    one = only(stale(manual.text.replace(old, new, 1), manual.record, agreed))
    assert (one.line, one.kind) == (line, "edited")
    assert "change the manuscript, line " in one.fix


def test_what_was_written_by_hand_as_the_rules_say_it_holds(manual: Rendered, department: Callable[..., Store]) -> None:
    ruled = department(AGREES, RULING.replace("PARAMETER", "wall-thickness").replace("VALUE", "4 mm"))
    before = stale(manual.text, manual.record, ruled)
    after = stale(manual.text.replace("The wall is 2 mm", "The wall is 4 mm"), manual.record, ruled)
    assert (4, "value") in kinds(before)
    assert {line for line, _ in kinds(before)} - {line for line, _ in kinds(after)} == {4}


@pytest.mark.parametrize(
    "edit",
    [
        lambda text: "A new preface.\nOf two lines, with 2 mm in it.\n\n" + text,
        lambda text: text.replace("The border ends", "As you know, the edge of the tray ends"),
        lambda text: text.replace("short, with", "short (not 3 mm), and it has"),
        lambda text: text.replace("\n", "\r\n"),
        lambda text: "\ufeff" + text,
        lambda text: text.replace("The wall is 2 mm.\n", "") + "\nThe wall is 2 mm.\n",
        lambda text: text.replace("# A manual", "# Another manual") + "\nAnd an end.",
    ],
)
def test_edits_elsewhere_change_nothing(manual: Rendered, agreed: Store, edit: Callable[[str], str]) -> None:
    assert stale(edit(manual.text), manual.record, agreed) == Verdict((), 5, 0)


def test_a_place_is_told_where_it_stands_now(manual: Rendered, department: Callable[..., Store]) -> None:
    ruled = department(AGREES, RULING.replace("PARAMETER", "wall-thickness").replace("VALUE", "4 mm"))
    text = "One\nTwo\n" + manual.text.replace("The wall is 2 mm.\n", "") + "\nThe wall is 2 mm.\n"
    line = next(one.line for one in stale(text, manual.record, ruled).stale if one.about.startswith("value"))
    assert text.splitlines()[line - 1] == "The wall is 2 mm."


def test_a_passage_that_was_taken_out_is_no_mistake(manual: Rendered, agreed: Store) -> None:
    text = manual.text.replace("The wall is 2 mm.\n", "")
    assert stale(text, manual.record, agreed) == Verdict((), 4, 1)


def test_a_value_that_only_decides_something_is_told_by_the_line_of_the_manuscript(
    agreed: Store, department: Callable[..., Store]
) -> None:
    done = render('a\n{% if value("stop-count") == "3" %}Three.{% endif %}\n', agreed)
    ruled = department(AGREES, RULING.replace("PARAMETER", "stop-count").replace("VALUE", "4"))
    one = only(stale(done.text, done.record, ruled))
    assert (one.line, one.source_line, one.kind, one.was, one.now) == (0, 2, "value", "3", "4")


def test_a_value_that_the_author_worked_on_is_tied_to_its_rule(agreed: Store, department: Callable[..., Store]) -> None:
    done = render('{% set v = value("wall-thickness") %}\nWALL {{ value("wall-thickness")|upper }} {{ v }}', agreed)
    assert [(done.text[p.start : p.end], p.whole) for p in done.passages] == [("2 MM", False), ("2 mm", True)]
    ruled = department(AGREES, RULING.replace("PARAMETER", "wall-thickness").replace("VALUE", "4 mm"))
    assert [(one.was, one.now) for one in stale(done.text, done.record, ruled).stale] == [("2 mm", "4 mm")] * 2
    assert only(stale(done.text.replace("2 MM", "3 MM"), done.record, agreed)).kind == "edited"


def test_a_figure_that_is_drawn_otherwise_is_told(ruled_report, agreed: Store) -> None:
    done = render('{{ figure("maxillary-outline", {"arch": "maxillary"}) }}', ruled_report.store)
    verdict = stale(done.text, done.record, agreed)
    assert {one.kind for one in verdict.stale} <= {"value", "figure"}
    assert verdict.stale


def test_a_parameter_that_is_gone_is_told(manual: Rendered, agreed: Store, tmp_path: Path) -> None:
    document = json.loads(record_json(manual.record))
    document["queries"][0]["arguments"] = ["border-clearance-of-old"]
    document["queries"][1]["function"] = "values"
    path = tmp_path / "manual.md.passages.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    assert [one.kind for one in stale(manual.text, read_record(path), agreed).stale] == ["unanswered", "unanswered"]


def test_a_record_reads_back(manual: Rendered, tmp_path: Path) -> None:
    path = tmp_path / "manual.md.passages.json"
    path.write_text(record_json(manual.record), encoding="utf-8")
    assert read_record(path) == manual.record


@given(st.data())
@settings(max_examples=60)
def test_a_damaged_record_is_refused_or_read(data: st.DataObject) -> None:
    """Any one value of a record replaced by any other is a record still, or is refused in words."""
    document = json.loads(TEXT[0])
    key = data.draw(st.sampled_from(sorted(document)))
    junk = st.none() | st.integers() | st.text(max_size=3) | st.lists(st.integers(), max_size=2) | st.just({"a": 1})
    document[key] = data.draw(junk)
    path = Path(TEXT[1]) / "damaged.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    try:
        stale(read_record(path).text, read_record(path), TEXT[2])
    except UnusableInput as refused:
        assert all(complaint.fix for complaint in refused.complaints)


TEXT: list = []


@pytest.fixture(scope="module", autouse=True)
def _shared(manual: Rendered, agreed: Store, tmp_path_factory: pytest.TempPathFactory) -> None:
    TEXT[:] = [record_json(manual.record), str(tmp_path_factory.mktemp("records")), agreed]


@given(
    st.lists(st.sampled_from(["alpha 2 mm beta", "gamma", "", "delta 3 mm", "2 mm"]), min_size=1, max_size=8), st.data()
)
@settings(max_examples=150)
def test_a_passage_that_is_found_reads_as_it_was_printed(lines: list[str], data: st.DataObject) -> None:
    """Whatever lines come in, go out or change places: what is called kept is the same text."""
    then = "\n".join(lines)
    passages = [Passage(m.start(), m.end(), [0], True) for m in re.finditer(r"\d mm", then)]
    kept = data.draw(st.permutations(lines)) if data.draw(st.booleans()) else list(lines)
    for _ in range(data.draw(st.integers(0, 3))):
        kept.insert(data.draw(st.integers(0, len(kept))), data.draw(st.sampled_from(["new", "12 mm", "2 mm of it"])))
    now = "\n".join(kept)
    for passage, place in zip(passages, places(then, now, passages), strict=True):
        if place is not None and place.kept:
            assert now[place.start : place.end] == then[passage.start : passage.end]
    assert all(place == (p.start, p.end) for p, place in zip(passages, _ends(then, passages), strict=True))


def _ends(text: str, passages: list[Passage]) -> list[tuple[int, int]]:
    """Where the passages of an unchanged text stand: where they stood."""
    return [(place.start, place.end) for place in places(text, text, passages) if place is not None and place.kept]
