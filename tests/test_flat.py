"""Flat shapes, held against pySHACL finding by finding: on the shipped store, the demo and random ones."""

import random
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invented import write_shapes
from judged_alike import held_alike, judged_alike
from random_stores import stores
from rdflib import Literal, URIRef
from rdflib.namespace import RDF, RDFS, XSD

from trayconcord.kb.namespaces import TC
from trayconcord.kb.records import claim_triples, source_triples
from trayconcord.kb.store import Store, of_triples
from trayconcord.kb.triples import Triples
from trayconcord.shapes.flat import flat_shape
from trayconcord.shapes.rules import RuleBook, rule_book

RULES = rule_book()
EX = "http://example.org/"


def test_every_shipped_rule_is_flat() -> None:
    assert [name for name, rule in RULES.rules.items() if flat_shape(RULES.graph, rule) is None] == []


def test_the_shipped_store_is_judged_alike(shipped_store: Store) -> None:
    assert {"contested-topic", "single-voice", "unstated-condition"} <= judged_alike(shipped_store)


def test_rulings_and_cases_are_judged_alike(demo_store: Store) -> None:
    assert {"review-due", "uncovered-case"} & judged_alike(demo_store, today=date(2030, 1, 1))


@pytest.fixture(scope="session")
def described(shipped_store: Store) -> Triples:
    """The vocabulary as triples."""
    records = {subject for cls in (TC.Claim, TC.Source) for subject in shipped_store.triples.of_type(cls)}
    return Triples(triple for triple in shipped_store.triples.triples() if triple[0] not in records)


WAYS = ["read", "reported", "recalled", "practice", "dreamt"]


def hold_a_random_store(store: Store, dice: random.Random, described: Triples) -> None:
    """A random store written as triples, some of which are lost, and read and judged again."""
    told = Triples()
    for source in store.sources.values():
        source_triples(told, source)
    for claim in store.claims:
        claim_triples(
            told, claim._replace(obtained=dice.choice(["read", "reported", "recalled", "practice", "dreamt"]))
        )
    kept = Triples(triple for triple in told.triples() if dice.random() < 0.95)
    kept.update(described)
    judged_alike(of_triples(kept, {}))


dice = st.randoms(use_true_random=False)


@settings(max_examples=5)
@given(stores(), dice)
def test_some_random_stores_are_judged_alike(described: Triples, drawn: tuple[Store, str], dice: random.Random) -> None:
    hold_a_random_store(drawn[0], dice, described)


@pytest.mark.slow
@settings(max_examples=200)
@given(stores(), dice)
def test_200_random_stores_are_judged_alike(described: Triples, drawn: tuple[Store, str], dice: random.Random) -> None:
    hold_a_random_store(drawn[0], dice, described)


nodes = st.sampled_from(["a", "b", "c", "d"]).map(lambda name: URIRef(EX + name))
classes = st.sampled_from(["A", "B", "C"]).map(lambda name: URIRef(EX + name))
predicates = st.sampled_from(["p", "q"]).map(lambda name: URIRef(EX + name))
values = nodes | st.sampled_from(
    [Literal("1", datatype=XSD.integer), Literal("01"), Literal("1"), Literal("1", lang="en")]
)
graphs = st.lists(
    st.one_of(
        st.tuples(nodes, predicates, values),
        st.tuples(nodes, st.just(RDF.type), classes),
        st.tuples(classes, st.just(RDFS.subClassOf), classes),
    ),
    max_size=14,
)


Drawn = list[tuple[URIRef, URIRef, URIRef | Literal]]


@st.composite
def shapes(draw: st.DrawFn) -> str:
    """A flat shape in Turtle: one property shape, or a node shape with several."""

    def constraints() -> str:
        parts = [f"sh:path <{draw(predicates)}>"]
        parts += [f"sh:minCount {draw(st.integers(0, 2))}"] if draw(st.booleans()) else []
        parts += [f"sh:maxCount {draw(st.integers(0, 2))}"] if draw(st.booleans()) else []
        parts += [f"sh:class <{draw(classes)}>"] if draw(st.booleans()) else []
        return " ; ".join(parts)

    targets = [f"sh:targetClass <{cls}>" for cls in draw(st.lists(classes, max_size=2, unique=True))]
    targets += [
        f"sh:targetSubjectsOf <{predicate}>" for predicate in draw(st.lists(predicates, max_size=2, unique=True))
    ]
    targets = targets or [f"sh:targetClass <{EX}A>"]
    head = f'ours:drawn {" ; ".join(targets)} ; sh:message "drawn" ; sh:severity sh:{draw(SEVERITY)}'
    if draw(st.booleans()):
        return f"{head} ; a sh:PropertyShape ; {constraints()} ."
    inner = []
    for number in range(draw(st.integers(1, 3))):
        stated = f"sh:severity sh:{draw(SEVERITY)} ; " if draw(st.booleans()) else ""
        inner.append(f"ours:part-{number} a sh:PropertyShape ; {stated}{constraints()} .")
    names = ", ".join(f"ours:part-{number}" for number in range(len(inner)))
    return f"{head} ; a sh:NodeShape ; sh:property {names} .\n" + "\n".join(inner)


SEVERITY = st.sampled_from(["Violation", "Warning", "Info"])


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(shapes(), graphs, graphs)
def test_any_flat_shape_on_any_triples_is_judged_alike(tmp_path: Path, body: str, store: Drawn, facts: Drawn) -> None:
    book = rule_book([write_shapes(tmp_path, body)])
    drawn = book.rules["drawn"]
    assert flat_shape(book.graph, drawn) is not None
    held_alike([Triples(store), Triples(facts)], RuleBook(book.graph, {"drawn": drawn}))


HEAD = 'ours:x sh:targetClass tc:Claim ; sh:message "x" '
LEFT_TO_THE_ENGINE = {
    "another constraint": HEAD + "; a sh:PropertyShape ; sh:path tc:min ; sh:minCount 1 ; sh:nodeKind sh:Literal .",
    "a path of several steps": HEAD + "; a sh:PropertyShape ; sh:path ( tc:parameter tc:chapter ) ; sh:minCount 1 .",
    "an inverse path": HEAD + "; a sh:PropertyShape ; sh:path [ sh:inversePath tc:repeats ] ; sh:maxCount 0 .",
    "no path": HEAD + "; a sh:PropertyShape ; sh:minCount 1 .",
    "two paths": HEAD + "; a sh:PropertyShape ; sh:path tc:min, tc:max ; sh:minCount 1 .",
    "a count that is none": HEAD + '; a sh:PropertyShape ; sh:path tc:min ; sh:minCount "few" .',
    "a count below zero": HEAD + "; a sh:PropertyShape ; sh:path tc:min ; sh:minCount -1 .",
    "no type": HEAD + "; sh:path tc:min ; sh:minCount 1 .",
    "a node as its target": HEAD + "; a sh:PropertyShape ; sh:targetNode tc:Claim ; sh:path tc:min ; sh:minCount 1 .",
    "a constraint on the node": HEAD + "; a sh:NodeShape ; sh:class tc:Claim .",
    "a query": HEAD + '; a sh:NodeShape ; sh:sparql ours:q . ours:q a sh:SPARQLConstraint .',
    "no message": "ours:x sh:targetClass tc:Claim ; a sh:PropertyShape ; sh:path tc:min ; sh:minCount 1 .",
    "a part that another shares": HEAD + "; a sh:NodeShape ; sh:property ours:p .\nours:y sh:property ours:p .\n"
    "ours:p a sh:PropertyShape ; sh:path tc:min ; sh:minCount 1 .",
    "a part with a target of its own": HEAD + "; a sh:NodeShape ; sh:property ours:p .\n"
    "ours:p a sh:PropertyShape ; sh:targetClass tc:Ruling ; sh:path tc:min ; sh:minCount 1 .",
    "a kind of constraint that is defined beside it": HEAD + "; a sh:PropertyShape ; sh:path tc:min ; sh:minCount 1 .\n"
    "ours:kind a sh:ConstraintComponent .",
}  # fmt: skip


@pytest.mark.parametrize("body", LEFT_TO_THE_ENGINE.values(), ids=LEFT_TO_THE_ENGINE)
def test_the_engine_is_left_a_shape_with(body: str, tmp_path: Path) -> None:
    book = rule_book([write_shapes(tmp_path, body)])
    assert flat_shape(book.graph, book.rules["x"]) is None
