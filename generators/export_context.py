"""How the rule export is RDF: the JSON-LD context of its keys, and the triples that an object of it stands for.

The context stands in ``rules.json`` itself, so that nobody has to fetch it. It keeps to a part of JSON-LD 1.1:
names of properties, types, languages, ``@nest``, and for every reference the namespace that its ids live in
(an ``@base`` scoped to the property). `triples` reads that part; tests hold it against three JSON-LD processors.
"""

from collections.abc import Iterator
from typing import Any

from rdflib import Graph, Literal, URIRef
from rdflib.namespace import DCTERMS, OWL, PROV, RDF, SKOS, VOID, XSD

from trayconcord.kb import namespaces as ns
from trayconcord.kb.errors import unusable
from trayconcord.kb.namespaces import BIBO, QUDT, TC
from trayconcord.kb.turtle import new_graph
from trayconcord.kb.vocabulary import Vocabulary

Context = dict[str, Any]
Triple = tuple[URIRef, URIRef, URIRef | Literal]

FRACTION = "owl:rational"
"""The datatype of a number whose decimals do not end, as the export writes it."""

_TYPES = {
    "Axis": TC.Axis,
    "Case": TC.Case,
    "Caution": TC.Caution,
    "Claim": TC.Claim,
    "Concept": SKOS.Concept,
    "MarkingItem": TC.MarkingItem,
    "MarkingPolicy": TC.MarkingPolicy,
    "Parameter": TC.Parameter,
    "Position": TC.Position,
    "RuleExport": TC.RuleExport,
    "Ruling": TC.Ruling,
    "Source": TC.Source,
    "Topic": TC.Topic,
    "Unit": QUDT.Unit,
    "Value": TC.Value,
}
_TABLES = {
    "rules": (DCTERMS.hasPart, ns.TOPIC),
    "rulings": (DCTERMS.hasPart, ns.RULING),
    "parameters": (DCTERMS.hasPart, ns.PARAMETER),
    "axes": (DCTERMS.hasPart, ns.AXIS),
    "concepts": (DCTERMS.hasPart, ns.CONCEPT),
    "units": (DCTERMS.hasPart, str(ns.UNIT)),
    "cautions": (DCTERMS.hasPart, ns.CAUTION),
    "deprecated": (DCTERMS.hasPart, ns.BASE),
    "cases": (DCTERMS.hasPart, ns.CASE),
    "marking": (DCTERMS.hasPart, ns.MARKING),
    "claims": (TC.claim, ns.CLAIM),
    "sources": (DCTERMS.source, ns.SOURCE),
}
"""The tables of the document; positions cite ``claims``, and cautions ``sources``, by the same key."""
_REFERENCES = _TABLES | {
    "arises-from": (TC.arisesFrom, ns.CONCEPT),
    "arises-with": (TC.arisesWith, ns.PARAMETER),
    "asks": (TC.asks, ns.PARAMETER),
    "broader": (SKOS.broader, ns.CONCEPT),
    "chapter": (TC.chapter, ns.CHAPTER),
    "compiled-from": (PROV.wasDerivedFrom, ns.SOURCE),
    "concept": (TC.choice, ns.CONCEPT),
    "depends-on": (TC.dependsOn, ns.AXIS),
    "edition-of": (DCTERMS.isVersionOf, ns.SOURCE),
    "excludes": (TC.excludes, ns.CONCEPT),
    "includes": (TC.includes, ns.CONCEPT),
    "items": (DCTERMS.hasPart, ns.MARKING),
    "kind": (DCTERMS.type, ns.KIND),
    "licence": (DCTERMS.license, None),
    "obtained": (TC.obtained, ns.OBTAINED),
    "origins": (TC.origin, ns.SOURCE),
    "parameter": (TC.parameter, ns.PARAMETER),
    "replaced-by": (DCTERMS.isReplacedBy, ns.BASE),
    "reported-by": (PROV.wasDerivedFrom, ns.SOURCE),
    "ruling": (TC.ruling, ns.RULING),
    "sites": (TC.site, ns.CONCEPT),
    "source": (DCTERMS.source, ns.SOURCE),
    "step": (TC.doneAtStep, ns.CONCEPT),
    "superseded-by": (TC.supersededBy, ns.SOURCE),
    "unit": (QUDT.hasUnit, str(ns.UNIT)),
    "value-kind": (TC.valueKind, ns.VALUE_KIND),
    "voice": (TC.voice, ns.SOURCE),
}
_NODES = {"positions": TC.position, "steps": TC.step, "value": TC.value}
_TYPED = {
    "borderline-credit": (TC.borderlineCredit, XSD.decimal),
    "decided-on": (DCTERMS.date, XSD.date),
    "max": (TC.max, XSD.decimal),
    "min": (TC.min, XSD.decimal),
    "pass-mark": (TC.passMark, XSD.decimal),
    "review-by": (TC.reviewBy, XSD.date),
    "tolerance": (TC.tolerance, XSD.decimal),
    "tolerance-quantity": (TC.toleranceQuantity, XSD.decimal),
    "tolerance-share": (TC.toleranceShare, XSD.decimal),
    "uncertainty": (TC.uncertainty, XSD.decimal),
    "weight": (TC.weight, XSD.decimal),
    "year": (DCTERMS.issued, XSD.gYear),
}
_ENGLISH = {
    "conditions": TC.conditionsInWords,
    "definition": SKOS.definition,
    "label": SKOS.prefLabel,
    "notice": DCTERMS.rights,
    "question": TC.question,
    "text": TC.inWords,
}
_PLAIN = {
    "algorithm": TC.hashAlgorithm,
    "at": BIBO.locator,
    "basis": TC.basis,
    "because": TC.because,
    "decided-by": TC.decidedBy,
    "doi": BIBO.doi,
    "exactly": TC.exactly,
    "firm": TC.firm,
    "format": TC.contractFormat,
    "hash": TC.storeHash,
    "hazards": TC.hazardStatement,
    "namespace": VOID.uriSpace,
    "number": TC.number,
    "of-case": TC.ofCase,
    "reference": DCTERMS.bibliographicCitation,
    "retired": OWL.deprecated,
    "standing": TC.standing,
    "stated": TC.stated,
    "symbol": QUDT.symbol,
    "unmeasured": TC.unmeasured,
    "version": ns.DCAT.version,
    "without-source": TC.withoutSource,
    "yes": TC.yes,
}
"""Text, whole numbers, true and false: what JSON says as it stands."""


def context(vocabulary: Vocabulary) -> Context:
    """The JSON-LD 1.1 context of the export. Raises `UnusableInput` where an axis bears a name of the contract."""
    terms: Context = {
        "@version": 1.1,
        "@base": ns.BASE,
        "owl": str(OWL),
        "id": "@id",
        "type": "@type",
        "when": "@nest",
        "store": "@nest",
    }
    terms |= {name: str(iri) for name, iri in (_TYPES | _NODES | _PLAIN).items()}
    terms |= {name: _reference(iri, base) for name, (iri, base) in _REFERENCES.items()}
    terms |= {name: {"@id": str(iri), "@type": str(datatype)} for name, (iri, datatype) in _TYPED.items()}
    terms |= {name: {"@id": str(iri), "@language": "en"} for name, iri in _ENGLISH.items()}
    for axis in vocabulary.axes:
        if axis in terms:
            raise unusable(f"axis {axis}", "has the name of a key of the rule export", "give the axis another id")
        terms[axis] = _reference(ns.iri(ns.AXIS, axis), ns.CONCEPT)
    return terms


def _reference(iri: URIRef, base: str | None) -> Context:
    term: Context = {"@id": str(iri), "@type": "@id"}
    return term | ({"@context": {"@base": base}} if base else {})


def graph_of(document: dict[str, Any]) -> Graph:
    """The graph that an export stands for."""
    terms = document["@context"]
    graph = new_graph()
    body = {key: part for key, part in document.items() if key != "@context"}
    for triple in triples(body, terms, terms["@base"]):
        graph.add(triple)
    return graph


def triples(node: dict[str, Any], terms: Context, base: str) -> Iterator[Triple]:
    """The triples of a node object: its own, and those of the objects within it."""
    subject = _iri(node["id"], base)
    if "type" in node:
        yield subject, RDF.type, URIRef(terms[node["type"]])
    yield from _properties(subject, node, terms, base)


def _properties(subject: URIRef, node: dict[str, Any], terms: Context, base: str) -> Iterator[Triple]:
    for key, part in node.items():
        term = terms[key]
        if term == "@nest":
            yield from _properties(subject, part, terms, base)
        elif term not in ("@id", "@type"):
            term = {"@id": term} if isinstance(term, str) else term
            predicate, inner = URIRef(term["@id"]), term.get("@context", {}).get("@base", base)
            for value in part if isinstance(part, list) else [part]:
                if isinstance(value, dict) and "id" in value:
                    yield subject, predicate, _iri(value["id"], inner)
                    yield from triples(value, terms, inner)
                elif term.get("@type") == "@id":
                    yield subject, predicate, _iri(value, inner)
                else:
                    yield subject, predicate, _literal(value, term)


def _iri(identifier: str, base: str) -> URIRef:
    return URIRef(identifier if "://" in identifier else base + identifier)


def _literal(value: Any, term: Context) -> Literal:
    """A literal with the very text of the JSON, which rdflib would rewrite for some datatypes."""
    if isinstance(value, dict):
        return Literal(value["@value"], datatype=OWL.rational, normalize=False)
    if isinstance(value, str):
        datatype, language = term.get("@type"), term.get("@language")
        return Literal(value, lang=language, datatype=datatype and URIRef(datatype), normalize=False)
    text = str(value).lower() if isinstance(value, bool) else str(value)
    native = XSD.boolean if isinstance(value, bool) else XSD.integer
    return Literal(text, datatype=URIRef(term.get("@type", native)), normalize=False)
