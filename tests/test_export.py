"""The rule export: no contested number as a value, all of it cited, JSON and Turtle alike, a hash to check it by."""

import hashlib
import json
from fractions import Fraction
from typing import Any

import pytest
from pyld import jsonld
from rdflib import BNode, Graph, Literal, URIRef
from rdflib.namespace import DCTERMS, PROV, RDF, RDFS

from trayconcord.generators.export import DATASET, LICENCE, rules_json, rules_turtle
from trayconcord.kb import namespaces as ns
from trayconcord.kb.canonical import canonical_hash, canonical_nquads
from trayconcord.kb.namespaces import BIBO, QUDT, TC
from trayconcord.kb.store import Store, load
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.compare import Comparison

Exported = tuple[Store, dict[str, Any], Graph]
XSD = "http://www.w3.org/2001/XMLSchema#"
PLACES = Fraction(1, 2 * 10**6)
"""How far a number in the JSON may lie from the exact one, where its expansion does not end."""


def exported(store: Store) -> Exported:
    comparison = Comparison(store)
    document = json.loads(rules_json(store, comparison), parse_float=Fraction)
    return store, document, Graph().parse(data=rules_turtle(store, comparison), format="turtle")


@pytest.fixture(scope="module")
def shipped(shipped_store: Store) -> Exported:
    return exported(shipped_store)


@pytest.fixture(scope="module")
def demo(demo_store: Store) -> Exported:
    return exported(demo_store)


@pytest.fixture(params=["shipped", "demo"])
def export(request: pytest.FixtureRequest) -> Exported:
    """The export of the shipped store, which has no rulings, and of the demo's, which has two."""
    found: Exported = request.getfixturevalue(request.param)
    return found


# --- the JSON ---


def test_the_file_says_what_it_is_and_where_it_comes_from(export: Exported) -> None:
    store, document, _ = export
    assert set(document) == {
        "format",
        "version",
        "store",
        "licence",
        "namespace",
        "rules",
        "rulings",
        "claims",
        "sources",
    }
    assert document["format"] == 1
    assert document["licence"] == LICENCE == "https://creativecommons.org/licenses/by/4.0/"
    assert document["namespace"] == "https://w3id.org/trayconcord/"
    assert set(document["sources"]) == set(store.sources)
    for identifier, source in document["sources"].items():
        assert source["reference"]
        assert source["year"] == (store.sources[identifier].year or None)
    assert len({rule["id"] for rule in document["rules"]}) == len(document["rules"]) == len(Comparison(store).answered)


def test_a_value_stands_only_where_the_topic_is_agreed_or_ruled(export: Exported) -> None:
    _, document, _ = export
    for rule in document["rules"]:
        settled = rule["standing"] == "agreed" or "ruling" in rule
        assert ("value" in rule) == settled
        assert rule["basis"] == ("ruling" if "ruling" in rule else "agreement" if settled else None)
        assert rule["positions"] or (rule["standing"] == "silent" and "ruling" in rule)
    standings = {rule["standing"] for rule in document["rules"]}
    assert standings - {"silent"} == {"agreed", "contested", "single"}
    unsettled = [rule for rule in document["rules"] if rule["standing"] != "agreed" and "ruling" not in rule]
    assert unsettled
    # not even under another name: the numbers of an unsettled rule are those of its positions
    for rule in unsettled:
        assert not {"min", "max", "concept", "yes", "steps", "includes", "excludes"} & set(rule)


def test_an_agreed_value_is_that_of_its_one_position(export: Exported) -> None:
    _, document, _ = export
    agreed = [rule for rule in document["rules"] if rule["basis"] == "agreement"]
    assert agreed
    for rule in agreed:
        (position,) = rule["positions"]
        assert rule["value"] == {key: part for key, part in position.items() if key != "claims"}


def test_a_ruled_value_is_the_ruling_with_its_reason(demo: Exported) -> None:
    store, document, _ = demo
    ruled = {rule["id"]: rule for rule in document["rules"] if "ruling" in rule}
    paste = ruled["spacer-thickness?impression-material=zinc-oxide-eugenol-paste"]
    assert paste["standing"] == "contested"
    assert (paste["value"]["min"], paste["value"]["max"], paste["value"]["unit"]) == (0, 0, "mm")
    assert paste["value"]["text"] == "none"
    (ruling,) = (ruling for ruling in store.rulings if ruling.parameter == "spacer-thickness")
    assert paste["ruling"] == ruling.id
    assert document["rulings"][ruling.id] == {
        "parameter": "spacer-thickness",
        "when": {"impression-material": "zinc-oxide-eugenol-paste"},
        "conditions": "zinc oxide-eugenol paste",
        "stated": "none",
        "value": paste["value"],
        "because": ruling.because,
        "decided-on": "2026-05-12",
        "decided-by": ruling.decided_by,
        "review-by": "2027-05-01",
    }
    clearance = ruled["border-clearance"]
    assert (clearance["value"]["min"], clearance["value"]["max"]) == (2, 2)


def test_every_citation_names_a_claim_of_the_store_and_its_source(export: Exported) -> None:
    store, document, _ = export
    claims = {claim.id: claim for claim in store.claims}
    cited = set()
    for rule in document["rules"]:
        for position in rule["positions"]:
            assert position["claims"]
            for identifier in position["claims"]:
                claim, citation = claims[identifier], document["claims"][identifier]
                cited.add(claim.id)
                assert citation["source"] == claim.source
                assert citation["source"] in document["sources"]
                assert claim.parameter == citation["parameter"] == rule["parameter"]
                assert dict(claim.when) == citation["when"]
                assert citation.get("at", "") == claim.at
                assert citation["obtained"] == claim.obtained
                assert citation.get("reported-by", "") == claim.reported_by
                assert citation["stated"] == claim.printed or not claim.printed
    # what is superseded or only repeated is not heard; every other claim is cited somewhere
    superseded = {claim.id for claim, _ in Comparison(store).superseded()}
    assert not superseded & cited
    assert {key for key, claim in document["claims"].items() if claim.get("superseded")} == superseded
    unheard = [claim for claim in store.claims if claim.value is not None and claim.id not in cited | superseded]
    assert all(store.sources[claim.source].compiled_from for claim in unheard)


# --- the Turtle ---


def test_the_turtle_has_no_blank_node(export: Exported) -> None:
    graph = export[2]
    assert len(graph) > 100
    assert not [term for triple in graph for term in triple if isinstance(term, BNode)]


def test_the_turtle_carries_the_same_hash_version_and_licence(export: Exported) -> None:
    _, document, graph = export
    assert graph.value(DATASET, TC.storeHash) == Literal(document["store"]["hash"], datatype=URIRef(XSD + "hexBinary"))
    assert str(graph.value(DATASET, DCTERMS.hasVersion)) == document["version"]
    assert graph.value(DATASET, DCTERMS.license) == URIRef(document["licence"])


def ids(graph: Graph, subject: URIRef, predicate: URIRef, family: str) -> list[str]:
    """The ids of what a subject refers to."""
    return sorted(ns.local(str(value), family) for value in graph.objects(subject, predicate))


def value_in(graph: Graph, subject: URIRef, vocabulary: Vocabulary) -> dict[str, Any]:
    """The value of a subject in the Turtle, in the keys of the JSON."""
    if (subject, QUDT.hasUnit, None) in graph:
        (unit,) = graph.objects(subject, QUDT.hasUnit)
        (symbol,) = (unit_.symbol for unit_ in vocabulary.units.values() if str(unit).endswith(f"/{unit_.id}"))
        ends = {"min": graph.value(subject, TC.min), "max": graph.value(subject, TC.max)}
        return {"unit": symbol or "1"} | {key: Fraction(str(end)) for key, end in ends.items() if end is not None}
    if (subject, TC.choice, None) in graph:
        return {"concept": ids(graph, subject, TC.choice, ns.CONCEPT)[0]}
    if (subject, TC.yes, None) in graph:
        return {"yes": str(graph.value(subject, TC.yes)) == "true"}
    if (subject, TC.exactly, None) in graph:
        sides = {key: ids(graph, subject, TC[key], ns.CONCEPT) for key in ("includes", "excludes")}
        return {**sides, "exactly": str(graph.value(subject, TC.exactly)) == "true"}
    if (subject, TC.steps, None) in graph:
        members = graph.value(subject, TC.steps)
        numbered = {str(p).rpartition("_")[2]: o for p, o in graph.predicate_objects(members) if p != RDF.type}
        ordered = [numbered[number] for number in sorted(numbered, key=int)]
        return {"steps": [ns.local(str(step), ns.CONCEPT) for step in ordered]}
    return {}


def same_value(in_turtle: dict[str, Any], in_json: dict[str, Any]) -> bool:
    """Whether two values are one. Where an expansion does not end, the JSON is rounded and the Turtle is exact."""
    stated = {key: part for key, part in in_json.items() if key not in ("text", "claims")}
    if set(in_turtle) != set(stated):
        return False
    ends = [key for key in ("min", "max") if key in stated]
    return all(abs(in_turtle[key] - Fraction(stated[key])) <= PLACES for key in ends) and all(
        in_turtle[key] == part for key, part in stated.items() if key not in ends
    )


def test_turtle_and_json_say_the_same_rule_by_rule(export: Exported) -> None:
    store, document, graph = export
    vocabulary = store.vocabulary
    assert {str(topic) for topic in graph.subjects(RDF.type, TC.Topic)} == {
        ns.TOPIC + rule["id"] for rule in document["rules"]
    }
    kinds = set()
    for rule in document["rules"]:
        topic = ns.iri(ns.TOPIC, rule["id"])
        assert str(graph.value(topic, TC.standing)) == rule["standing"]
        assert ids(graph, topic, TC.parameter, ns.PARAMETER) == [rule["parameter"]]
        when = {
            ns.local(str(p), ns.AXIS): ns.local(str(o), ns.CONCEPT)
            for p, o in graph.predicate_objects(topic)
            if p.startswith(ns.AXIS)
        }
        assert when == rule["when"]
        assert same_value(value_in(graph, topic, vocabulary), rule.get("value", {}))
        assert ids(graph, topic, TC.ruling, ns.RULING) == ([rule["ruling"]] if "ruling" in rule else [])
        assert len(list(graph.objects(topic, TC.position))) == len(rule["positions"])
        for number, position in enumerate(rule["positions"], start=1):
            node = URIRef(f"{topic}#position-{number}")
            assert (topic, TC.position, node) in graph
            assert str(graph.value(node, RDFS.label)) == position["text"]
            assert same_value(value_in(graph, node, vocabulary), position)
            kinds.add(vocabulary.parameters[rule["parameter"]].kind)
            assert ids(graph, node, TC.claim, ns.CLAIM) == sorted(position["claims"])
            for identifier in position["claims"]:
                claim, citation = ns.iri(ns.CLAIM, identifier), document["claims"][identifier]
                assert ids(graph, claim, DCTERMS.source, ns.SOURCE) == [citation["source"]]
                assert ids(graph, claim, TC.obtained, ns.OBTAINED) == [citation["obtained"]]
                assert [str(at) for at in graph.objects(claim, BIBO.locator)] == [
                    text for key, text in citation.items() if key == "at"
                ]
                reported = ids(graph, claim, PROV.wasDerivedFrom, ns.SOURCE)
                assert reported == [text for key, text in citation.items() if key == "reported-by"]
    assert {"interval", "count", "set", "order"} <= kinds
    for identifier, source in document["sources"].items():
        cited = graph.value(ns.iri(ns.SOURCE, identifier), DCTERMS.bibliographicCitation)
        assert str(cited) == source["reference"]


def test_a_value_in_the_turtle_stands_only_where_one_stands_in_the_json(export: Exported) -> None:
    _, document, graph = export
    without = [rule["id"] for rule in document["rules"] if "value" not in rule]
    assert without
    told = {TC.min, TC.max, TC.none, TC.choice, TC.yes, TC.exactly, TC.includes, TC.steps}
    for identifier in without:
        assert not told & set(graph.predicates(ns.iri(ns.TOPIC, identifier), None))


def test_the_export_is_the_same_whenever_it_is_made(demo_store: Store) -> None:
    one, other = Comparison(demo_store), Comparison(demo_store)
    assert rules_json(demo_store, one) == rules_json(demo_store, other)
    assert rules_turtle(demo_store, one) == rules_turtle(demo_store, other)


# --- the hash ---


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


def test_the_hash_of_the_store_is_that_of_another_implementation(demo: Exported) -> None:
    store, document, _ = demo
    canonical = independently(store.graph)
    assert canonical.count("\n") == len(store.graph)
    assert canonical_nquads(store.graph) == canonical
    assert document["store"] == {
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


def test_an_export_without_sources_has_no_rules() -> None:
    _, document, graph = exported(load(only=True))
    assert document["rules"] == []
    assert document["sources"] == {}
    assert (None, RDF.type, TC.Topic) not in graph
