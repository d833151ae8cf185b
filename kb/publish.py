"""Publishing a store: one named graph per document in a SPARQL service, and a catalogue that knows their hashes.

A graph and its entry in the catalogue change in one update, so a service that keeps to the Recommendation shows both or
neither. What did not change is not sent. Only one publishes at a time (`kb/publish_lock`).
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path, PurePath
from typing import Any

from rdflib import Graph, URIRef

from trayconcord.kb.catalogue import CATALOGUE, RETIRED, Published, entry, entry_triples, graph_of, with_bookkeeping
from trayconcord.kb.errors import UnusableInput, unusable
from trayconcord.kb.publish_lock import Lock, locked, occupied
from trayconcord.kb.remote_pages import Pages
from trayconcord.kb.retired import NAME, retired_graph
from trayconcord.kb.sparql_service import Service
from trayconcord.kb.sparql_terms import Nonsense, iri_text, triple_text
from trayconcord.kb.store import documents, retired_in
from trayconcord.kb.turtle import new_graph, triples_of

_Contents = dict[URIRef, tuple[str, Callable[[], Graph]]]
"""What shall lie in each graph: the name of its document, and what makes its triples."""


@dataclass(slots=True)
class Outcome:
    """The graphs that were written, renamed in the catalogue, left as they were, and removed; in order."""

    written: list[URIRef] = field(default_factory=list)
    renamed: list[URIRef] = field(default_factory=list)
    left: list[URIRef] = field(default_factory=list)
    removed: list[URIRef] = field(default_factory=list)

    @property
    def changes(self) -> int:
        """How many graphs were changed in any way."""
        return len(self.written) + len(self.renamed) + len(self.removed)


def publish(
    service: Service, layers: list[Path], only: bool = False, dry_run: bool = False, take_over: bool = False
) -> Outcome:
    """Make a service hold the store of the given layers; graphs that are not in its catalogue are never touched.

    ``dry_run`` tells what would be done. ``take_over`` goes on where somebody else is publishing or was cut short.
    Raises `UnusableInput`; a store with a document that cannot be read is not published at all.
    """
    contents = _contents(layers, only)
    wanted = _wanted(contents)
    pages = Pages(service)
    try:
        busy = bool(pages.locks())
        if busy and not (take_over or dry_run):
            raise occupied(service)
        if dry_run or not busy:
            outcome = _difference(wanted, pages.catalogue(), pages.triples_by_graph())
            if dry_run or not outcome.changes:
                return outcome
        lock = locked(pages, take_over)
        outcome = _difference(wanted, pages.catalogue(), pages.triples_by_graph())  # nobody else changes it now
        for graph in outcome.written:
            service.update(_replacement(lock, graph, wanted[graph], contents[graph][1]()))
        for graph in outcome.renamed:
            service.update(_replacement(lock, graph, wanted[graph], None))
        for graph in outcome.removed:
            service.update(_removal(lock, graph))
        complete = _difference(wanted, pages.catalogue(), pages.triples_by_graph()).changes == 0
        lock.confirm(pages)
        if not complete:
            raise unusable(
                service.shown,
                "does not hold what it took: its catalogue or the number of triples is another",
                "run trayconcord publish --take-over; if this stays so, look at the service",
            )
        lock.release(service)
        return outcome
    finally:
        service.close()


def _contents(layers: list[Path], only: bool) -> _Contents:
    contents: _Contents = {
        graph_of(*PurePath(name).parts[-2:]): (name, partial(_graph_of, name, data))
        for name, data in documents(layers, only).items()
    }
    retired = retired_in(layers, only)
    if retired:
        contents[RETIRED] = (NAME, partial(retired_graph, retired))
    return contents


def _wanted(contents: _Contents) -> dict[URIRef, Published]:
    """The catalogue that the documents ask for. One graph is held at a time."""
    wanted, complaints = {}, []
    for graph, (name, made) in contents.items():
        try:
            triples = made()
            _lines(triples, name)  # what cannot be sent is told before anything is
            wanted[graph] = entry(name, triples)
        except UnusableInput as error:
            complaints += error.complaints
    if complaints:
        raise UnusableInput(complaints)
    return wanted


def _graph_of(name: str, data: bytes) -> Graph:
    triples, lines = triples_of(data, name)
    graph = new_graph()
    for triple in triples.triples():
        graph.add(triple)
    return with_bookkeeping(graph, lines)


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


def _replacement(lock: Lock, graph: URIRef, published: Published, triples: Graph | None) -> str:
    """An update that puts a graph, or with None only its entry, in the place of what there was."""
    entered = f"GRAPH {iri_text(CATALOGUE)} {{\n{_lines(entry_triples(graph, published))}\n}}"
    if triples is None:
        return f"{_unlisted(lock, graph)} ;\nINSERT {{ {entered} }} WHERE {{ {lock.pattern} }}"
    filled = f"GRAPH {iri_text(graph)} {{\n{_lines(triples)}\n}}"
    return f"{_removal(lock, graph)} ;\nINSERT {{ {entered}\n{filled} }} WHERE {{ {lock.pattern} }}"


def _removal(lock: Lock, graph: URIRef) -> str:
    return f"{_unlisted(lock, graph)} ;\n{_deletion(lock, f'GRAPH {iri_text(graph)} {{ ?s ?p ?o }}')}"


def _unlisted(lock: Lock, graph: URIRef) -> str:
    return _deletion(lock, f"GRAPH {iri_text(CATALOGUE)} {{ {iri_text(graph)} ?p ?o }}")


def _deletion(lock: Lock, pattern: str) -> str:
    return f"DELETE {{ {pattern} }} WHERE {{ {lock.pattern} {pattern} }}"


def _lines(triples: Iterable[Any], name: str = "store") -> str:
    try:
        return "\n".join(sorted(triple_text(triple) for triple in triples))
    except Nonsense as nonsense:
        raise unusable(name, str(nonsense), "write an absolute IRI without spaces, quotes or brackets") from None
