"""The agenda: one entry per decision, in order of consequence."""

import json
from dataclasses import replace
from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest
import yaml
from invented import store_of

from trayconcord.generators.agenda_output import form_agenda, json_agenda, text_agenda
from trayconcord.generators.cli import main
from trayconcord.generators.pages import site_pages
from trayconcord.kb.form_text import value_form
from trayconcord.kb.forms import read_form
from trayconcord.kb.model import comparable
from trayconcord.kb.store import Store, load, of_triples
from trayconcord.shapes.agenda import agenda, apart
from trayconcord.shapes.check import Report, check
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.scopes import covers

TWO = """\
source: {{id: {id}, title: Invented, kind: {kind}}}
claims:
  - {{parameter: spacer-thickness, value: {value}, at: p. 1, obtained: read}}
"""


def notes(name: str, value: str, kind: str = "textbook") -> str:
    """An invented source with one value of the spacer."""
    return TWO.format(id=name, kind=kind, value=value)


def test_every_contested_topic_is_settled_by_an_entry_and_no_entry_by_another(shipped_report: Report) -> None:
    found = agenda(shipped_report).entries
    vocabulary = shipped_report.store.vocabulary
    settled = {topic.id for entry in found for topic in (entry.topic, *entry.narrower)}
    assert settled == {t.id for t in shipped_report.comparison.topics if t.standing == "contested"}
    for one in found:
        for other in found:
            if one is not other and one.topic.parameter == other.topic.parameter:
                assert not covers(one.topic.when, other.topic.when, vocabulary)
        assert all(covers(one.topic.when, topic.when, vocabulary) for topic in one.narrower)
    assert len(found) < len(settled)


def test_firm_entries_come_first_and_each_part_in_order_of_its_total(shipped_report: Report) -> None:
    found = agenda(shipped_report).entries
    assert [entry.topic.firm for entry in found] == sorted((entry.topic.firm for entry in found), reverse=True)
    for firm in (True, False):
        totals = [entry.consequence.total for entry in found if entry.topic.firm is firm]
        assert totals == sorted(totals, reverse=True)


def test_a_ruling_at_an_entry_settles_all_that_is_narrower(tmp_path: Path, shipped_store: Store) -> None:
    """Ruling on every entry of the shipped store leaves only rulings that meet and differ to come back."""
    report = check(shipped_store)
    form = form_agenda(agenda(report), shipped_store)
    (tmp_path / "decisions.yaml").write_text(chosen(form), encoding="utf-8")
    assert main(["add", "--kb", str(tmp_path / "kb"), str(tmp_path / "decisions.yaml")]) == 0
    after = agenda(check(load([tmp_path / "kb"])))
    assert after.entries == ()
    assert {finding.rule for finding in after.again} == {"tied-rulings"}


def chosen(form: str) -> str:
    """The form as a committee would fill it in that always takes the first position."""
    lines = []
    first = ""
    for line in form.splitlines():
        if line.startswith("##   A: value: "):
            first = line.removeprefix("##   A: value: ").rpartition("    # ")[0]
        elif line.startswith("# - ") or line.startswith("#   "):
            line = line[2:]
            blank = {"value": first, "because": "Agreed.", "decided-on": "2026-05-12", "decided-by": "A board"}
            key = line.strip().partition(":")[0]
            line = line.rstrip() + f" {blank[key]}" if key in blank else line
        lines.append(line)
    return "\n".join(lines).replace("rulings: []", "rulings:")


def test_the_form_can_be_entered_as_it_is_printed(tmp_path: Path, shipped_store: Store) -> None:
    text = form_agenda(agenda(check(shipped_store)), shipped_store)
    assert yaml.safe_load(text) == {"rulings": []}


def test_how_far_positions_are_apart(tmp_path: Path) -> None:
    """By hand: 0 and 0.5 mm are as far apart as can be, 2 and 2.5 mm a fifth, 1-2 and 4 mm a half."""
    for number, (one, other, expected) in enumerate(
        [("none", "0.5 mm", Fraction(1)), ("2 mm", "2.5 mm", Fraction(1, 5)), ("1-2 mm", "4 mm", Fraction(1, 2))]
    ):
        folder = tmp_path / str(number)
        folder.mkdir()
        comparison = Comparison(store_of(folder, notes("one-work", one), notes("other-work", other)))
        assert apart(comparison.at("spacer-thickness", ()), comparison) == expected


def test_a_position_that_no_plausible_value_fits_is_marked(tmp_path: Path) -> None:
    typo = [
        notes(name, value).replace("spacer-thickness", "wall-thickness")
        for name, value in (("one-work", "2 mm"), ("other-work", "12 mm"))
    ]
    store = store_of(tmp_path, *typo)
    report = check(store)
    lines = text_agenda(agenda(report), store).splitlines()
    assert "     A  2 mm: “Invented”" in lines
    assert "     B  12 mm (implausible: see check): “Invented”" in lines
    assert "12 mm (implausible: see check)" in site_pages(report)["agenda.html"].decode()


def test_the_weaker_side_says_how_strong_the_evidence_is(tmp_path: Path) -> None:
    store = store_of(tmp_path, notes("one-work", "1 mm", "standard"), notes("other-work", "2 mm", "lecture-notes"))
    (entry,) = agenda(check(store)).entries
    assert entry.consequence.evidence == store.vocabulary.kinds["lecture-notes"].strength == 1
    assert entry.consequence.total == 2 + 3 * Fraction(1, 2) + 1


def test_a_taught_case_moves_an_entry_up(tmp_path: Path) -> None:
    case = "cases:\n  - {id: a-case, label: A case, when: {arch: maxillary}, asks: [spacer-thickness]}\n"
    store = store_of(tmp_path, notes("one-work", "1 mm"), notes("other-work", "2 mm"), case)
    (entry,) = agenda(check(store)).entries
    assert [found.id for found in entry.cases] == ["a-case"]
    assert entry.consequence.cases == 1
    assert "Taught in: A case" in text_agenda(agenda(check(store)), store)


def test_what_was_decided_comes_back_when_it_is_due_or_stale(demo_store: Store) -> None:
    assert agenda(check(demo_store, today=date(2027, 5, 1))).again == ()
    (due,) = agenda(check(demo_store, today=date(2027, 5, 2))).again
    assert (due.rule, due.parameter) == ("review-due", "spacer-thickness")
    assert "2027-05-01" in due.message
    fewer = of_triples(demo_store.triples, demo_store.places)
    fewer = replace(fewer, claims=[claim for claim in fewer.claims if claim.source != "harrow-vale-lab-2024"])
    rules = [finding.rule for finding in agenda(check(fewer, today=date(2027, 5, 2))).again]
    assert rules == ["stale-ruling"] * 4 + ["review-due"]


def test_the_json_holds_what_the_text_says(shipped_report: Report, shipped_store: Store) -> None:
    found = agenda(shipped_report)
    told = json.loads(json_agenda(found, shipped_store))
    assert [entry["topic"] for entry in told["decide"]] == [entry.topic.id for entry in found.entries]
    text = text_agenda(found, shipped_store)
    for entry in told["decide"]:
        assert f"     {entry['topic']}\n" in text
        assert len(entry["positions"]) >= 2
        assert 0 < entry["consequence"]["apart"] <= 1


def test_every_position_reads_back_from_the_notation_of_forms(tmp_path: Path, shipped_report: Report) -> None:
    vocabulary = shipped_report.store.vocabulary
    rulings, expected = [], {}
    for topic in shipped_report.comparison.topics:
        for number, position in enumerate(topic.positions):
            when = ", ".join(f"{axis}: {concept}" for axis, concept in topic.when)
            text = value_form(position.value, topic.parameter, vocabulary)
            assert "\n" not in text
            expected[number, topic.id] = position.value
            rulings.append((number, f"  - {{parameter: {topic.parameter.id}, when: {{{when}}}, value: {text}, "))
    for number in range(max(n for n, _ in expected) + 1):
        lines = [f"{line}because: x, decided-on: 2026-05-12, decided-by: y}}" for n, line in rulings if n == number]
        path = tmp_path / f"{number}.yaml"
        path.write_text("rulings:\n" + "\n".join(lines) + "\n", encoding="utf-8")
        for ruling in read_form(path, vocabulary).rulings:
            assert ruling.value is not None
            read = comparable(ruling.value, vocabulary.parameters[ruling.parameter], vocabulary)
            assert read == expected.pop((number, ruling.id))
    assert expected == {}


def test_the_command_prints_each_format(capsys: pytest.CaptureFixture[str]) -> None:
    for form, start in (("text", "0 decisions to take"), ("json", "{"), ("form", "# Decisions to take")):
        assert main(["agenda", "--only", "--format", form]) == 0
        assert capsys.readouterr().out.startswith(start)


def test_a_date_that_is_none_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["agenda", "--on", "12 May"])
    assert stopped.value.code == 2
    assert "12 May is no date; write it as 2026-05-12" in capsys.readouterr().err
