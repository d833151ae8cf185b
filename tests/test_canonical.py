"""The hash of a graph: that of RDFC-1.0, as another implementation and the published examples have it."""

import hashlib

import pytest
from pyld import jsonld
from rdflib import BNode, Graph, Literal, URIRef
from rdflib.namespace import RDF

from trayconcord.generators.export import rules_document
from trayconcord.kb.canonical import canonical_hash, canonical_nquads
from trayconcord.kb.namespaces import TC
from trayconcord.kb.store import Store
from trayconcord.shapes.compare import Comparison

XSD = "http://www.w3.org/2001/XMLSchema#"


def independently(graph: Graph) -> str:
    """The canonical N-Quads of a graph by another implementation.

    It implements URDNA2015, of which RDFC-1.0 (W3C 2024) is the standard: the same but for the escapes of control
    characters, which no text of a store holds.
    """
    plain = Graph()
    for triple in graph:
        plain.add(triple)
    options = {"algorithm": "URDNA2015", "inputFormat": "application/n-quads", "format": "application/n-quads"}
    canonical = jsonld.normalize(plain.serialize(format="nt"), options)
    assert isinstance(canonical, str)
    return canonical


def test_the_other_implementation_reproduces_a_published_example() -> None:
    # W3C rdf-canon, tests/rdfc10, test004: the hash is that of the suite's expected output
    e0, vocab = BNode(), "http://example.org/vocab#"
    graph = Graph().add((e0, RDF.type, URIRef(vocab + "Foo")))
    graph.add((e0, URIRef(vocab + "embed"), URIRef("http://example.org/test#example")))
    digest = hashlib.sha256(independently(graph).encode()).hexdigest()
    assert digest == "b868886c057da643186302eae8427a518b4ecbb50276f34104a21f0c63c176a9"


@pytest.mark.slow
def test_the_hash_of_the_store_is_that_of_another_implementation(demo_store: Store) -> None:
    canonical = independently(demo_store.graph)
    assert canonical.count("\n") == len(demo_store.graph)
    assert canonical_nquads(demo_store.graph) == canonical
    assert rules_document(demo_store, Comparison(demo_store))["store"] == {
        "algorithm": "RDFC-1.0, SHA-256",
        "hash": hashlib.sha256(canonical.encode()).hexdigest(),
    }


def test_the_hash_is_that_of_the_sorted_statements() -> None:
    # Without blank nodes RDFC-1.0 is: write each statement in canonical N-Quads, sort by code point, hash with SHA-256
    # (RDF Dataset Canonicalization, W3C 2024, sections 4.4 and A). Escapes by its section A: ECHAR where there is one,
    # else UCHAR for control characters, and every other sign as it is.
    text = 'tab\t line\n return\r quote" back\\slash feed\f back\b bell\x07 delete\x7f µ “ 🦷'
    graph = Graph()
    s, p = URIRef("https://example.org/s"), URIRef("https://example.org/p")
    for value in (
        Literal(text),
        Literal("b", lang="en"),
        Literal("2.50", datatype=URIRef(XSD + "decimal"), normalize=False),
        s,
    ):
        graph.add((s, p, value))
    start = "<https://example.org/s> <https://example.org/p> "
    expected = [
        start + '"2.50"^^<http://www.w3.org/2001/XMLSchema#decimal> .\n',
        start + '"b"@en .\n',
        start
        + '"tab\\t line\\n return\\r quote\\" back\\\\slash feed\\f back\\b bell\\u0007 delete\\u007F µ “ 🦷" .\n',
        start + "<https://example.org/s> .\n",
    ]
    assert canonical_nquads(graph) == "".join(expected)
    assert canonical_hash(graph) == hashlib.sha256("".join(expected).encode()).hexdigest()


def test_a_blank_node_is_not_hashed_wrongly() -> None:
    graph = Graph().add((BNode(), RDF.type, TC.Claim))
    with pytest.raises(ValueError, match="blank nodes"):
        canonical_hash(graph)


def test_one_changed_claim_changes_the_hash(demo_store: Store) -> None:
    graph = Graph()
    for triple in demo_store.graph:
        graph.add(triple)
    before = canonical_hash(graph)
    assert before == canonical_hash(demo_store.graph)
    subject, _, printed = next(iter(graph.triples((None, TC.printed, None))))
    graph.set((subject, TC.printed, Literal(f"{printed}!")))
    assert canonical_hash(graph) != before
