"""The comparison of quantities held against one SPARQL query that says the same (tests/support/comparison.rq).

The query knows no editions, compilations or reports: every source is a voice of its own.
"""

from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_stores import VALUES, scopes
from rdflib.namespace import OWL, RDF, SKOS

from trayconcord.kb.model import Claim, Scope, Source
from trayconcord.kb.namespaces import CLAIM, QUDT, TC, iri
from trayconcord.kb.records import claim_triples
from trayconcord.kb.store import Store, load
from trayconcord.kb.triples import Triples
from trayconcord.kb.turtle import new_graph
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.scopes import meet

pyoxigraph = pytest.importorskip("pyoxigraph", reason="the query engine is brought by continuous integration")

QUERY = (Path(__file__).parent / "support" / "comparison.rq").read_text(encoding="utf-8")
VOCABULARY = load(only=True)
NEEDED = (SKOS.broader, TC.valueKind, QUDT.hasUnit, QUDT.conversionMultiplier, TC.tolerance, TC.noneMeans)
TERMS = [t for t in VOCABULARY.graph if t[1] in NEEDED or (t[1] == RDF.type and t[2] == TC.Axis)]

Row = tuple[str, Scope, str, str]
"""Parameter, cell, and two claims that are heard there and exclude each other."""


def plain(claims: list[Claim]) -> Store:
    """A store in which every source is a voice of its own."""
    bare = [claim._replace(reported_by="") for claim in claims]
    sources = {claim.source: Source(claim.source) for claim in claims}
    return Store(Triples(), VOCABULARY.vocabulary, sources, sorted(bare, key=lambda claim: claim.id), [], [], {})


def by_query(store: Store) -> set[Row]:
    graph = new_graph()
    for triple in TERMS:
        graph.add(triple)
    for claim in store.claims:
        claim_triples(graph, claim)
    oxigraph = pyoxigraph.Store()
    oxigraph.load(graph.serialize(format="nt").encode(), pyoxigraph.RdfFormat.N_TRIPLES)
    claims = {str(iri(CLAIM, claim.id)): claim for claim in store.claims}
    rows = set()
    for solution in oxigraph.query(QUERY):
        x, y, one, other = (claims[solution[name].value] for name in ("x", "y", "one", "other"))
        cell = meet(x.when, y.when, store.vocabulary)
        assert cell is not None
        rows.add((one.parameter, cell, one.id, other.id))
    return rows


def by_comparison(store: Store) -> tuple[set[Row], set[tuple[str, Scope]]]:
    """The same rows, and the cells of all topics."""
    comparison, rows, stated = Comparison(store), set(), {(claim.parameter, claim.when) for claim in store.claims}
    for topic in comparison.topics:
        for one, other in combinations(topic.claims, 2):
            here = (topic.parameter.id, topic.when)
            together = any(one in position.claims and other in position.claims for position in topic.positions)
            meeting = one.source != other.source and meet(one.when, other.when, store.vocabulary) == topic.when
            if not together and (here in stated or meeting):
                rows.add((*here, one.id, other.id))
    return rows, {(topic.parameter.id, topic.when) for topic in comparison.topics}


def agree(store: Store) -> set[Row]:
    rows, cells = by_comparison(store)
    found = by_query(store)
    assert found == rows
    assert cells == {(claim.parameter, claim.when) for claim in store.claims} | {
        (name, cell) for name, cell, *_ in found
    }
    return found


QUANTITIES = ("spacer-thickness", "stop-count", "exposure-limit")


@st.composite
def quantity_stores(draw: st.DrawFn) -> Store:
    parameter = draw(st.sampled_from(QUANTITIES))
    sources = st.sampled_from([f"work-{letter}" for letter in "abcd"])
    claims = [
        Claim(f"{source}/{number}", source, parameter, draw(scopes), draw(VALUES[parameter]))
        for number in range(draw(st.integers(2, 7)))
        for source in [draw(sources)]
    ]
    return plain(claims)


@settings(max_examples=30, suppress_health_check=list(HealthCheck))
@given(quantity_stores())
def test_the_query_and_the_comparison_agree_on_random_stores(store: Store) -> None:
    agree(store)


@pytest.mark.slow
@settings(max_examples=300, suppress_health_check=list(HealthCheck))
@given(quantity_stores())
def test_the_query_and_the_comparison_agree_on_many_random_stores(store: Store) -> None:
    agree(store)


def readable(claim: Claim, store: Store) -> bool:
    """A quantity that a decimal holds: SPARQL has no thirds."""
    ends = list(store.graph.objects(iri(CLAIM, claim.id), TC.min)) + list(
        store.graph.objects(iri(CLAIM, claim.id), TC.max)
    )
    kind = store.vocabulary.parameters[claim.parameter].kind if claim.value is not None else ""
    return kind in ("interval", "count") and not any(end.datatype == OWL.rational for end in ends)


@pytest.mark.slow
def test_the_query_and_the_comparison_agree_on_the_quantities_of_the_shipped_store(shipped_store: Store) -> None:
    by_parameter: dict[str, list[Claim]] = {}
    for claim in shipped_store.claims:
        if readable(claim, shipped_store):
            by_parameter.setdefault(claim.parameter, []).append(claim)
    assert sum(map(len, by_parameter.values())) > 200
    rows = [row for claims in by_parameter.values() for row in agree(plain(claims))]  # a query of all takes hours
    assert len(rows) > 50
