"""Reading a SPARQL service in partitions: what it holds is counted first, then read page by page and held to the count.

The subjects of a partition are listed first, in windows, and what is said of them, in whichever graph, is asked for
by name, page by page: to list them costs a service the whole partition each time, so that is done seldom. No answer is
longer than a window of names or a page, so what is held at a time does not grow with the store.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import islice

from rdflib import URIRef

from trayconcord.kb import namespaces as ns
from trayconcord.kb.catalogue import CATALOGUE, Published, entries
from trayconcord.kb.errors import unusable
from trayconcord.kb.namespaces import TC
from trayconcord.kb.sparql_service import Service, changed
from trayconcord.kb.sparql_terms import Nonsense, Term, iri_text

PAGE = 500
"""Subjects per page. A claim is about eleven triples of 270 bytes each as JSON: a page takes about 1.5 MB."""

WINDOW = 10_000
"""Subjects that are listed at a time, about 1.5 MB as JSON. A service may cap its answers lower."""

Quad = tuple[Term | None, URIRef, URIRef, Term]
"""Graph (None: the default graph), subject, predicate, value."""


@dataclass(frozen=True, slots=True)
class Partition:
    """Some subjects of a service: the pattern that selects ``?s``, how many match, and what to call them."""

    pattern: str
    count: int
    label: str


@dataclass(frozen=True)
class Contents:
    """What a service says that it holds; the same at the end of reading as at its beginning, or it has changed."""

    catalogue: dict[URIRef, Published]
    busy: bool
    classes: dict[URIRef, int]
    claims: dict[URIRef, int]


class Pages:
    """The partitions of a service. Raises `UnusableInput` where its answers do not fit together."""

    def __init__(self, service: Service, size: int = PAGE, window: int = WINDOW) -> None:
        self.service, self.size, self.window = service, size, window

    def contents(self) -> Contents:
        """Count what there is: own classes of subjects, claims by parameter; and read the catalogue."""
        catalogue = self.catalogue()
        in_own = f"FILTER(STRSTARTS(STR(?key), {_quoted(str(TC))}))"
        return Contents(
            catalogue,
            bool(self.locks()),
            self._counts(f"{_anywhere('?s a ?key')} {in_own}", "classes"),
            self._counts(f"{_anywhere(f'?s {_text(TC.parameter)} ?key')} {_CLAIM}", "claims by parameter"),
        )

    def locks(self) -> set[str]:
        """The tokens of whoever is publishing, or was when it was cut short (`kb/publish_lock`)."""
        lock = f"{_text(CATALOGUE)} {_text(TC.beingPublished)} ?o"
        return set(map(str, self._select(f"SELECT ?o WHERE {{ GRAPH {_text(CATALOGUE)} {{ {lock} }} }}", "o")))

    def catalogue(self) -> dict[URIRef, Published]:
        """The graphs that `publish` has put there."""
        pattern = f"GRAPH {_text(CATALOGUE)} {{ ?s a <http://rdfs.org/ns/void#Dataset> }}"
        rows = (
            {"s": subject, "p": predicate, "o": value}
            for page in self.read(self.counted(pattern, "entries of the catalogue"))
            for graph, subject, predicate, value in page
            if graph == CATALOGUE
        )
        return entries(rows)

    def triples_by_graph(self) -> dict[URIRef, int]:
        """How many triples each graph of the catalogue holds now."""
        listed = f"GRAPH {_text(CATALOGUE)} {{ ?key a <http://rdfs.org/ns/void#Dataset> }}"
        return self._counts(f"{listed} GRAPH ?key {{ ?s ?p ?o }}", "triples by graph", "COUNT(*)")

    def of_parameter(self, parameter: URIRef, count: int) -> Partition:
        """The claims on one parameter."""
        stated = _anywhere(f"?s {_text(TC.parameter)} {_text(parameter)}")
        return Partition(f"{stated} {_CLAIM}", count, f"claims on {ns.local(parameter, ns.PARAMETER)}")

    def of_class(self, cls: URIRef, count: int) -> Partition:
        """The subjects of one class."""
        return Partition(_anywhere(f"?s a {_text(cls)}"), count, f"subjects of class {ns.local(cls, str(TC))}")

    def without_parameter(self) -> Partition:
        """The claims that state no parameter."""
        lacking = f"FILTER NOT EXISTS {{ {_anywhere(f'?s {_text(TC.parameter)} ?any')} }}"
        return self.counted(f"{_CLAIM} {lacking}", "claims without a parameter")

    def of_graph(self, graph: URIRef) -> Partition:
        """Every subject of a graph."""
        return self.counted(f"GRAPH {_text(graph)} {{ ?s ?p ?o }}", f"subjects of graph {graph}")

    def counted(self, pattern: str, label: str) -> Partition:
        """A partition whose size the service is asked for."""
        rows = self._select(f"SELECT (COUNT(DISTINCT ?s) AS ?n) WHERE {{ {pattern} }}", "n")
        return Partition(pattern, self._number(rows[0]) if len(rows) == 1 else self._odd(label), label)

    def read(self, partition: Partition) -> Iterator[list[Quad]]:
        """All that is said of the subjects of a partition, page by page."""
        seen: set[URIRef] = set()
        while len(seen) < partition.count:
            listed = self._listed(partition, len(seen))
            if not listed or seen.intersection(listed):
                break
            seen.update(listed)
            given = 0
            for quads in self.about(listed):
                given += len({quad[1] for quad in quads})
                yield quads
            if given != len(listed):
                raise changed(self.service, f"{len(listed)} {partition.label} listed, {given} given")
        if len(seen) != partition.count:
            raise changed(self.service, f"{partition.count} {partition.label} counted, {len(seen)} given")

    def _listed(self, partition: Partition, offset: int) -> list[URIRef]:
        """The subjects of a partition from the given one on, in the order of the service; a window of them at most."""
        window = f"ORDER BY ?s LIMIT {self.window} OFFSET {offset}"
        found: dict[URIRef, None] = {}
        for row in self.service.select(f"SELECT DISTINCT ?s WHERE {{ {partition.pattern} }} {window}"):
            subject = row.get("s")
            if isinstance(subject, URIRef):
                found[subject] = None
            else:
                self._odd(partition.label)
        if len(found) > self.window:
            raise unusable(
                self.service.shown,
                f"does not keep to LIMIT: asked for {self.window} {partition.label}, it gives {len(found)}",
                "look at the service; is it a SPARQL 1.1 service?",
            )
        return list(found)

    def about(self, subjects: Iterable[URIRef]) -> Iterator[list[Quad]]:
        """All that is said of the given subjects, page by page; nothing may be said of some."""
        waiting = iter(subjects)
        while page := list(islice(waiting, self.size)):
            quads = self._quads(f"VALUES ?s {{ {' '.join(_text(subject) for subject in page)} }}", "subjects")
            if {quad[1] for quad in quads} - set(page):
                raise changed(self.service, "it speaks of what it was not asked")
            yield quads

    def _quads(self, chosen: str, label: str) -> list[Quad]:
        query = f"SELECT ?g ?s ?p ?o WHERE {{ {chosen} {{ ?s ?p ?o }} UNION {{ GRAPH ?g {{ ?s ?p ?o }} }} }}"
        found: dict[Quad, None] = {}
        for row in self.service.select(query):
            subject, predicate, value = row.get("s"), row.get("p"), row.get("o")
            if not isinstance(subject, URIRef) or not isinstance(predicate, URIRef) or value is None:
                self._odd(label)
            else:
                found[row.get("g"), subject, predicate, value] = None
        return list(found)

    def _counts(self, pattern: str, label: str, count: str = "COUNT(DISTINCT ?s)") -> dict[URIRef, int]:
        rows = self.service.select(f"SELECT ?key ({count} AS ?n) WHERE {{ {pattern} }} GROUP BY ?key")
        found: dict[URIRef, int] = {}
        for row in rows:
            key = row.get("key")
            if not row or (key is None and self._number(row.get("n")) == 0):  # some have one group of no solutions
                continue
            if isinstance(key, URIRef) and key not in found:
                found[key] = self._number(row.get("n"))
            elif key is None or key in found:
                self._odd(label)
        return found

    def _number(self, term: Term | None) -> int:
        text = str(term)
        return int(text) if text.isascii() and text.isdigit() and len(text) < 16 else self._odd("a count")

    def _select(self, query: str, variable: str) -> list[Term]:
        return [row[variable] for row in self.service.select(query) if variable in row]

    def _odd(self, label: str) -> int:
        raise unusable(
            self.service.shown,
            f"answers another question than it was asked ({label})",
            "look at the service; is it a SPARQL 1.1 service?",
        )


def _text(iri: URIRef) -> str:
    try:
        return iri_text(iri)
    except Nonsense as nonsense:  # never from a service, whose terms are looked at when they come
        raise unusable(str(iri), str(nonsense), "mend the store") from None


def _quoted(text: str) -> str:
    return f'"{text}"'


def _anywhere(pattern: str, graph: str = "?h") -> str:
    """A pattern in the default graph or in any one named graph."""
    return f"{{ {pattern} }} UNION {{ GRAPH {graph} {{ {pattern} }} }}"


_CLAIM = _anywhere(f"?s a {_text(TC.Claim)}", "?i")
