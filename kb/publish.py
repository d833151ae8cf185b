"""Publishing a store: one named graph per document in a SPARQL service, and a catalogue that knows their hashes.

A graph and its entry in the catalogue change in one update, so a service that keeps to the Recommendation shows both or
neither. While anything is being changed the catalogue says so; after a publish that was cut short it goes on saying
so, and the next one completes it. What did not change is not sent.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path, PurePath
from typing import Any

from rdflib import Graph, Literal, URIRef

from trayconcord.kb.catalogue import CATALOGUE, Published, entry, entry_triples, graph_of, with_bookkeeping
from trayconcord.kb.errors import UnusableInput, unusable
from trayconcord.kb.namespaces import TC
from trayconcord.kb.remote_pages import Pages
from trayconcord.kb.sparql_service import Service
from trayconcord.kb.sparql_terms import Nonsense, iri_text, triple_text
from trayconcord.kb.store import documents
from trayconcord.kb.turtle import new_graph, read_turtle

_FLAG = (CATALOGUE, TC.beingPublished, Literal(True))


@dataclass(slots=True)
class Outcome:
    """The graphs that were written, renamed in the catalogue, left as they were, and removed; in order."""

    written: list[URIRef] = field(default_factory=list)
    renamed: list[URIRef] = field(default_factory=list)
    left: list[URIRef] = field(default_factory=list)
    removed: list[URIRef] = field(default_factory=list)


def publish(service: Service, layers: list[Path], only: bool = False, dry_run: bool = False) -> Outcome:
    """Make a service hold the store of the given layers; graphs that are not in its catalogue are never touched.

    ``dry_run`` tells what would be done. Raises `UnusableInput`; a store with a document that cannot be read is not
    published at all.
    """
    contents = {graph_of(*PurePath(name).parts[-2:]): (name, data) for name, data in documents(layers, only).items()}
    wanted = _wanted(contents)
    pages = Pages(service)
    try:
        outcome = _difference(wanted, pages.catalogue(), pages.triples_by_graph())
        if dry_run or not (outcome.written or outcome.renamed or outcome.removed):
            if not dry_run and pages.contents().busy:  # cut short after its last graph
                service.update(_delete([_FLAG]))
            return outcome
        service.update(_insert(CATALOGUE, [_FLAG]))
        for graph in outcome.written:
            service.update(_replacement(graph, wanted[graph], _graph_of(*contents[graph])))
        for graph in outcome.renamed:
            service.update(_replacement(graph, wanted[graph], None))
        for graph in outcome.removed:
            service.update(_removal(graph))
        _confirm(service, wanted, pages)
        service.update(_delete([_FLAG]))
        return outcome
    finally:
        service.close()


def _wanted(contents: dict[URIRef, tuple[str, bytes]]) -> dict[URIRef, Published]:
    """The catalogue that the documents ask for. One graph is held at a time."""
    wanted, complaints = {}, []
    for graph, (name, data) in contents.items():
        try:
            wanted[graph] = entry(name, _graph_of(name, data))
        except UnusableInput as error:
            complaints += error.complaints
    if complaints:
        raise UnusableInput(complaints)
    return wanted


def _graph_of(name: str, data: bytes) -> Graph:
    graph = new_graph()
    return with_bookkeeping(graph, read_turtle(data, name, graph))


def _difference(wanted: dict[URIRef, Published], found: dict[URIRef, Published], counts: dict[URIRef, int]) -> Outcome:
    """What has to be done. A graph whose number of triples is not that of its entry was changed by somebody else."""
    outcome = Outcome(removed=sorted(found.keys() - wanted.keys()))
    for graph in sorted(wanted):
        ours, theirs = wanted[graph], found.get(graph)
        same = theirs is not None and (theirs.hash, theirs.triples) == (ours.hash, ours.triples)
        if theirs is None or not same or counts.get(graph, 0) != ours.triples:
            outcome.written.append(graph)
        elif theirs.name != ours.name:
            outcome.renamed.append(graph)
        else:
            outcome.left.append(graph)
    return outcome


def _confirm(service: Service, wanted: dict[URIRef, Published], pages: Pages) -> None:
    """See that the service holds what it was given."""
    counts = pages.triples_by_graph()
    if pages.catalogue() != wanted or any(counts.get(graph, 0) != wanted[graph].triples for graph in wanted):
        raise unusable(
            service.shown,
            "does not hold what it took: its catalogue or the number of triples is another",
            "is somebody else publishing there? Run publish again; if this stays so, look at the service",
        )


def _replacement(graph: URIRef, published: Published, triples: Graph | None) -> str:
    """An update that puts a graph, or with None only its entry, in the place of what there was."""
    parts = [_unlisted(graph), _insert(CATALOGUE, entry_triples(graph, published))]
    if triples is not None:
        parts += [_dropped(graph), _insert(graph, triples)]
    return " ;\n".join(parts)


def _removal(graph: URIRef) -> str:
    return f"{_unlisted(graph)} ;\n{_dropped(graph)}"


def _unlisted(graph: URIRef) -> str:
    return f"DELETE WHERE {{ GRAPH {_iri(CATALOGUE)} {{ {_iri(graph)} ?p ?o }} }}"


def _dropped(graph: URIRef) -> str:
    return f"DROP SILENT GRAPH {_iri(graph)}"


def _insert(graph: URIRef, triples: Iterable[Any]) -> str:
    return f"INSERT DATA {{ GRAPH {_iri(graph)} {{\n{_lines(triples)}\n}} }}"


def _delete(triples: Iterable[Any]) -> str:
    return f"DELETE DATA {{ GRAPH {_iri(CATALOGUE)} {{\n{_lines(triples)}\n}} }}"


def _lines(triples: Iterable[Any]) -> str:
    try:
        return "\n".join(sorted(triple_text(triple) for triple in triples))
    except Nonsense as nonsense:
        raise unusable("store", str(nonsense), "write an absolute IRI without spaces, quotes or brackets") from None


def _iri(graph: URIRef) -> str:
    return iri_text(graph)
