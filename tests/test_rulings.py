"""Rulings: what is kept when a decision is confirmed, corrected or changed. All of it is invented."""

from pathlib import Path

from html_tree import Element, parse
from invented import enter_forms

from trayconcord.generators.pages import site_pages
from trayconcord.kb.store import load
from trayconcord.shapes.check import Report, check

SOURCE = """\
source: {id: one-work, title: Invented, kind: textbook}
claims:
  - {parameter: spacer-thickness, value: 1 mm, at: p. 1, obtained: read}
"""
OTHER = SOURCE.replace("one-work", "other-work").replace("1 mm", "2 mm")
RULING = """\
rulings:
  - {parameter: spacer-thickness, value: 1 mm, because: one sheet, decided-on: 2026-05-12, decided-by: board}
"""
CHANGED = RULING.replace("1 mm", "2 mm").replace("2026-05-12", "2026-09-01").replace("one sheet", "two sheets")


def test_a_ruling_that_is_replaced_stays_as_history(tmp_path: Path) -> None:
    layer = enter_forms(tmp_path, SOURCE, OTHER)
    enter_forms(tmp_path, RULING)
    enter_forms(tmp_path, CHANGED)
    store = load([layer], only=True)
    (ruling,) = store.rulings
    (former,) = store.history_of(ruling.id)
    assert (ruling.printed, ruling.decided_on) == ("2 mm", "2026-09-01")
    assert (former.id, former.printed, former.because) == ("spacer-thickness#2026-05-12", "1 mm", "one sheet")
    assert former.positions_then == ruling.positions_then != ()
    assert check(store).comparison.governing("spacer-thickness", ()) == (ruling,)


def test_what_is_entered_again_word_for_word_keeps_the_positions_of_its_day(tmp_path: Path) -> None:
    layer = enter_forms(tmp_path, SOURCE)
    enter_forms(tmp_path, RULING)
    enter_forms(tmp_path, OTHER)
    enter_forms(tmp_path, RULING)
    store = load([layer], only=True)
    assert store.former_rulings == []
    assert store.rulings[0].positions_then == ("1 mm: one-work/spacer-thickness",)
    (stale,) = (finding for finding in check(store).findings if finding.rule == "stale-ruling")
    assert "other-work/spacer-thickness was added" in stale.message


def test_a_ruling_confirmed_on_a_later_day_is_fresh_again(tmp_path: Path) -> None:
    layer = enter_forms(tmp_path, SOURCE)
    enter_forms(tmp_path, RULING)
    enter_forms(tmp_path, OTHER)
    enter_forms(tmp_path, RULING.replace("2026-05-12", "2026-09-01"))
    store = load([layer], only=True)
    assert [former.decided_on for former in store.former_rulings] == ["2026-05-12"]
    assert check(store).states["stale-ruling"] == "passed"


def page_of(report: Report) -> Element:
    return parse(site_pages(report)["decisions.html"].decode())


def test_the_page_of_decisions_lists_what_stands_and_what_has_gone_stale(tmp_path: Path) -> None:
    layer = enter_forms(tmp_path, SOURCE)
    enter_forms(tmp_path, RULING.replace("board}", "board, review-by: 2027-01-31}"))
    (table,) = page_of(check(load([layer], only=True))).classed("rulings")
    for words in ("spacer thickness", "in general", "1 mm", "one sheet", "2026-05-12, board"):
        assert words in table.text
    assert "To be looked at again by 2027-01-31" in table.text
    assert "Stands: the positions are those that it was decided on." in table.text
    enter_forms(tmp_path, OTHER)
    (table,) = page_of(check(load([layer], only=True))).classed("rulings")
    assert "Stands:" not in table.text
    assert "Look at it again:" in table.text and "other-work/spacer-thickness was added" in table.text


def test_the_page_of_decisions_keeps_history_and_says_where_there_is_nothing(tmp_path: Path) -> None:
    layer = enter_forms(tmp_path, SOURCE, OTHER)
    empty = page_of(check(load([layer], only=True)))
    assert not empty.classed("rulings") and "The store holds no ruling" in empty.text
    enter_forms(tmp_path, RULING)
    enter_forms(tmp_path, CHANGED)
    report = check(load([layer], only=True))
    (table,) = page_of(report).classed("rulings")
    assert "2 mm" in table.text and "Before: 1 mm: one sheet (board, 2026-05-12)" in table.text
    question = parse(site_pages(report)["question-spacer-thickness.html"].decode())
    assert [mark.text for mark in question.classed("ruled")] == ["ruled"]


def test_two_decisions_of_one_day_are_both_kept_the_latest_first(tmp_path: Path) -> None:
    layer = enter_forms(tmp_path, SOURCE, OTHER)
    for because in ("first", "second", "third"):
        enter_forms(tmp_path, RULING.replace("one sheet", because))
    store = load([layer], only=True)
    assert store.rulings[0].because == "third"
    assert [former.because for former in store.history_of("spacer-thickness")] == ["second", "first"]
    assert [former.id for former in store.former_rulings] == [
        "spacer-thickness#2026-05-12",
        "spacer-thickness#2026-05-12-2",
    ]


def test_history_belongs_to_its_own_case(tmp_path: Path) -> None:
    paste = RULING.replace("value: 1 mm", "when: {impression-material: polyether}, value: 1 mm")
    layer = enter_forms(tmp_path, SOURCE)
    enter_forms(tmp_path, RULING)
    enter_forms(tmp_path, paste)
    enter_forms(tmp_path, paste.replace("one sheet", "a thin wash"))
    store = load([layer], only=True)
    assert store.history_of("spacer-thickness") == []
    assert len(store.history_of("spacer-thickness?impression-material=polyether")) == 1


def test_a_reason_for_having_no_source_is_stored_and_lifts_the_finding(tmp_path: Path) -> None:
    excused = RULING.replace("1 mm", "5 mm").replace("because:", "without-source: our own trial, because:")
    layer = enter_forms(tmp_path, SOURCE, RULING.replace("1 mm", "5 mm"))
    assert check(load([layer], only=True)).exit_status == 1
    enter_forms(tmp_path, excused)
    store = load([layer], only=True)
    assert store.rulings[0].without_source == "our own trial"
    assert check(store).exit_status == 0


def test_no_review_is_due_without_a_date(tmp_path: Path) -> None:
    layer = enter_forms(tmp_path, SOURCE, RULING.replace("because:", "review-by: 2000-01-01, because:"))
    assert check(load([layer], only=True)).states["review-due"] == "passed"
