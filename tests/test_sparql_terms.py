"""Terms in queries and answers, how they are spelt, and the names of graphs."""

import pytest
from hypothesis import HealthCheck, given, settings
from literals import LITERALS
from pyoxigraph import Store
from rdflib import Graph, Literal, URIRef
from rdflib.namespace import RDF
from sparql_servers import results

from trayconcord.kb import namespaces as ns
from trayconcord.kb.catalogue import CATALOGUE, RETIRED, document_of, graph_of, respelt, with_bookkeeping
from trayconcord.kb.namespaces import TC
from trayconcord.kb.sparql_terms import Nonsense, iri_text, rows_of, settled, triple_text
from trayconcord.kb.turtle import new_graph, read_turtle, write_turtle

CLAIM = ns.iri(ns.CLAIM, "harrow-vale/spacer-thickness")


@pytest.mark.parametrize(
    "text", ["", "x", "urn:a b", "urn:a>b", "urn:a\\u003E", "urn:{", "urn:\x00", "urn:\n", " urn:a"]
)
def test_what_is_no_iri_never_gets_into_a_query(text):
    with pytest.raises(Nonsense):
        iri_text(URIRef(text))


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(LITERALS)
def test_a_literal_survives_an_update_and_its_results(literal):
    store = Store()
    store.update(f"INSERT DATA {{ {triple_text((URIRef('urn:s'), URIRef('urn:p'), literal))} }}")
    found = [row["o"] for row in rows_of(results(store, "SELECT ?o { ?s ?p ?o }"))]
    assert [term.n3().casefold() for term in found] == [settled(literal).n3().casefold()]


@given(LITERALS)
def test_a_spelling_is_restored(literal):
    subject, predicate = URIRef("urn:s"), URIRef("urn:p")
    graph = new_graph()
    graph.add((subject, predicate, literal))
    kept = [(subject, str(text)) for text in with_bookkeeping(graph, {}).objects(subject, TC.spelling)]
    found = settled(literal) if not literal.language else Literal(literal, lang=literal.language.lower())
    assert respelt({(subject, predicate, found)}, kept) == {(subject, predicate, literal)}
    assert respelt({(subject, predicate, Literal("changed since"))}, kept) == {
        (subject, predicate, Literal("changed since"))
    }


def test_graph_names_lead_back_to_documents():
    for folder, file in (
        ("sources", "a.ttl"),
        ("rulings", "a b&c%?#é.ttl"),
        ("cases", "../x.ttl"),
        ("vocabulary", ".ttl.ttl"),
    ):
        assert document_of(graph_of(folder, file)) == (folder, file)
        iri_text(graph_of(folder, file))
    for other in (
        CATALOGUE,
        RETIRED,
        URIRef("urn:x"),
        URIRef(ns.BASE + "graph/other/x"),
        URIRef(ns.BASE + "graph/sources/a/b"),
    ):
        assert document_of(other) is None


def test_lines_are_those_of_the_document():
    graph = Graph()
    graph.add((CLAIM, RDF.type, TC.Claim))
    data = write_turtle(graph)
    again = new_graph()
    lines = read_turtle(data, "x", again)
    assert list(with_bookkeeping(again, lines).objects(CLAIM, TC.line)) == [Literal(3)]
