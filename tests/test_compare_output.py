"""What `compare` prints: the JSON that programs read, the table for people, and help where a topic does not exist."""

import json
import re
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from invented import NOTES, store_of

from trayconcord.generators.cli import main
from trayconcord.generators.compare_output import chosen_topics, json_topics, text_parts
from trayconcord.generators.value_json import number_json
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.store import Store
from trayconcord.kb.values import Interval
from trayconcord.shapes.compare import Comparison, Topic

# The keys of the design's public contract.
TOPIC_KEYS = {"id", "parameter", "when", "standing", "firm", "voices", "positions", "ruling"}
POSITION_KEYS = {"value", "claims", "sources"}
VALUE_KEYS = {
    "interval": {"min", "max", "unit", "text"},
    "count": {"min", "max", "unit", "text"},
    "choice": {"concept", "text"},
    "yes-no": {"yes", "text"},
    "order": {"steps", "text"},
    "set": {"includes", "excludes", "exactly", "text"},
}
CONTESTED = "spacer-thickness?impression-material=zinc-oxide-eugenol-paste"


@pytest.fixture(scope="module")
def comparison(shipped_store: Store) -> Comparison:
    return Comparison(shipped_store)


@pytest.fixture(scope="module")
def demo(demo_store: Store) -> Comparison:
    return Comparison(demo_store)


def as_text(topics: list[Topic], store: Store, in_full: bool) -> str:
    return "\n".join(text_parts([(topics, store)], in_full))


def as_json(topics: list[Topic], store: Store) -> list[dict[str, Any]]:
    document = json.loads(json_topics(topics, store.vocabulary), parse_float=Fraction)
    assert set(document) == {"topics"}
    assert isinstance(document["topics"], list)
    return list(document["topics"])


def test_every_topic_has_the_keys_and_types_of_the_contract(
    comparison: Comparison, demo: Comparison, shipped_store: Store, demo_store: Store
) -> None:
    told = as_json(comparison.topics, shipped_store) + as_json(demo.topics, demo_store)
    kinds = {parameter.id: parameter.kind for parameter in shipped_store.vocabulary.parameters.values()}
    claims = {claim.id: claim for store in (shipped_store, demo_store) for claim in store.claims}
    for topic in told:
        steps = {"mergedOrder", "bothWays"} if kinds[topic["parameter"]] == "order" else set()
        assert set(topic) == TOPIC_KEYS | steps
        assert topic["standing"] in ("contested", "agreed", "single", "silent")
        assert isinstance(topic["firm"], bool)
        assert topic["voices"] and all(isinstance(voice, str) for voice in topic["voices"])
        for position in topic["positions"]:
            assert set(position) == POSITION_KEYS
            assert set(position["value"]) == VALUE_KEYS[kinds[topic["parameter"]]]
            assert position["value"]["text"]
            assert sorted({claims[claim].source for claim in position["claims"]}) == position["sources"]
            assert {claims[claim].parameter for claim in position["claims"]} == {topic["parameter"]}
        assert topic["ruling"] is None or set(topic["ruling"]) == {"id", "value"}
    assert {kinds[topic["parameter"]] for topic in told} == set(VALUE_KEYS)  # every kind was looked at
    assert any(topic["ruling"] for topic in told)
    assert any(topic.get("bothWays") for topic in told)


def test_an_id_is_the_parameter_and_its_conditions_in_the_order_of_axes(
    comparison: Comparison, shipped_store: Store
) -> None:
    axes = list(shipped_store.vocabulary.axes)
    told = as_json(comparison.topics, shipped_store)
    for topic in told:
        parameter, _, query = topic["id"].partition("?")
        assert parameter == topic["parameter"]
        pairs = [condition.split("=") for condition in query.split("&")] if query else []
        assert dict(pairs) == topic["when"]
        assert [axes.index(axis) for axis, _ in pairs] == sorted(axes.index(axis) for axis in topic["when"])
    assert len({topic["id"] for topic in told}) == len(told)


def test_the_number_of_positions_and_voices_is_that_of_the_standing(
    comparison: Comparison, shipped_store: Store
) -> None:
    for topic in as_json(comparison.topics, shipped_store):
        voices, positions = len(topic["voices"]), len(topic["positions"])
        if topic["standing"] == "single":
            assert voices == 1
        else:
            assert voices >= 2
            assert (positions > 1) == (topic["standing"] == "contested")
        assert topic["standing"] == "contested" or not topic["firm"]


def test_ends_are_numbers_in_the_unit_of_the_parameter_and_null_where_open(
    comparison: Comparison, shipped_store: Store
) -> None:
    open_ends = 0
    for topic, told in zip(comparison.topics, as_json(comparison.topics, shipped_store), strict=True):
        for position, shown in zip(topic.positions, told["positions"], strict=True):
            if isinstance(position.value, Interval):
                value = shown["value"]
                unit = shipped_store.vocabulary.units[topic.parameter.unit]
                assert value["unit"] == (unit.symbol or "1")
                for end, number in ((position.value.low, value["min"]), (position.value.high, value["max"])):
                    open_ends += end is None
                    assert (end is None) == (number is None)
                    # a number whose expansion does not end is rounded to six places
                    assert end is None or abs(Fraction(number) - end) <= Fraction(1, 2 * 10**6)
    assert open_ends > 0


@pytest.mark.parametrize(
    ("number", "printed"),
    [(Fraction(2), "2"), (Fraction(1, 2), "0.5"), (Fraction(1, 10), "0.1"), (Fraction(32, 25), "1.28"),
     (Fraction(-5, 4), "-1.25"), (Fraction(1, 3), "0.333333"), (Fraction(3211, 10000), "0.3211"), (None, "null")],
)  # fmt: skip
def test_a_number_is_printed_in_its_own_digits(number: Fraction | None, printed: str) -> None:
    assert json.dumps(number_json(number)) == printed


def test_a_ruling_is_shown_with_its_topic(demo: Comparison, demo_store: Store) -> None:
    (topic,) = as_json(chosen_topics(demo, CONTESTED), demo_store)
    assert topic["ruling"] == {"id": CONTESTED, "value": "none"}
    assert topic["standing"] == "contested"
    assert [p["value"]["text"] for p in topic["positions"]] == ["none", "1.5875 mm"]
    assert [(p["value"]["min"], p["value"]["max"]) for p in topic["positions"]] == [
        (0, 0),
        (Fraction("1.5875"), Fraction("1.5875")),  # 1/16 inch of 25.4 mm
    ]


def test_a_parameter_chooses_its_topics_and_a_topic_chooses_itself(comparison: Comparison) -> None:
    everything = chosen_topics(comparison, None)
    assert everything == comparison.topics
    of_parameter = chosen_topics(comparison, "spacer-thickness")
    assert {topic.parameter.id for topic in of_parameter} == {"spacer-thickness"}
    assert [topic.id for topic in of_parameter] == [t.id for t in everything if t.parameter.id == "spacer-thickness"]
    (one,) = chosen_topics(comparison, CONTESTED)
    assert one.id == CONTESTED


def test_the_conditions_of_a_topic_may_be_named_in_any_order(comparison: Comparison) -> None:
    (topic,) = chosen_topics(comparison, "spacer-thickness?impression-material=polyether&arch=maxillary")
    assert topic.id == "spacer-thickness?arch=maxillary&impression-material=polyether"


def test_a_case_of_which_no_source_speaks_is_silent(tmp_path: Path) -> None:
    store = store_of(tmp_path, NOTES)
    (topic,) = as_json(chosen_topics(Comparison(store), "spacer-thickness?impression-material=polysulfide"), store)
    assert topic["standing"] == "silent"
    assert topic["positions"] == topic["voices"] == []
    text = as_text(chosen_topics(Comparison(store), "handle-length"), store, in_full=True)
    assert text == "no source in the store speaks of this"


@pytest.mark.parametrize(
    ("wanted", "message", "fix"),
    [
        ("spacer-thicknes", "no parameter spacer-thicknes", "did you mean spacer-thickness?"),
        ("zzzz", "no parameter zzzz", "see trayconcord terms"),
        ("", "no parameter", "see trayconcord terms"),
        ("spacer-thickness?archh=maxillary", "no condition axis archh", "use one of: arch, "),
        ("spacer-thickness?arch=upper", "arch has no concept upper", "did you mean maxillary?"),
        ("spacer-thickness?impression-material=ZOE paste", "has no concept ZOE paste", "zinc-oxide-eugenol-paste?"),
        ("spacer-thickness?arch", "arch has no concept", "see trayconcord terms"),
        ("spacer-thickness?arch=rugae", "arch has no concept rugae", ""),
        ("spacer-thickness?&", "no condition axis", "use one of: "),
    ],
)
def test_a_topic_that_cannot_be_is_told_with_a_way_out(
    comparison: Comparison, wanted: str, message: str, fix: str
) -> None:
    with pytest.raises(UnusableInput) as refusal:
        chosen_topics(comparison, wanted)
    (complaint,) = refusal.value.complaints
    assert message in complaint.message
    assert complaint.fix and fix in complaint.fix


def test_the_text_lays_every_claim_of_a_topic_side_by_side(comparison: Comparison, shipped_store: Store) -> None:
    (topic,) = chosen_topics(comparison, "tray-fit?impression-material=zinc-oxide-eugenol-paste")
    lines = as_text([topic], shipped_store, in_full=True).splitlines()
    assert lines[0] == "fit of the tray  [tray-fit]"
    assert f"  zinc oxide-eugenol paste: contested, {len(topic.voices)} voices" in lines
    claims = [line for line in lines if re.match(r" {6}\S", line)]
    assert len(claims) == sum(len(position.claims) for position in topic.positions)
    assert all(re.search(r"\((read|recalled|practice|reported in .+)\)", line) for line in claims)


def test_without_a_topic_each_has_one_line(comparison: Comparison, shipped_store: Store) -> None:
    lines = as_text(comparison.topics, shipped_store, in_full=False).splitlines()
    told = [line for line in lines if re.match(r"  (contested\??|agreed|single|silent) ", line)]
    assert len(told) == len(comparison.topics)
    assert sum(line.startswith("  contested ") for line in told) == sum(topic.firm for topic in comparison.topics)


def test_the_command_prints_both_formats(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", CONTESTED]) == 0
    assert capsys.readouterr().out.startswith("spacer thickness  [spacer-thickness]\n")
    assert main(["compare", CONTESTED, "--format", "json"]) == 0
    (topic,) = json.loads(capsys.readouterr().out)["topics"]
    assert topic["id"] == CONTESTED
    assert main(["compare", "spacer-thicknes"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err == "spacer-thicknes: no parameter spacer-thicknes\n    fix: did you mean spacer-thickness?\n"
