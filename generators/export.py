"""The rule export: what other programs read. A value stands only where the topic is agreed or ruled."""

from importlib.metadata import version
from typing import Any

from rdflib import Graph, Literal, URIRef
from rdflib.namespace import DCTERMS, PROV, RDF, RDFS, XSD

from trayconcord.generators.references import reference_text
from trayconcord.generators.value_json import dump, value_json
from trayconcord.kb import namespaces as ns
from trayconcord.kb.model import Claim, Ruling, Source, comparable
from trayconcord.kb.namespaces import BIBO, TC
from trayconcord.kb.records import value_triples
from trayconcord.kb.store import Store
from trayconcord.kb.turtle import new_graph, write_turtle
from trayconcord.kb.values import Comparable, Interval, Quantity
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.answers import governing_value
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.wording import comparable_text, scope_text, stated_text

LICENCE = "https://creativecommons.org/licenses/by/4.0/"
DATASET = URIRef(ns.BASE + "export")


def rules_json(store: Store, comparison: Comparison) -> str:
    """The export as JSON."""
    return dump(rules_document(store, comparison))


def rules_document(store: Store, comparison: Comparison) -> dict[str, Any]:
    """The export as an object. Rules name claims and rulings by id; claims name sources by id."""
    vocabulary = store.vocabulary
    superseded = {claim.id for claim, _ in comparison.superseded()}
    return {
        "format": 1,
        "version": version("trayconcord"),
        "store": {"algorithm": "RDFC-1.0, SHA-256", "hash": store.hash},
        "licence": LICENCE,
        "namespace": ns.BASE,
        "rules": [_rule(topic, vocabulary) for topic in comparison.answered],
        "rulings": {ruling.id: _ruling(ruling, vocabulary) for ruling in store.rulings if ruling.value is not None},
        "claims": {
            claim.id: _claim(claim, claim.id in superseded, vocabulary)
            for claim in store.claims
            if claim.value is not None
        },
        "sources": {source.id: _source(source) for source in store.sources.values()},
    }


def _rule(topic: Topic, vocabulary: Vocabulary) -> dict[str, Any]:
    parameter = topic.parameter
    value = governing_value(topic, vocabulary)
    rule: dict[str, Any] = {
        "id": topic.id,
        "parameter": parameter.id,
        "label": parameter.label,
        "when": dict(topic.when),
        "conditions": scope_text(topic.when, vocabulary),
        "standing": topic.standing,
        "firm": topic.firm,
        "basis": "ruling" if topic.ruling else ("agreement" if topic.standing == "agreed" else None),
        "positions": [
            {
                **_value(position.value, parameter, vocabulary),
                "claims": [claim.id for claim in position.claims],
            }
            for position in topic.positions
        ],
    }
    if value is not None:
        rule["value"] = _value(value, parameter, vocabulary)
    if topic.ruling:
        rule["ruling"] = topic.ruling.id
    return rule


def _ruling(ruling: Ruling, vocabulary: Vocabulary) -> dict[str, Any]:
    parameter = vocabulary.parameters[ruling.parameter]
    assert ruling.value is not None
    told = {
        "parameter": ruling.parameter,
        "when": dict(ruling.when),
        "conditions": scope_text(ruling.when, vocabulary),
        "stated": stated_text(ruling, vocabulary),
        "value": _value(comparable(ruling.value, parameter, vocabulary), parameter, vocabulary),
        "because": ruling.because,
        "decided-on": ruling.decided_on,
        "decided-by": ruling.decided_by,
        "review-by": ruling.review_by,
        "without-source": ruling.without_source,
    }
    return {key: part for key, part in told.items() if part != ""}


def _claim(claim: Claim, superseded: bool, vocabulary: Vocabulary) -> dict[str, Any]:
    parameter = vocabulary.parameters[claim.parameter]
    assert claim.value is not None
    told = {
        "source": claim.source,
        "parameter": claim.parameter,
        "when": dict(claim.when),
        "conditions": scope_text(claim.when, vocabulary),
        "stated": stated_text(claim, vocabulary),
        "value": _value(comparable(claim.value, parameter, vocabulary), parameter, vocabulary),
        "at": claim.at,
        "obtained": claim.obtained,
        "reported-by": claim.reported_by,
    }
    return {key: part for key, part in told.items() if part != ""} | ({"superseded": True} if superseded else {})


def _source(source: Source) -> dict[str, Any]:
    return {
        "reference": reference_text(source),
        "year": source.year or None,
        "kind": source.kind,
        "compiled-from": list(source.compiled_from),
        "edition-of": source.edition_of or None,
    }


def _value(value: Comparable, parameter: Parameter, vocabulary: Vocabulary) -> dict[str, Any]:
    """A value as the export writes it; an open end of a range is left out."""
    return {key: part for key, part in value_json(value, parameter, vocabulary).items() if part is not None}


def rules_turtle(store: Store, comparison: Comparison) -> bytes:
    """The same export as RDF."""
    vocabulary = store.vocabulary
    graph = new_graph()
    graph.add((DATASET, RDF.type, TC.RuleExport))
    graph.add((DATASET, DCTERMS.license, URIRef(LICENCE)))
    graph.add((DATASET, DCTERMS.hasVersion, Literal(version("trayconcord"))))
    graph.add((DATASET, TC.storeHash, Literal(store.hash, datatype=XSD.hexBinary)))
    for topic in comparison.answered:
        subject = ns.iri(ns.TOPIC, topic.id)
        graph.add((subject, RDF.type, TC.Topic))
        graph.add((subject, DCTERMS.isPartOf, DATASET))
        graph.add((subject, TC.parameter, ns.iri(ns.PARAMETER, topic.parameter.id)))
        for axis, concept in topic.when:
            graph.add((subject, ns.iri(ns.AXIS, axis), ns.iri(ns.CONCEPT, concept)))
        graph.add((subject, TC.standing, Literal(topic.standing)))
        graph.add((subject, TC.firm, Literal(topic.firm)))
        value = governing_value(topic, vocabulary)
        if value is not None:
            _add_value(graph, subject, value, topic.parameter)
        if topic.ruling:
            graph.add((subject, TC.ruling, ns.iri(ns.RULING, topic.ruling.id)))
        for number, position in enumerate(topic.positions, start=1):
            node = URIRef(f"{subject}#position-{number}")
            graph.add((subject, TC.position, node))
            graph.add((node, RDF.type, TC.Position))
            graph.add((node, RDFS.label, Literal(comparable_text(position.value, topic.parameter, vocabulary))))
            _add_value(graph, node, position.value, topic.parameter)
            for claim in position.claims:
                cited = ns.iri(ns.CLAIM, claim.id)
                graph.add((node, TC.claim, cited))
                graph.add((cited, DCTERMS.source, ns.iri(ns.SOURCE, claim.source)))
                graph.add((cited, TC.obtained, ns.iri(ns.OBTAINED, claim.obtained)))
                if claim.at:
                    graph.add((cited, BIBO.locator, Literal(claim.at)))
                if claim.reported_by:
                    graph.add((cited, PROV.wasDerivedFrom, ns.iri(ns.SOURCE, claim.reported_by)))
    for source in store.sources.values():
        text = Literal(reference_text(source))
        graph.add((ns.iri(ns.SOURCE, source.id), DCTERMS.bibliographicCitation, text))
    return write_turtle(graph)


def _add_value(graph: Graph, subject: URIRef, value: Comparable, parameter: Parameter) -> None:
    recorded = Quantity(value.low, value.high, parameter.unit) if isinstance(value, Interval) else value
    value_triples(graph, subject, recorded)
