"""Triples held by subject: compact, quick to fill, and enough to read records from and to judge flat shapes on.

rdflib's graph keeps three indices, which cost more time and memory than reading a store needs. What does need a graph
(an engine for arbitrary shapes, a serializer) is given one that these triples were added to.
"""

from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from typing import Any

from rdflib import URIRef
from rdflib.namespace import RDF

from trayconcord.kb.namespaces import TC, interned

Triple = tuple[URIRef, URIRef, Any]
Pair = tuple[URIRef, Any]
"""Predicate and object of a triple."""

Properties = dict[URIRef, list[Any]]
"""What is said of one subject, each value once."""

INDEXED = (RDF.type, TC.gaugeSystem)
"""The properties by whose values subjects are looked for."""


class Triples(Mapping[URIRef, Properties]):
    """A set of triples, as a mapping from each subject to its properties. Every predicate in it is `interned`."""

    def __init__(self, triples: Iterable[Any] = ()) -> None:
        self.pairs: dict[URIRef, list[Pair]] = {}
        """The pairs of each subject, as they were told: one told twice stands twice."""
        for triple in triples:
            self.add(triple)

    def add(self, triple: Any) -> None:
        """Add a triple. Not meant for triples that were `update`d from others."""
        subject, predicate, value = triple
        self.__dict__.pop("_index", None)
        self.pairs.setdefault(subject, []).append((interned(predicate), value))

    def update(self, other: "Triples") -> None:
        """Add the triples of another, which is left as it is."""
        self.__dict__.pop("_index", None)
        for subject, pairs in other.pairs.items():
            mine = self.pairs.get(subject)
            self.pairs[subject] = pairs if mine is None else mine + pairs

    def __getitem__(self, subject: URIRef) -> Properties:
        about: Properties = {}
        for predicate, value in self.pairs[subject]:
            values = about.get(predicate)
            if values is None:
                about[predicate] = [value]
            else:
                values.append(value)
        for predicate, values in about.items():
            if len(values) > 1:
                about[predicate] = list(dict.fromkeys(values))
        return about

    def __iter__(self) -> Iterator[URIRef]:
        return iter(self.pairs)

    def __len__(self) -> int:
        return len(self.pairs)

    def triples(self) -> Iterator[Triple]:
        """Every triple once."""
        for subject, pairs in self.pairs.items():
            for predicate, value in dict.fromkeys(pairs):
                yield subject, predicate, value

    def of_type(self, cls: URIRef) -> list[URIRef]:
        """The subjects that are of a class, in the order in which they were told of first."""
        return self.subjects(RDF.type, cls)

    def classes(self) -> list[Any]:
        """Every class that a subject is of."""
        return list(self._index[RDF.type])

    def subjects(self, predicate: URIRef, value: Any = None) -> list[URIRef]:
        """The subjects with a property, or with this value of it. The property is one of `INDEXED`."""
        index = self._index[predicate]
        lists = index.values() if value is None else [index.get(value, [])]
        return list(dict.fromkeys(subject for subjects in lists for subject in subjects))

    @cached_property
    def _index(self) -> dict[URIRef, dict[Any, list[URIRef]]]:
        index: dict[URIRef, dict[Any, list[URIRef]]] = {interned(predicate): {} for predicate in INDEXED}
        for subject, pairs in self.pairs.items():
            for predicate, value in pairs:
                if predicate in index:
                    index[predicate].setdefault(value, []).append(subject)
        return index
