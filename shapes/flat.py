"""Flat shapes: counts and classes of one property, judged for all nodes at once.

A part of SHACL Core (W3C 2017) that the shipped rules get by with: ``sh:minCount``, ``sh:maxCount`` and ``sh:class`` of
one predicate, for the instances of a class or the subjects of a property. An engine goes from node to node and from
constraint to constraint, and writes a graph of results; here each rule is a few operations on sets. What is judged is
read from the shapes themselves. A shape that says anything more, or says it in another way, is no flat one and is left
to pySHACL, which the tests hold this against, finding by finding.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from rdflib import Graph, Literal, URIRef
from rdflib.namespace import RDF, RDFS, SH, XSD

from trayconcord.kb.namespaces import TC, interned
from trayconcord.kb.triples import Triples
from trayconcord.shapes.rules import SEVERITIES, Rule

_TARGETS = {SH.targetClass, SH.targetSubjectsOf}
_TEXTS = {SH.message, SH.severity, TC.help}
_COUNTS = {SH.minCount, SH.maxCount}
_CONSTRAINTS = _COUNTS | {SH["class"]}
_RULE = _TARGETS | _TEXTS | {RDF.type}


@dataclass(frozen=True, slots=True)
class Constraint:
    """How often a property may stand, and the class that its values are of; each may be left open."""

    path: URIRef
    least: int
    most: int | None
    of_class: URIRef | None
    severity: str


@dataclass(frozen=True, slots=True)
class FlatShape:
    """Which nodes a rule looks at, and what must hold of them."""

    classes: tuple[URIRef, ...]
    subjects_of: tuple[URIRef, ...]
    constraints: tuple[Constraint, ...]


def flat_shape(graph: Graph, rule: Rule) -> FlatShape | None:
    """The rule's shape as a flat one; None where it says anything that is not read here."""
    about = _about(graph, rule.shape)
    if (None, RDF.type, SH.ConstraintComponent) in graph or not rule.message:
        return None
    targets = [about.get(target, []) for target in (SH.targetClass, SH.targetSubjectsOf)]
    if any(not isinstance(node, URIRef) for nodes in targets for node in nodes):
        return None
    if about.get(RDF.type) == [SH.PropertyShape]:
        constraints = [_constraint(about, _RULE, rule.severity)]
    elif about.get(RDF.type) == [SH.NodeShape] and about.keys() <= _RULE | {SH.property}:
        parts = about.get(SH.property, [])
        constraints = [_part(graph, part, rule.severity) for part in parts]
    else:
        return None
    found = tuple(constraint for constraint in constraints if constraint is not None)
    if len(found) != len(constraints) or len(about.get(SH.severity, [])) > 1:
        return None
    return FlatShape(tuple(targets[0]), tuple(targets[1]), found)


def _about(graph: Graph, shape: Any) -> dict[Any, list[Any]]:
    about: dict[Any, list[Any]] = {}
    for predicate, value in graph.predicate_objects(shape):
        about.setdefault(predicate, []).append(value)
    return about


def _part(graph: Graph, part: Any, severity: str) -> Constraint | None:
    """A property shape of a rule. One that other shapes refer to too is left to the engine to tell apart."""
    about = _about(graph, part)
    if about.get(RDF.type) != [SH.PropertyShape] or len(list(graph.subject_predicates(part))) != 1:
        return None
    stated = about.get(SH.severity, [])
    if len(stated) > 1:
        return None
    own = SEVERITIES.get(str(stated[0]), "violation") if stated else severity
    return _constraint(about, _TEXTS | {RDF.type}, own)


def _constraint(about: dict[Any, list[Any]], beside: set[URIRef], severity: str) -> Constraint | None:
    if not about.keys() <= beside | _CONSTRAINTS | {SH.path} or SH.path not in about:
        return None
    if any(len(about.get(predicate, [])) > 1 for predicate in _CONSTRAINTS | {SH.path}):
        return None
    (path,) = about[SH.path]
    counts = {predicate: about[predicate][0] for predicate in _COUNTS if predicate in about}
    of_class = about.get(SH["class"], [None])[0]
    if not isinstance(path, URIRef) or not isinstance(of_class, URIRef | None):
        return None
    if any(not (isinstance(n, Literal) and n.datatype == XSD.integer and str(n).isdigit()) for n in counts.values()):
        return None
    most = int(counts[SH.maxCount]) if SH.maxCount in counts else None
    return Constraint(interned(path), int(counts.get(SH.minCount, 0)), most, of_class, severity)


_ABOVE = FlatShape((), (RDFS.subClassOf,), ())
"""Looked at for the sake of what is below a class."""


class Judge:
    """Judges flat shapes on triples that may lie in several places."""

    def __init__(self, held: Iterable[Triples], shapes: Iterable[FlatShape]) -> None:
        self._held = list(held)
        self._told: dict[URIRef, dict[URIRef, list[Any]]] = {
            predicate: {}
            for shape in [*shapes, _ABOVE]
            for predicate in (*map(interned, shape.subjects_of), *(part.path for part in shape.constraints))
        }
        self._index()
        self._instances: dict[URIRef, set[URIRef]] = {}

    def _index(self) -> None:
        """Of each property that is looked at, its values by subject, each once."""
        told = self._told
        for triples in self._held:
            for subject, pairs in triples.pairs.items():
                for predicate, value in pairs:
                    if predicate in told:
                        told[predicate].setdefault(subject, []).append(value)
        for values_of in told.values():
            for subject, values in values_of.items():
                if len(values) > 1:
                    values_of[subject] = list(dict.fromkeys(values))

    def focus_nodes(self, shape: FlatShape) -> list[set[URIRef]]:
        """The nodes that a shape looks at, target by target; a node may be in several."""
        found = [self._of_class(cls) for cls in shape.classes]
        found += [set(self._told[interned(predicate)]) for predicate in shape.subjects_of]
        return [nodes for nodes in found if nodes]

    def failing(self, shape: FlatShape, targets: list[set[URIRef]]) -> set[tuple[URIRef, str]]:
        """Those of the nodes that break the shape, each with the severity of what it breaks."""
        return {(node, part.severity) for part in shape.constraints for node in self._breaking(part, targets)}

    def _breaking(self, part: Constraint, targets: list[set[URIRef]]) -> Iterator[URIRef]:
        told = self._told[part.path]
        if part.least:
            for nodes in targets:
                if part.least == 1:
                    yield from nodes - told.keys()
                else:
                    yield from (node for node in nodes if len(told.get(node, ())) < part.least)
        if part.most is None and part.of_class is None:
            return
        members = self._of_class(part.of_class) if part.of_class is not None else None
        for node, values in told.items():
            if any(node in nodes for nodes in targets) and (
                (part.most is not None and len(values) > part.most)
                or (members is not None and not all(value in members for value in values))
            ):
                yield node

    def _of_class(self, cls: URIRef) -> set[URIRef]:
        """The instances of a class and of those below it."""
        found = self._instances.get(cls)
        if found is None:
            above = self._told[interned(RDFS.subClassOf)]
            classes, count = {cls}, 0
            while len(classes) > count:
                count = len(classes)
                classes |= {node for node, parents in above.items() if not classes.isdisjoint(parents)}
            found = {node for each in classes for triples in self._held for node in triples.of_type(each)}
            self._instances[cls] = found
        return found
