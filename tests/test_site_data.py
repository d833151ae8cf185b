"""What the site's script is given: every topic, and positions in the very words that a form takes; the overview."""

import json
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from random_stores import VOCABULARY, stores

from trayconcord.generators.overview import chapter_standings, coverage
from trayconcord.generators.pages import anchor, site_pages
from trayconcord.kb.form_text import value_form
from trayconcord.kb.forms import read_form
from trayconcord.kb.model import comparable, topic_id
from trayconcord.kb.store import Store
from trayconcord.kb.values import Comparable, Membership
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.wording import position_text


def read_back(text: str, parameter: Parameter, vocabulary: Vocabulary, folder: Path) -> Comparable:
    """The value that the reader of forms takes from a ruling."""
    path = folder / "ruling.yaml"
    path.write_text(
        f"rulings:\n  - parameter: {parameter.id}\n    value: {text}\n"
        "    because: So\n    decided-on: 2026-01-01\n    decided-by: All\n",
        encoding="utf-8",
    )
    (ruling,) = read_form(path, vocabulary).rulings
    assert ruling.value is not None
    return comparable(ruling.value, parameter, vocabulary)


@settings(max_examples=60, suppress_health_check=list(HealthCheck))
@given(case=stores())
def test_a_position_as_a_form_writes_it_is_read_as_the_same_value(case: tuple[Store, str], tmp_path: Path) -> None:
    store, parameter = case
    for topic in Comparison(store).topics:
        for position in topic.positions:
            text = value_form(position.value, topic.parameter, VOCABULARY)
            if position.value == Membership(frozenset(), frozenset(), False):
                assert text == ""
                continue
            assert read_back(text, VOCABULARY.parameters[parameter], VOCABULARY, tmp_path) == position.value


def test_every_contested_position_of_the_store_can_be_adopted_as_it_stands(
    ruled_report: Report, tmp_path: Path
) -> None:
    vocabulary = ruled_report.store.vocabulary
    seen = set()
    for topic in ruled_report.comparison.topics:
        for position in topic.positions if topic.standing == "contested" else ():
            text = value_form(position.value, topic.parameter, vocabulary)
            if (topic.parameter.id, text) not in seen:
                seen.add((topic.parameter.id, text))
                assert read_back(text, topic.parameter, vocabulary, tmp_path) == position.value
    assert len(seen) > 100


def data_of(report: Report) -> dict:
    text = site_pages(report)["site-data.js"].decode("ascii")  # no sign that could upset how it is read
    before, after = "const TRAYCONCORD_DATA = ", ";\n"
    assert text.startswith(before) and text.endswith(after)
    document = json.loads(text[len(before) : -len(after)])
    document["topics"] = [unfolded(packed, document) for packed in document["topics"]]
    return document


def unfolded(packed: list, document: dict) -> dict:
    """A topic without its tables, as the script unfolds it; a test in a browser holds the script itself to the page."""
    parameter, pairs, standing, sources, positions, *ruling = packed
    names = {table: list(document[table]) for table in ("parameters", "axes", "concepts", "sources")}
    when = {names["axes"][a]: names["concepts"][c] for a, c in zip(pairs[::2], pairs[1::2], strict=True)}
    return {
        "id": topic_id(names["parameters"][parameter], tuple(when.items())),
        "when": when,
        "standing": document["standings"][standing],
        "sources": [names["sources"][place] for place in sources],
        "positions": [document["positions"][place] for place in positions],
        "ruling": ruling[0] if ruling else "",
    }


def test_the_data_holds_every_topic_with_its_place_in_the_order_of_the_page(ruled_report: Report) -> None:
    pages = site_pages(ruled_report)
    data = data_of(ruled_report)
    topics = {topic.id: topic for topic in ruled_report.comparison.answered}
    assert {entry["id"] for entry in data["topics"]} == set(topics)
    page = pages["find.html"].decode()
    links = [link.split('"')[0] for link in page.split('<li><a href="')[1:]]
    assert [link.partition("#")[2] for link in links] == [anchor(topics[entry["id"]]) for entry in data["topics"]]
    for entry in data["topics"]:
        topic = topics[entry["id"]]
        assert entry["standing"] == topic.standing
        assert entry["when"] == dict(topic.when)
        assert set(entry["sources"]) == {claim.source for claim in topic.claims} <= set(data["sources"])
        assert [position["text"] for position in entry["positions"]] == [
            position_text(position, topic.parameter, ruled_report.store.vocabulary, topic.when)
            for position in topic.positions
        ]
        assert bool(entry["ruling"]) == (topic.ruling is not None)
        assert all(("form" in position) == (topic.standing == "contested") for position in entry["positions"])


def test_the_chapters_hold_every_topic_once(ruled_report: Report) -> None:
    topics = list(ruled_report.comparison.answered)
    found = chapter_standings(topics, ruled_report.store)
    assert sum(entry.total for entry in found) == len([t for t in topics if t.standing != "silent"])
    assert sum(entry.ruled for entry in found) == len([t for t in topics if t.ruling]) > 0


def test_coverage_counts_questions_not_claims(ruled_report: Report) -> None:
    store = ruled_report.store
    found = coverage(store)
    assert {entry.source.id for entry in found} == {claim.source for claim in store.claims}
    assert [entry.questions for entry in found] == sorted((entry.questions for entry in found), reverse=True)
    for entry in found:
        own = [claim for claim in store.claims if claim.source == entry.source.id]
        assert entry.questions == sum(entry.by_chapter) == len({claim.parameter for claim in own})
        assert entry.claims == len(own)
    assert any(entry.claims > entry.questions for entry in found)
