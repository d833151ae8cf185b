"""What people and programs get of the items: the command, CSV, the paper and its key, the oral prompts."""

import csv
import io
import json
from pathlib import Path

import pytest
from html_tree import Element, parse

from trayconcord.generators.cli import main
from trayconcord.generators.item_bank import item_bank, selection
from trayconcord.generators.item_output import items_csv
from trayconcord.generators.items import Item
from trayconcord.generators.paper import ON_PAPER, item_pages
from trayconcord.generators.prompts import oral_prompts
from trayconcord.generators.withdrawn import NOTHING, Gone, Previous, withdrawals
from trayconcord.kb.store import Store
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Comparison


@pytest.fixture(scope="module")
def bank(shipped_report: Report) -> list[Item]:
    return item_bank(shipped_report.store, shipped_report.comparison)


@pytest.fixture(scope="module")
def pages(shipped_report: Report) -> dict[str, bytes]:
    return item_pages(shipped_report, 1, NOTHING)


def test_every_format_holds_the_same_items(bank: list[Item], shipped_store: Store, tmp_path: Path, capsys) -> None:
    out = tmp_path / "items.json"
    assert main(["items", "--format", "json", "--out", str(out)]) == 0
    known = json.loads(out.read_text(encoding="utf-8"))["items"]
    rows = list(csv.DictReader(io.StringIO(items_csv(bank, shipped_store))))
    capsys.readouterr()
    assert main(["items"]) == 0
    text = capsys.readouterr().out
    assert len(bank) == len(known) == len(rows)
    for item, entry, row in zip(bank, known, rows, strict=True):
        assert item.id == entry["id"] == row["id"]
        assert item.answer.text == entry["answer"] == row["answer"] == row[item.letter]
        assert [option["text"] for option in entry["options"] if option["right"]] == [item.answer.text]
        assert f"{item.id}  [{item.level}, " in text and entry["question"] in text
        assert entry["citations"] or item.kind in ("outside", "unnamed"), f"{item.id} cites nothing"


def test_chapter_number_and_seed_choose(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["items", "--format", "json", "--chapter", "faults", "--number", "3", "--seed", "5"]) == 0
    chosen = json.loads(capsys.readouterr().out)
    assert chosen["seed"] == 5 and len(chosen["items"]) == 3
    assert {item["chapter"] for item in chosen["items"]} == {"faults"}


@pytest.mark.parametrize(
    "arguments, told",
    [
        (["--chapter", "fault"], "no chapter has this id\n    fix: did you mean faults?"),
        (["--number", "0"], "is not a number of items"),
        (["--format", "qti"], "cannot be printed\n    fix: add --out"),
        (["--previous", "nowhere.json"], "nowhere.json: cannot be read"),
        (["--out", "no/such/folder/x"], "fix: "),
    ],
)
def test_what_cannot_be_done_is_told_with_a_way_out(
    arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["items", *arguments]) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"items": [{}], "withdrawn": []}', '{"items": 3, "withdrawn": []}', "\udcff"]
)
def test_a_list_that_trayconcord_did_not_write_is_refused(
    text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "items.json"
    path.write_text(text, encoding="utf-8", errors="surrogateescape")
    assert main(["items", "--previous", str(path)]) == 2
    assert f"{path}: is no list of items that trayconcord wrote" in capsys.readouterr().err


def test_a_cell_that_a_spreadsheet_would_run_is_made_plain(bank: list[Item], shipped_store: Store) -> None:
    for row in csv.reader(io.StringIO(items_csv(bank, shipped_store))):
        assert not any(cell.startswith(("=", "+", "-", "@")) for cell in row)


def listed(page: bytes) -> list[Element]:
    paper = next(e for e in parse(page.decode()).all("ol") if "paper" in e.attributes.get("class", ""))
    return [child for child in paper.children if isinstance(child, Element)]


def test_the_paper_asks_what_the_key_answers_and_gives_nothing_away(bank: list[Item], pages: dict[str, bytes]) -> None:
    chosen = selection(bank, ON_PAPER, 1)
    asked, answered = listed(pages["items/paper.html"]), listed(pages["items/key.html"])
    assert len(asked) == len(answered) == len(chosen) == ON_PAPER
    for item, question, answer in zip(chosen, asked, answered, strict=True):
        assert item.stem in question.text and item.stem in answer.text
        assert [option.text for option in item.options] == [li.text for li in question.all("li")]
        assert f"{item.letter}, {item.answer.text.rstrip('.')}." in answer.text.replace(" ,", ",")
        assert not list(question.all("b", "a", "details"))
    paper = pages["items/paper.html"].decode()
    assert all(item.id not in paper and item.level + "</" not in paper for item in chosen)


def test_same_store_same_bytes(shipped_report: Report, pages: dict[str, bytes]) -> None:
    assert item_pages(shipped_report, 1, NOTHING) == pages


def test_prompts_cover_every_question_on_which_voices_meet(shipped_report: Report) -> None:
    store = shipped_report.store
    prompts = oral_prompts(store, shipped_report.comparison)
    stated = {(claim.parameter, claim.when) for claim in store.claims}
    met = {
        t.parameter.id
        for t in shipped_report.comparison.topics
        if len(t.voices) > 1 and (t.parameter.id, t.when) in stated
    }
    assert {prompt.parameter.id for prompt in prompts} == met
    for prompt in prompts:
        for answer in prompt.answers:
            assert answer.value and answer.points and all(point.cited for point in answer.points)
        for dispute in prompt.disputes:
            assert len(dispute.positions) > 1 and dispute.settle
            assert all(point.cited for _, point in dispute.positions)


def test_prompts_say_a_thing_once_briefly_and_only_where_it_occurs(shipped_report: Report) -> None:
    """No member of a list is told of a case and again of one within it, none is of the other jaw; units are told."""
    store = shipped_report.store
    prompts = {prompt.parameter.id: prompt for prompt in oral_prompts(store, shipped_report.comparison)}
    for prompt in prompts.values():
        for answer in prompt.answers:
            assert all(0 < len(p.shown) <= 5 and p.more + len(p.shown) == len(p.cited) for p in answer.points)
        told = [(answer.case, answer.value, [point.text for point in answer.points]) for answer in prompt.answers]
        assert len({str(each) for each in told}) == len(told)
        shown = [{point.text for _, point in dispute.positions} for dispute in prompt.disputes]
        assert not any(one <= other for n, one in enumerate(shown) for other in shown[:n])
    relief = {answer.case: {point.text for point in answer.points} for answer in prompts["relief-areas"].answers}
    assert "torus mandibularis" in relief["in general"] and "torus palatinus" in relief["in general"]
    assert not relief["maxillary"] & {"torus mandibularis", "torus palatinus"}
    assert {answer.value for answer in prompts["disinfectant-dilution"].answers} == {"1 in 10"}


def test_a_prompt_says_what_to_look_up_wherever_a_source_leaves_a_condition_open(shipped_report: Report) -> None:
    for prompt in oral_prompts(shipped_report.store, shipped_report.comparison):
        for dispute in prompt.disputes:
            looked_up = any(line.startswith("Look up ") for line in dispute.settle)
            cited = [record for _, point in dispute.positions for record, _ in point.cited]
            stated = [{axis for axis, _ in record.when} for record in cited if record.obtained != "practice"]
            assert looked_up == (len({frozenset(axes) for axes in stated}) > 1), f"{prompt.parameter.id} {dispute.case}"


def test_the_pages_show_the_cautions_of_what_they_name(pages: dict[str, bytes]) -> None:
    for name in ("items.html", "oral-prompts.html", "items/key.html"):
        caution = parse(pages[name].decode()).classed("caution")
        assert len(caution) == 1 and "Monomer vapour." in caution[0].text


def test_a_contested_topic_is_a_discussion_and_a_ruled_one_has_its_reason(ruled_report: Report) -> None:
    prompts = oral_prompts(ruled_report.store, ruled_report.comparison)
    ruled = [answer for prompt in prompts for answer in prompt.answers if answer.basis == "ruling"]
    assert ruled and all(answer.because for answer in ruled)
    topics = {t.id: t for t in ruled_report.comparison.answered}
    contested = [t for t in topics.values() if t.standing == "contested" and not t.ruling]
    told = {prompt.parameter.id for prompt in prompts if prompt.disputes}
    assert told <= {topic.parameter.id for topic in contested}


@pytest.mark.parametrize(
    "parameter, when, reason",
    [
        ("spacer-thickness", {"impression-material": "zinc-oxide-eugenol-paste"}, "only one voice speaks of the topic"),
        ("mixing-time", {"impression-material": "zinc-oxide-eugenol-paste"}, "the topic is contested: "),
        ("no-such-question", {}, "the vocabulary no longer has the question or its case"),
        ("spacer-thickness", {"arch": "no-such-arch"}, "the vocabulary no longer has the question or its case"),
        ("sheet-sag", {"arch": "maxillary", "impression-material": "polyether"}, "no source speaks of the topic"),
        ("border-clearance", {}, "too few voices or wrong answers are left for it"),
        (
            "elastic-recovery",
            {"impression-material": "polyether", "consistency": "medium-consistency"},
            "its values are",
        ),
    ],
)
def test_a_withdrawn_item_has_its_reason(
    parameter: str, when: dict[str, str], reason: str, shipped_store: Store
) -> None:
    gone = Gone("some-item", "A question?", "an answer", parameter, when, "")
    found = withdrawals(Previous({gone.id: gone}, {}), [], Comparison(shipped_store))
    assert len(found) == 1 and found[0].reason.startswith(reason), found[0].reason
