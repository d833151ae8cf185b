"""A store in parts: what concerns one parameter, a part for each, and the rest.

No rule of the shipped book looks at two parameters at once, so the findings of the parts together are those of the
whole. A part knows every source, but tells of none: its triples are those of its own records.
"""

from collections.abc import Callable, Container, Iterator, Mapping
from dataclasses import replace

from rdflib import URIRef
from rdflib.namespace import RDFS

from trayconcord.kb import namespaces as ns
from trayconcord.kb.errors import Place
from trayconcord.kb.marking import MarkingItem, MarkingPolicy
from trayconcord.kb.model import Ruling
from trayconcord.kb.records import read_claims
from trayconcord.kb.store import Store, of_triples
from trayconcord.kb.triples import Triples
from trayconcord.kb.turtle import bulk


class Uncut(Exception):
    """The store cannot be cut surely: it has to be taken as a whole."""


class Parts:
    """The parts of a store. Its triples come without the claims on parameters that the vocabulary has."""

    def __init__(self, triples: Triples, places: Mapping[URIRef, Place]) -> None:
        self.base = of_triples(triples, places)
        self._known = self.base.vocabulary.parameters
        self._classes = Triples(
            (cls, predicate, value) for cls in triples.of_type(RDFS.Class) for predicate, value in triples.pairs[cls]
        )

    def parameters(self, claimed: Container[str]) -> list[str]:
        """The parameters that there are parts for, in the order of the vocabulary: those on which there are claims, and
        all others that somebody speaks of."""
        base = self.base
        asked = {ask for case in base.cases for ask in case.asks}
        asked |= {ruling.parameter for ruling in base.rulings}
        asked |= {item.parameter for item in base.marking.items} if base.marking else set()
        return [parameter for parameter in self._known if parameter in claimed or parameter in asked]

    def part(self, parameter: str, claims: Triples, places: Mapping[URIRef, Place]) -> Store:
        """What concerns a parameter, given the triples of the claims on it, with their lists, and where they stand."""
        base = self.base
        rulings = [ruling for ruling in base.rulings if ruling.parameter == parameter]
        marking = _with_items(base.marking, lambda item: item.parameter == parameter)
        triples = Triples()
        for more in (claims, self._classes):
            triples.update(more)
        for subject in _subjects(rulings, marking):
            triples.pairs[subject] = base.triples.pairs[subject]
        with bulk():
            return replace(
                base,
                triples=triples,
                claims=read_claims(claims, base.vocabulary),
                rulings=rulings,
                cases=[
                    replace(case, asks=tuple(ask for ask in case.asks if ask == parameter))
                    for case in base.cases
                    if not case.troubles
                ],
                places=_Both(places, base.places),
                marking=marking and replace(marking, troubles=()),
            )

    def rest(self) -> Store:
        """What concerns no parameter: the sources, and records that cannot be read far enough."""
        base = self.base
        told = [ruling for ruling in base.rulings if ruling.parameter in self._known]
        triples = Triples()
        triples.update(base.triples)
        for subject in _subjects(told, _with_items(base.marking, lambda item: item.parameter in self._known)):
            del triples.pairs[subject]
        return replace(
            base,
            triples=triples,
            rulings=[ruling for ruling in base.rulings if ruling.parameter not in self._known],
            cases=[replace(case, asks=()) for case in base.cases],
            marking=_with_items(base.marking, lambda item: item.parameter not in self._known),
        )


def _subjects(rulings: list[Ruling], marking: MarkingPolicy | None) -> list[URIRef]:
    """The rulings, and the items of a policy, as subjects of triples."""
    items = marking.items if marking else ()
    return [ns.iri(ns.RULING, ruling.id) for ruling in rulings] + [ns.iri(ns.MARKING, item.id) for item in items]


def _with_items(policy: MarkingPolicy | None, wanted: Callable[[MarkingItem], bool]) -> MarkingPolicy | None:
    return policy and replace(policy, items=tuple(item for item in policy.items if wanted(item)))


class _Both(Mapping[URIRef, Place]):
    """Two mappings as one; the first is asked first."""

    def __init__(self, first: Mapping[URIRef, Place], second: Mapping[URIRef, Place]) -> None:
        self._first, self._second = first, second

    def __getitem__(self, subject: URIRef) -> Place:
        found = self._first.get(subject)
        return self._second[subject] if found is None else found

    def __iter__(self) -> Iterator[URIRef]:
        return iter(dict.fromkeys([*self._first, *self._second]))

    def __len__(self) -> int:
        return len(self._first.keys() | self._second.keys())
