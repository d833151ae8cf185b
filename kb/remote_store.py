"""A store whose claims lie in a SPARQL service. The vocabulary, and the layers laid over it, come from files.

Claims are read by parameter, then sources, rulings and cases by class, each in pages. What `publish` put there comes
back as it was, down to the line of each subject: the graphs of its catalogue are counted, and one of which something
is missing is read as a whole.
"""

from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path, PurePath

from rdflib import Literal, URIRef
from rdflib.namespace import RDF, RDFS

from trayconcord.kb import namespaces as ns
from trayconcord.kb.catalogue import BOOKKEEPING, CATALOGUE, RETIRED, Triple, graph_of, reading_rank, respelt
from trayconcord.kb.errors import Place, unusable
from trayconcord.kb.namespaces import BIBO, TC
from trayconcord.kb.publish_lock import occupied
from trayconcord.kb.records import read_claims
from trayconcord.kb.remote_pages import Contents, Pages, Partition, Quad
from trayconcord.kb.retired import Retired, retired_of
from trayconcord.kb.sparql_service import Service, changed
from trayconcord.kb.sparql_terms import Term
from trayconcord.kb.store import Store, layer_files, of_triples, read_layers, retired_in
from trayconcord.kb.triples import Triples
from trayconcord.kb.turtle import bulk

RECORDS = (TC.Source, TC.Ruling, TC.FormerRuling, TC.Case, TC.MarkingPolicy, TC.MarkingItem)
"""What is read besides claims. Classes that the ontology does not know are read too: one may be misspelt."""

LISTS = frozenset((TC.steps, BIBO.authorList))
"""Properties whose value is a list with an IRI of its own."""

_TYPE = frozenset((RDF.type,))
"""Membership of a set is looked up by hash: rdflib compares two terms at ten times the cost."""


def load_remote(service: Service, layers: list[Path] | None = None) -> Store:
    """Load the store that a service holds, with the given layers over it. Raises `UnusableInput`.

    A document of a layer takes the place of the published one of the same name. The records are held, as those of
    files are; of the answers of the service never more than one page.
    """
    with bulk():
        triples, places = of_files(layers)
        try:
            reading = Reading(service, triples, places, layer_files(layers or [], True, {}))
            reading.read()
        finally:
            service.close()
        retired = list(dict.fromkeys([*reading.retired, *retired_in(layers, only=True)]))
        return replace(of_triples(triples, places), retired=retired)


def of_files(layers: list[Path] | None) -> tuple[Triples, dict[URIRef, Place]]:
    """What comes from files, free to be added to."""
    triples, places = read_layers(layers, only=True)
    return Triples(triples.triples()), dict(places)


def stores_by_parameter(
    service: Service, layers: list[Path] | None = None, parameter: str | None = None
) -> Iterator[Store]:
    """The store that a service holds, one parameter at a time, in the order of the vocabulary; or just one of them.

    Each part has all sources, rulings and cases, and the claims on its parameter; its graph holds the triples of these
    claims alone. Enough for a comparison, and never more than one parameter's claims are held. Raises `UnusableInput`.
    """
    try:
        with bulk():
            triples, places = of_files(layers)
            reading = Reading(service, triples, places, layer_files(layers or [], True, {}))
            reading.read_records()
            base = of_triples(triples, places)
        for name in [parameter] if parameter is not None else base.vocabulary.parameters:
            if name not in base.vocabulary.parameters:
                yield replace(base, claims=[])
                continue
            with bulk():
                claims, where = reading.claims_on(ns.iri(ns.PARAMETER, name), base.triples, base.places)
                found = [claim for claim in read_claims(claims, base.vocabulary) if claim.parameter == name]
            yield replace(base, triples=claims, claims=found, places=where)
        reading.confirm()
    finally:
        service.close()


class Reading:
    """One reading of a service. Whatever does not fit together raises `UnusableInput`."""

    def __init__(self, service: Service, triples: Triples, places: dict[URIRef, Place], files: Iterable[str]) -> None:
        """``triples`` and ``places`` hold what comes from ``files``."""
        self.pages, self.triples, self.places = Pages(service), triples, places
        self.known = {*triples.of_type(RDFS.Class), TC.RetiredId}
        self.contents = self.pages.contents()
        hidden = {graph_of(*PurePath(name).parts[-2:]) for name in files}
        hidden |= {name for name in self.contents.catalogue if name.startswith(graph_of("vocabulary", ""))}
        self.passed_over = {CATALOGUE, RETIRED} | (hidden & self.contents.catalogue.keys())
        self.done: set[URIRef] = set()
        self.claims = 0
        self.given: dict[URIRef, int] = {}
        self.retired: list[Retired] = []

    def read(self) -> None:
        """Read everything, and see that it was still the same at the end."""
        self._look()
        for partition in self._partitions(self.contents):
            self._take(self.pages.read(partition))
        self._complete()
        self.confirm()

    def read_records(self) -> None:
        """Read everything but the claims."""
        self._look()
        for cls in RECORDS:
            self._take(self.pages.read(self.pages.of_class(cls, self.contents.classes.get(cls, 0))))

    def read_others(self, parameters: Container[URIRef]) -> None:
        """Read the claims on none of these parameters, and the subjects of classes that nobody knows."""
        for parameter, count in sorted(self.contents.claims.items()):
            if parameter not in parameters:
                self._take(self.pages.read(self.pages.of_parameter(parameter, count)))
        self._take(self.pages.read(self.pages.without_parameter()))
        for cls, count in sorted(self.contents.classes.items()):
            if cls not in (TC.Claim, *RECORDS) and cls not in self.known:
                self._take(self.pages.read(self.pages.of_class(cls, count)))

    def claims_on(
        self, parameter: URIRef, told: Triples, stands: Mapping[URIRef, Place]
    ) -> tuple[Triples, dict[URIRef, Place]]:
        """The triples of the claims on a parameter, and where they stand, together with what is ``told`` of them beside
        the service, and where that ``stands``."""
        records, count = self.done, self.contents.claims.get(parameter, 0)
        self.triples, self.places, self.done = Triples(), {}, set(records)
        self._take(self.pages.read(self.pages.of_parameter(parameter, count)))
        of_files = [s for s in told.of_type(TC.Claim) if parameter in told[s].get(TC.parameter, ())]
        waiting = [*of_files, *(self.done - records)]
        for subject in waiting:
            for predicate, value in told.pairs.get(subject, ()):
                self.triples.add((subject, predicate, value))
                if predicate in LISTS and isinstance(value, URIRef):
                    waiting.append(value)
            if subject in stands:
                self._place_subject(subject, [(stands[subject], True)])
        self.done = records
        return self.triples, self.places

    def is_complete(self) -> bool:
        """Whether all claims have come, and all that the published graphs say."""
        counts = self.pages.triples_by_graph()
        graphs = self.contents.catalogue.keys() - self.passed_over
        return self.claims == self.contents.classes.get(TC.Claim, 0) and all(
            self.given.get(graph, 0) == counts.get(graph, 0) for graph in graphs
        )

    def confirm(self) -> None:
        """See that the service holds what it held at the beginning."""
        if self.pages.contents() != self.contents:
            raise changed(self.pages.service, "it holds something else now than at the beginning")

    def _look(self) -> None:
        shown = self.pages.service.shown
        if self.contents.busy:
            raise occupied(self.pages.service)
        if not any(self.contents.classes.get(cls) for cls in (TC.Claim, *RECORDS)):
            raise unusable(shown, "holds no claims", "check the address, or put them there with trayconcord publish")

    def _partitions(self, contents: Contents) -> Iterator[Partition]:
        for parameter, count in sorted(contents.claims.items()):
            yield self.pages.of_parameter(parameter, count)
        claims = contents.classes.get(TC.Claim, 0)
        if self.claims < claims:
            yield self.pages.without_parameter()
        if self.claims != claims:
            raise changed(self.pages.service, f"{claims} claims counted, {self.claims} given")
        for cls, count in sorted(contents.classes.items()):
            if cls in RECORDS or cls not in self.known:
                yield self.pages.of_class(cls, count)

    def _complete(self) -> None:
        """Read as a whole each published graph that says more than has come, and see that nothing is missing."""
        counts = self.pages.triples_by_graph()
        self._read_retired(counts)
        for graph in sorted(self.contents.catalogue):
            if graph in self.passed_over:
                continue
            if self.given.get(graph, 0) < counts.get(graph, 0):
                self._take(self.pages.read(self.pages.of_graph(graph)))
            if self.given.get(graph, 0) != counts.get(graph, 0):
                told = f"{counts.get(graph, 0)} triples counted in {graph}, {self.given.get(graph, 0)} given"
                raise changed(self.pages.service, told)

    def _read_retired(self, counts: dict[URIRef, int]) -> None:
        """Read the retired ids, which are no part of the graph of a store."""
        if RETIRED not in self.contents.catalogue:
            return
        pages = self.pages.read(self.pages.of_graph(RETIRED))
        triples = [quad[1:] for page in pages for quad in page if quad[0] == RETIRED]
        if len(triples) != counts.get(RETIRED, 0):
            told = f"{counts.get(RETIRED, 0)} triples counted in {RETIRED}, {len(triples)} given"
            raise changed(self.pages.service, told)
        try:
            self.retired = retired_of(triples)
        except ValueError as error:
            raise unusable(
                self.pages.service.shown, f"says something odd in {RETIRED}: {error}", "run trayconcord publish again"
            ) from None

    def _take(self, pages: Iterator[list[Quad]]) -> None:
        for page in pages:
            lists = self._add(page)
            for more in self.pages.about(sorted(lists - self.done)):
                self._add(more)

    def _add(self, page: list[Quad]) -> set[URIRef]:
        """Add a page to the triples; returns the lists that it names."""
        triples: set[Triple] = set()
        spellings: list[tuple[URIRef, str]] = []
        lines: dict[tuple[URIRef, Term | None], int] = {}
        lists: set[URIRef] = set()
        claims: set[URIRef] = set()
        for graph, subject, predicate, value in page:
            if subject in self.done:
                continue
            if predicate in _TYPE and value == TC.Claim:
                claims.add(subject)
            if graph in self.passed_over:
                continue
            if isinstance(graph, URIRef):
                self.given[graph] = self.given.get(graph, 0) + 1
            line = lines.setdefault((subject, graph), 0)
            if predicate not in BOOKKEEPING:
                triples.add((subject, predicate, value))
                if predicate in LISTS and isinstance(value, URIRef):
                    lists.add(value)
            elif predicate == TC.spelling:
                spellings.append((subject, str(value)))
            elif isinstance(value, Literal) and value.isdigit():
                lines[subject, graph] = min(line or int(value), int(value))
        for triple in respelt(triples, spellings) if spellings else triples:
            self.triples.add(triple)
        places: dict[URIRef, list[tuple[Place, bool]]] = {}
        for (subject, graph), line in lines.items():
            places.setdefault(subject, []).append((self._place(graph, line), bool(line)))
        for subject, found in places.items():
            self._place_subject(subject, found)
        self.done |= {quad[1] for quad in page}
        self.claims += len(claims)
        return lists

    def _place(self, graph: object, line: int) -> Place:
        """A place in the document of a published graph; else the graph, and for the default graph the service."""
        if not isinstance(graph, URIRef):
            return Place(self.pages.service.shown)
        published = self.contents.catalogue.get(graph)
        return Place(published.name, line) if published else Place(str(graph))

    def _place_subject(self, subject: URIRef, found: list[tuple[Place, bool]]) -> None:
        """Of several documents that speak of a subject, the one that would be loaded first has its place."""
        candidates = [place for place, has_line in found if has_line] or [found[0][0]]
        if subject in self.places:
            candidates.append(self.places[subject])
        self.places[subject] = min(candidates, key=lambda place: (reading_rank(place.file), place.line))
