"""The description of the export as a data set: DCAT 3 for its files, VoID for what its graph holds, counted."""

import hashlib
from typing import Any

from rdflib import Graph, Literal, URIRef
from rdflib.namespace import DCTERMS, RDF, VOID, XSD

from trayconcord.kb import namespaces as ns
from trayconcord.kb.canonical import canonical_hash
from trayconcord.kb.namespaces import DCAT, SPDX, TC
from trayconcord.kb.turtle import new_graph, write_turtle

DATASET = URIRef(ns.BASE + "export")
MEDIA_TYPES = {
    ".csv": "text/csv",
    ".html": "text/html",
    ".json": "application/json",
    ".jsonld": "application/ld+json",
    ".ttl": "text/turtle",
    ".yaml": "application/yaml",
}
"""By the ending of a file: what IANA lists; the export itself is JSON-LD, which is told apart by name."""
_IANA = "https://www.iana.org/assignments/media-types/"
_VOCABULARIES = ("http://purl.org/dc/terms/", "http://www.w3.org/2004/02/skos/core#", str(ns.QUDT), str(TC))


def dataset_turtle(document: dict[str, Any], graph: Graph, files: dict[str, bytes]) -> bytes:
    """The description as Turtle: of the export, its graph, and the files that hold it, by name."""
    about = new_graph()
    _describe(about, document)
    _count(about, graph)
    for name, data in files.items():
        _distribution(about, name, data, document["licence"])
    about.add((DATASET, VOID.dataDump, _file("rules.ttl")))
    return write_turtle(about)


def _describe(about: Graph, document: dict[str, Any]) -> None:
    title = "Rules for custom impression trays, source by source"
    description = (
        "What published sources say about making custom impression trays for edentulous arches, topic by topic. "
        "A topic has a value only where independent sources agree or the course has ruled."
    )
    for kind in (DCAT.Dataset, VOID.Dataset):
        about.add((DATASET, RDF.type, kind))
    about.add((DATASET, DCTERMS.title, Literal(title, lang="en")))
    about.add((DATASET, DCTERMS.description, Literal(description, lang="en")))
    about.add((DATASET, DCTERMS.rights, Literal(document["notice"], lang="en")))
    about.add((DATASET, DCTERMS.license, URIRef(document["licence"])))
    about.add((DATASET, DCTERMS.language, URIRef("http://publications.europa.eu/resource/authority/language/ENG")))
    about.add((DATASET, DCAT.version, Literal(document["version"])))
    about.add((DATASET, TC.contractFormat, Literal(document["format"])))
    about.add((DATASET, TC.hashAlgorithm, Literal(document["store"]["algorithm"])))
    about.add((DATASET, TC.storeHash, Literal(document["store"]["hash"])))
    about.add((DATASET, VOID.uriSpace, Literal(document["namespace"])))
    modified = _modified(document)
    if modified is not None:
        about.add((DATASET, DCTERMS.modified, modified))
    if document["rules"]:
        about.add((DATASET, VOID.exampleResource, URIRef(ns.TOPIC + document["rules"][0]["id"])))
    for vocabulary in _VOCABULARIES:
        about.add((DATASET, VOID.vocabulary, URIRef(vocabulary)))


def _modified(document: dict[str, Any]) -> Literal | None:
    """The newest date in the data: of a decision, else the year of the newest source. No time of building is told."""
    decisions = [*document["rulings"], document.get("marking", {})]
    days = [decision["decided-on"] for decision in decisions if "decided-on" in decision]
    years = [source["year"] for source in document["sources"] if "year" in source]
    if days and (not years or int(max(days)[:4]) >= max(years)):
        return Literal(max(days), datatype=XSD.date)
    return Literal(f"{max(years):04d}", datatype=XSD.gYear, normalize=False) if years else None


def _count(about: Graph, graph: Graph) -> None:
    """How much the graph holds: triples, subjects, objects; the members of each class, the uses of each property."""
    classes: dict[URIRef, int] = {}
    properties: dict[URIRef, int] = {}
    subjects, objects = set(), set()
    for subject, predicate, value in graph:
        assert isinstance(predicate, URIRef)
        subjects.add(subject)
        objects.add(value)
        properties[predicate] = properties.get(predicate, 0) + 1
        if predicate == RDF.type and isinstance(value, URIRef):
            classes[value] = classes.get(value, 0) + 1
    for name, count in (
        (VOID.triples, len(graph)),
        (VOID.entities, len(set(graph.subjects(RDF.type, None)))),
        (VOID.distinctSubjects, len(subjects)),
        (VOID.distinctObjects, len(objects)),
        (VOID.classes, len(classes)),
        (VOID.properties, len(properties)),
    ):
        about.add((DATASET, name, Literal(count)))
    about.add((DATASET, TC.graphHash, Literal(canonical_hash(graph))))
    for family, part, what, amount, counts in (
        ("class", VOID.classPartition, VOID["class"], VOID.entities, classes),
        ("property", VOID.propertyPartition, VOID.property, VOID.triples, properties),
    ):
        for number, term in enumerate(sorted(counts), start=1):
            node = URIRef(f"{DATASET}#{family}-{number}")
            about.add((DATASET, part, node))
            about.add((node, what, term))
            about.add((node, amount, Literal(counts[term])))


def _distribution(about: Graph, name: str, data: bytes, licence: str) -> None:
    node, checksum = _file(name), URIRef(f"{_file(name)}#checksum")
    media = "application/ld+json" if name == "rules.json" else MEDIA_TYPES["." + name.rpartition(".")[2]]
    about.add((DATASET, DCAT.distribution, node))
    about.add((node, RDF.type, DCAT.Distribution))
    about.add((node, DCTERMS.title, Literal(name)))
    about.add((node, DCTERMS.license, URIRef(licence)))
    about.add((node, DCAT.mediaType, URIRef(_IANA + media)))
    about.add((node, DCAT.byteSize, Literal(str(len(data)), datatype=XSD.nonNegativeInteger)))
    about.add((node, SPDX.checksum, checksum))
    about.add((checksum, RDF.type, SPDX.Checksum))
    about.add((checksum, SPDX.algorithm, SPDX.checksumAlgorithm_sha256))
    digest = hashlib.sha256(data).hexdigest().upper()
    about.add((checksum, SPDX.checksumValue, Literal(digest, datatype=XSD.hexBinary, normalize=False)))
    if name in ("rules.json", "rules.yaml"):
        about.add((node, DCTERMS.conformsTo, _file("rules.schema.json")))
    elif name.endswith(".csv"):
        about.add((node, DCTERMS.conformsTo, URIRef("http://www.w3.org/TR/tabular-metadata/")))


def _file(name: str) -> URIRef:
    return URIRef(f"{DATASET}/{name}")
