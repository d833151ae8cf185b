"""The findings of the shipped shapes, by pySHACL and by a second engine that shares no line of code with it."""

from datetime import date
from pathlib import Path

import pytest
from engines import ENGINES, Result
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_stores import VALUES, stores
from rdflib import Graph, Literal, URIRef
from rdflib.namespace import RDF, RDFS
from rule_examples import example, store_of

from trayconcord.kb import namespaces as ns
from trayconcord.kb.model import Case, Ruling, Source, topic_id
from trayconcord.kb.records import case_triples, claim_triples, ruling_triples, source_triples
from trayconcord.kb.store import Store, load, of_triples
from trayconcord.kb.triples import Triples
from trayconcord.kb.turtle import new_graph
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.facts import Facts
from trayconcord.shapes.rules import rule_book

pytest.importorskip("pyrudof", reason="the second engine is brought by continuous integration")
pytestmark = pytest.mark.slow

SHAPES = rule_book().graph
TODAY = date(2026, 11, 25)
VOCABULARY = load(only=True).graph
CLASSES = [triple for triple in VOCABULARY if triple[1] == RDFS.subClassOf]


def judged(store: Store, records: Graph) -> dict[str, frozenset[Result]]:
    """What each engine finds in the records and in what the comparison has made of them."""
    results = {}
    for name, engine in ENGINES.items():
        data = Graph(bind_namespaces="none")
        data += records
        for triple in CLASSES:
            data.add(triple)
        for triple in Facts(store, Comparison(store), TODAY).triples.triples():
            data.add(triple)
        results[name] = engine(SHAPES, data)
    return results


def agreed(results: dict[str, frozenset[Result]]) -> frozenset[Result]:
    first, *others = results.values()
    for other in others:
        assert first == other, f"only one engine finds: {sorted(first ^ other)[:10]}"
    return first


def rule_of(result: Result) -> str:
    """The rule that a shape belongs to: the parts of a rule have a fragment of their own."""
    return result.shape.partition("#")[0]


def test_the_engines_agree_on_the_shipped_store(shipped_store: Store) -> None:
    found = agreed(judged(shipped_store, shipped_store.graph))
    assert len(found) > 300
    assert {result.severity for result in found} == {"warning", "info"}


def test_the_engines_agree_on_the_demo(demo_store: Store) -> None:
    assert len(agreed(judged(demo_store, demo_store.graph))) > 5


@pytest.mark.parametrize("name", rule_book().rules)
def test_the_engines_agree_on_the_examples_of_a_rule(name: str, tmp_path: Path) -> None:
    for heading in ("Bad example", "Good example"):
        (tmp_path / heading).mkdir()
        store = store_of(example(name, heading), tmp_path / heading)
        found = agreed(judged(store, store.graph))
        assert (str(ns.iri(ns.RULE, name)) in {rule_of(result) for result in found}) == (heading == "Bad example")


FLAWS = [
    (ns.TC.obtained, None), (ns.BIBO.locator, None), (ns.TC.min, None), (ns.TC.max, Literal("x")),
    (ns.TC.yes, Literal("x")),
    (ns.QUDT.hasUnit, ns.UNIT.SEC), (ns.TC.parameter, ns.iri(ns.PARAMETER, "no-such")), (ns.DCTERMS.source, None),
    (ns.TC.steps, Literal(1)), (ns.RDF.type, ns.TC.Claims), (ns.TC.obtained, ns.iri(ns.OBTAINED, "guessed")),
    (ns.iri(ns.AXIS, "arch"), ns.iri(ns.CONCEPT, "polyether")), (ns.DCTERMS.source, ns.iri(ns.SOURCE, "unknown")),
    (ns.DCTERMS.type, ns.iri(ns.KIND, "rumour")), (ns.BIBO.isbn, Literal("978-0-306-40615-1")),
    (ns.TC.withdrawn, Literal("since 2001")), (ns.PROV.wasDerivedFrom, ns.iri(ns.SOURCE, "work-a")),
]  # fmt: skip
"""What may be wrong with a record: a property that is missing (None), or one that is added."""


@st.composite
def records(draw: st.DrawFn) -> Graph:
    """The triples of a random store, with rulings and cases, and with a few flaws."""
    store, parameter = draw(stores())
    graph = new_graph()
    for source in store.sources.values():
        source_triples(graph, source)
    for claim in store.claims:
        claim_triples(graph, claim)
        obtained = draw(st.sampled_from(["read", "read", "reported", "recalled", "practice"]))
        graph.add((ns.iri(ns.CLAIM, claim.id), ns.TC.obtained, ns.iri(ns.OBTAINED, obtained)))
        if draw(st.booleans()):
            graph.add((ns.iri(ns.CLAIM, claim.id), ns.BIBO.locator, Literal("p. 1")))
    scopes = sorted({claim.when for claim in store.claims}) or [()]
    for when in draw(st.lists(st.sampled_from(scopes), max_size=2, unique=True)):
        ruling = Ruling(
            topic_id(parameter, when), parameter, when, draw(VALUES[parameter]), because="so", decided_by="b"
        )
        review = draw(st.sampled_from(["", "2020-01-01", "2030-01-01"]))
        exception = draw(st.sampled_from(["", "we know better"]))
        dated = Ruling(**{**{f: getattr(ruling, f) for f in ruling.__slots__}, "review_by": review,
                          "without_source": exception, "positions_then": ("1 mm",)})  # fmt: skip
        ruling_triples(graph, dated)
    if draw(st.booleans()):
        case_triples(graph, Case("a-case", "", draw(st.sampled_from(scopes)), (parameter,)))
    source_triples(graph, Source("spare", kind="textbook"))
    subjects = sorted({s for s in graph.subjects() if isinstance(s, URIRef) and (s, RDF.type, None) in graph})
    for _ in range(draw(st.integers(0, 3))):
        subject, (predicate, value) = draw(st.sampled_from(subjects)), draw(st.sampled_from(FLAWS))
        if value is None:
            graph.remove((subject, predicate, None))
        else:
            graph.add((subject, predicate, value))
    return graph


FOUND: set[str] = set()


@settings(max_examples=200, suppress_health_check=list(HealthCheck))
@given(records())
def test_the_engines_agree_on_random_stores(graph: Graph) -> None:
    whole = new_graph()
    for triple in (*VOCABULARY, *graph):
        whole.add(triple)
    FOUND.update(rule_of(result) for result in agreed(judged(of_triples(Triples(whole), {}), graph)))


def test_the_random_stores_broke_most_rules() -> None:
    """Or their agreement would mean little."""
    assert len(FOUND) > len(rule_book().rules) / 2
