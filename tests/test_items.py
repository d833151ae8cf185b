"""Question items: each proved again from the claims, on the shipped store and on random ones; withdrawal; choice."""

import json
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from agreeing_stores import agreeing_stores
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invented import enter_forms
from plain_items import PlainItems

from trayconcord.generators.build import build
from trayconcord.generators.item_bank import item_bank, may_ask, possible_items, selection
from trayconcord.generators.item_making import KIND_LABELS, STEMS
from trayconcord.generators.items import LEVELS, Item
from trayconcord.kb.store import Store, load
from trayconcord.shapes.check import Report, check
from trayconcord.shapes.compare import Comparison


@pytest.fixture(scope="module")
def bank(shipped_store: Store) -> list[Item]:
    return item_bank(shipped_store, Comparison(shipped_store))


@pytest.mark.slow
def test_every_item_of_the_shipped_store_is_proved_from_the_claims(shipped_store: Store, bank: list[Item]) -> None:
    """Also those that the bank leaves out because they ask again."""
    proof = PlainItems(shipped_store)
    possible = possible_items(shipped_store, Comparison(shipped_store))
    for item in possible:
        proof.prove(item)
    assert set(bank) <= set(possible)
    assert {item.kind for item in bank} <= set(KIND_LABELS)


def test_the_shipped_store_gives_at_least_150_items(bank: list[Item], shipped_store: Store) -> None:
    assert len(bank) >= 150
    assert len({item.id for item in bank}) == len(bank)
    assert {item.parameter.chapter for item in bank} <= set(shipped_store.vocabulary.chapters)
    assert {item.level for item in bank} == set(LEVELS)


def test_items_under_rulings_are_proved_too(ruled_report: Report) -> None:
    items = item_bank(ruled_report.store, ruled_report.comparison)
    proof = PlainItems(ruled_report.store)
    for item in items:
        proof.prove(item)
    assert "ruling" in {item.basis for item in items}


@settings(max_examples=50, suppress_health_check=list(HealthCheck))
@given(agreeing_stores(), st.integers(0, 3))
def test_the_items_of_random_stores_are_proved(store: Store, seed: int) -> None:
    proof = PlainItems(store)
    for item in possible_items(store, Comparison(store), seed):
        proof.prove(item)


@pytest.mark.slow
@settings(max_examples=3000, suppress_health_check=list(HealthCheck))
@given(agreeing_stores(), st.integers(0, 3))
def test_the_items_of_thousands_of_random_stores_are_proved(store: Store, seed: int) -> None:
    proof = PlainItems(store)
    for item in possible_items(store, Comparison(store), seed):
        proof.prove(item)


@pytest.mark.slow
def test_random_stores_give_items_of_every_kind() -> None:
    """The property above says nothing of a kind that never comes up."""
    found: Counter[str] = Counter()

    @settings(max_examples=250, database=None, derandomize=True, suppress_health_check=list(HealthCheck))
    @given(agreeing_stores())
    def gather(store: Store) -> None:
        found.update(item.kind for item in possible_items(store, Comparison(store)))

    gather()
    # The vocabulary knows no errors for the one question of yes or no; few stores leave a member out with two voices.
    assert set(STEMS) - set(found) <= {"statement", "left-out", "unnamed"}


def test_no_item_asks_a_contested_topic(shipped_store: Store, bank: list[Item]) -> None:
    topics = {topic.id: topic for topic in Comparison(shipped_store).answered}
    for item in bank:
        assert may_ask(topics[item.topic]) and len(topics[item.topic].voices) > 1


def test_a_seed_gives_one_order_and_another_seed_another(shipped_store: Store, bank: list[Item]) -> None:
    comparison = Comparison(shipped_store)
    assert item_bank(shipped_store, comparison, 1) == bank
    other = item_bank(shipped_store, comparison, 2)
    assert {item.id for item in other} != set() and other != bank


@pytest.mark.slow
def test_the_key_stands_at_every_place_about_equally_often(shipped_store: Store) -> None:
    """Over several seeds, no place of four options holds the key in less than a seventh or more than two fifths."""
    comparison = Comparison(shipped_store)
    places: Counter[int] = Counter()
    for seed in range(5):
        places.update(i.key for i in item_bank(shipped_store, comparison, seed) if len(i.options) == 4)
    total = sum(places.values())
    assert set(places) == {0, 1, 2, 3}
    for place in places:
        assert total / 7 < places[place] < total * 0.35


def test_the_key_is_not_the_longest_option_more_often_than_chance_allows(bank: list[Item]) -> None:
    longest = [
        item for item in bank if all(len(o.text) < len(item.answer.text) for o in item.options if o is not item.answer)
    ]
    assert len(longest) < 0.4 * len(bank)


def test_a_paper_asks_no_question_twice_as_long_as_the_bank_has_others(bank: list[Item]) -> None:
    chosen = selection(bank, 40, 1)
    assert len(chosen) == 40 and chosen == [item for item in bank if item in chosen]
    assert len({item.topic for item in chosen}) == 40
    assert len({item.parameter.id for item in chosen}) == 40
    assert {item.parameter.chapter for item in chosen} == {item.parameter.chapter for item in bank}
    assert len(selection(bank, 10_000, 1)) <= len({item.topic for item in bank})


def test_no_letter_and_no_question_has_too_large_a_share_of_the_bank(bank: list[Item]) -> None:
    letters = Counter(item.letter for item in bank)
    assert set(letters) == set("ABCD") and max(letters.values()) <= 0.35 * len(bank)
    assert max(Counter(item.parameter.id for item in bank).values()) <= 0.1 * len(bank)


def test_a_bank_asks_for_a_fact_once_and_seldom_for_what_is_wrong(bank: list[Item]) -> None:
    facts = Counter(
        (item.parameter.id, item.when, item.asked or item.answer.value)
        for item in bank
        if item.kind in ("value", "within", "choice", "belongs", "statement", "case")
    )
    assert max(facts.values()) == 1
    assert sum(item.kind in ("outside", "unnamed", "left-out") for item in bank) <= 0.25 * len(bank)


def test_no_shipped_item_offers_a_landmark_of_the_other_jaw(bank: list[Item], shipped_store: Store) -> None:
    vocabulary = shipped_store.vocabulary
    asked = 0
    for item in bank:
        arch = dict(item.when).get("arch")
        for option in item.options if arch and item.parameter.scheme == "region" else ():
            concept = option.value.concept  # type: ignore[union-attr]
            needs = {need for above in vocabulary.above[concept] for need in vocabulary.concepts[above].only_with}
            assert not needs or arch in needs, f"{item.id}: {option.text}"
            asked += 1
    assert asked > 20


def test_every_error_of_the_vocabulary_can_serve(shipped_store: Store) -> None:
    """It says why it is wrong, belongs to questions that take terms or a yes, and nobody takes it for right."""
    vocabulary = shipped_store.vocabulary
    taken: dict[str, set[str]] = {}
    for claim in shipped_store.claims:
        taken.setdefault(claim.parameter, set()).update(getattr(claim.value, "includes", ()))
    for error in vocabulary.wrong_answers.values():
        assert error.label and error.definition.endswith(".") and error.parameters, error.id
        assert error.id not in vocabulary.concepts and set(error.contrary_to) <= set(vocabulary.concepts)
        for name in error.parameters:
            parameter = vocabulary.parameters[name]
            assert parameter.scheme or parameter.affirms, f"{error.id}: {name}"
            labels = {c.label for c in vocabulary.in_scheme(parameter.scheme or "") if c.id != error.concept}
            assert error.label not in labels, f"{error.id} goes by the name of a right answer"
            assert error.concept not in taken.get(name, ()), f"{error.id} is taken for right"
    orders = [error.order for error in vocabulary.wrong_answers.values()]
    assert orders == sorted(set(orders))


@pytest.mark.parametrize("parameter", ["flexural-strength", "elastic-recovery", "strain-in-compression"])
def test_what_studies_measured_is_not_asked_for(bank: list[Item], shipped_store: Store, parameter: str) -> None:
    assert shipped_store.vocabulary.parameters[parameter].as_measured
    assert parameter not in {item.parameter.id for item in bank}


def test_every_shipped_item_asks_in_words_of_its_own_parameter(bank: list[Item]) -> None:
    """Stems put together from a general question and an addition are for parameters without any."""
    assert [item.id for item in bank if "Choose the" in item.stem] == []


AGREED = """
source: {{id: {id}, title: Notes {id}, authors: ["Nobody, {id}"], year: 2020, kind: lecture-notes}}
claims:
  - {{parameter: spacer-thickness, when: {{impression-material: polyether}}, value: {value}, at: p. 1, obtained: read}}
  - {{parameter: spacer-thickness, when: {{impression-material: polysulfide}}, value: 1 mm, at: p. 2, obtained: read}}
  - {{parameter: spacer-thickness, when: {{impression-material: silicone}}, value: 5 mm, at: p. 2, obtained: read}}
"""


def test_an_item_whose_topic_becomes_contested_is_withdrawn_by_the_next_build_and_stays_listed(tmp_path: Path) -> None:
    out = tmp_path / "site"
    forms = [AGREED.format(id=name, value="3 mm") for name in ("one", "two")]
    department = enter_forms(tmp_path, *forms)
    build(check(load([department], only=True)), out)
    before = json.loads((out / "items/items.json").read_text(encoding="utf-8"))
    asked = {item["id"] for item in before["items"]}
    assert "spacer-thickness--impression-material-polyether--value" in asked and before["withdrawn"] == []
    enter_forms(tmp_path, *forms, AGREED.format(id="three", value="2 mm"))
    for _ in range(2):  # the list is kept by later builds
        build(check(load([department], only=True)), out)
        after = json.loads((out / "items/items.json").read_text(encoding="utf-8"))
        gone = {entry["id"]: entry for entry in after["withdrawn"]}
        polyether = gone["spacer-thickness--impression-material-polyether--value"]
        assert polyether["reason"] == "the topic is contested: 2 mm | 3 mm" and polyether["answer"] == "3 mm"
        assert not {item["id"] for item in after["items"]} & set(gone)
        assert "the topic is contested: 2 mm | 3 mm" in (out / "items.html").read_text(encoding="utf-8")
    enter_forms(tmp_path, *forms, AGREED.format(id="three", value="3 mm"))
    build(check(load([department], only=True)), out)
    assert json.loads((out / "items/items.json").read_text(encoding="utf-8"))["withdrawn"] == []


def test_an_item_whose_key_moves_is_listed_as_revised(tmp_path: Path) -> None:
    out = tmp_path / "site"
    for value, revised in (("3 mm", []), ("2 mm", ["3 mm"])):
        forms = [AGREED.format(id=name, value=value) for name in ("one", "two")]
        build(check(load([enter_forms(tmp_path, *forms)], only=True)), out)
        known = json.loads((out / "items/items.json").read_text(encoding="utf-8"))
        assert [e["before"] for e in known["revised"] if e["id"].endswith("polyether--value")] == revised


def test_the_proof_itself_notices_a_wrong_item(shipped_store: Store, bank: list[Item]) -> None:
    """An item with another key, and one whose distractor a source supports, must fail."""
    proof = PlainItems(shipped_store)
    for item in bank:
        with pytest.raises(AssertionError):
            proof.prove(replace(item, key=(item.key + 1) % len(item.options)))
