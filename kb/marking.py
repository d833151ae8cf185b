"""Marking policies: what a course allows, counts and forgives when it marks a tray. As records and as triples."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from rdflib import Graph, Literal, URIRef
from rdflib.namespace import DCTERMS, RDF, XSD

from trayconcord.kb import namespaces as ns
from trayconcord.kb.grammar import ValueProblem
from trayconcord.kb.literals import number_literal
from trayconcord.kb.model import Scope, Trouble, comparable
from trayconcord.kb.namespaces import QUDT, TC
from trayconcord.kb.records import of_type, unit_iri
from trayconcord.kb.statements import StatementReader, text_of
from trayconcord.kb.triples import Properties, Triples
from trayconcord.kb.values import Interval, Quantity
from trayconcord.kb.vocabulary import Parameter, Vocabulary, unit_id

SITE_AXIS = "region"
"""The axis on which a measurement says where on the tray it was taken."""
LEFT_OUT, ZERO = "left-out", "zero"
"""What becomes of an item that was not measured: it does not count, or it counts as nothing."""
HALF = Fraction(1, 2)


@dataclass(frozen=True, slots=True)
class MarkingItem:
    """What a policy says of one parameter under conditions.

    ``sites`` are the places where it is to be looked at; none means the tray as a whole. ``tolerance`` and
    ``uncertainty`` are in the parameter's unit; ``tolerance_share`` is a part of each limit (1/10 for 10 %).
    ``borderline`` is the credit of a borderline item, where it differs from the policy's.
    """

    id: str
    parameter: str
    when: Scope = ()
    sites: tuple[str, ...] = ()
    weight: Fraction = Fraction(1)
    tolerance: Fraction | None = None
    tolerance_share: Fraction | None = None
    uncertainty: Fraction | None = None
    borderline: Fraction | None = None
    troubles: tuple[Trouble, ...] = ()


@dataclass(frozen=True, slots=True)
class MarkingPolicy:
    """How a course marks. ``pass_mark`` and ``borderline`` are parts of one; ``unmeasured`` is LEFT_OUT or ZERO."""

    items: tuple[MarkingItem, ...] = ()
    borderline: Fraction = HALF
    pass_mark: Fraction | None = None
    unmeasured: str = LEFT_OUT
    decided_on: str = ""
    decided_by: str = ""
    troubles: tuple[Trouble, ...] = ()


def policy_triples(graph: Graph, policy: MarkingPolicy, vocabulary: Vocabulary) -> None:
    """Add a policy and its items to a graph."""
    subject = ns.iri(ns.MARKING, ns.POLICY)
    graph.add((subject, RDF.type, TC.MarkingPolicy))
    graph.add((subject, TC.borderlineCredit, number_literal(policy.borderline)))
    graph.add((subject, TC.unmeasured, Literal(policy.unmeasured)))
    if policy.pass_mark is not None:
        graph.add((subject, TC.passMark, number_literal(policy.pass_mark)))
    if policy.decided_on:
        graph.add((subject, DCTERMS.date, Literal(policy.decided_on, datatype=XSD.date)))
    if policy.decided_by:
        graph.add((subject, TC.decidedBy, Literal(policy.decided_by)))
    for item in policy.items:
        _item_triples(graph, subject, item, vocabulary)


def _item_triples(graph: Graph, policy: URIRef, item: MarkingItem, vocabulary: Vocabulary) -> None:
    subject = ns.iri(ns.MARKING, item.id)
    graph.add((subject, RDF.type, TC.MarkingItem))
    graph.add((subject, DCTERMS.isPartOf, policy))
    graph.add((subject, TC.parameter, ns.iri(ns.PARAMETER, item.parameter)))
    for axis, concept in item.when:
        graph.add((subject, ns.iri(ns.AXIS, axis), ns.iri(ns.CONCEPT, concept)))
    for site in item.sites:
        graph.add((subject, TC.site, ns.iri(ns.CONCEPT, site)))
    for predicate, number in (
        (TC.weight, item.weight),
        (TC.toleranceQuantity, item.tolerance),
        (TC.toleranceShare, item.tolerance_share),
        (TC.uncertainty, item.uncertainty),
        (TC.borderlineCredit, item.borderline),
    ):
        if number is not None:
            graph.add((subject, predicate, number_literal(number)))
    if item.tolerance is not None or item.uncertainty is not None:
        graph.add((subject, QUDT.hasUnit, unit_iri(vocabulary.parameters[item.parameter].unit)))


def read_policy(subjects: Triples, vocabulary: Vocabulary) -> MarkingPolicy | None:
    """The marking policy among the subjects; what cannot be read becomes a trouble of the policy or of its item."""
    policies = of_type(subjects, TC.MarkingPolicy)
    items = tuple(_Reader(subjects, vocabulary).item(subject) for subject in of_type(subjects, TC.MarkingItem))
    order = {parameter: number for number, parameter in enumerate(vocabulary.parameters)}
    items = tuple(sorted(items, key=lambda item: (order.get(item.parameter, len(order)), len(item.when), item.id)))
    if not policies:
        return MarkingPolicy(items) if items else None
    return _Reader(subjects, vocabulary).policy(policies[0], items)


class _Reader(StatementReader):
    def policy(self, subject: URIRef, items: tuple[MarkingItem, ...]) -> MarkingPolicy:
        about, troubles = self.subjects[subject], list[Trouble]()
        unmeasured = text_of(about, TC.unmeasured) or LEFT_OUT
        if unmeasured not in (LEFT_OUT, ZERO):
            troubles.append(Trouble("malformed-value", f"{unmeasured} is neither {LEFT_OUT} nor {ZERO}"))
        borderline = self.part(about, TC.borderlineCredit, troubles)
        return MarkingPolicy(
            items,
            borderline=HALF if borderline is None else borderline,
            pass_mark=self.part(about, TC.passMark, troubles),
            unmeasured=unmeasured if unmeasured == ZERO else LEFT_OUT,
            decided_on=text_of(about, DCTERMS.date),
            decided_by=text_of(about, TC.decidedBy),
            troubles=tuple(troubles),
        )

    def item(self, subject: URIRef) -> MarkingItem:
        about, troubles = self.subjects[subject], list[Trouble]()
        when = self.scope(about, troubles)
        known = ns.local(text_of(about, TC.parameter), ns.PARAMETER)
        parameter = self.vocabulary.parameters.get(known)
        if parameter is None:
            troubles.append(Trouble("unknown-term", f"parameter {known or 'missing'}"))
        weight = self.positive(about, TC.weight, troubles)
        scheme = self.vocabulary.axes[SITE_AXIS].scheme if SITE_AXIS in self.vocabulary.axes else None
        sites = self.concepts(about.get(TC.site, ()), scheme, troubles)
        order = self.vocabulary.concepts
        return MarkingItem(
            id=ns.local(subject, ns.MARKING),
            parameter=known,
            when=when,
            sites=tuple(sorted(sites, key=lambda site: (order[site].order if site in order else 0, site))),
            weight=Fraction(1) if weight is None else weight,
            tolerance=self.in_unit(about, TC.toleranceQuantity, parameter, troubles),
            tolerance_share=self.positive(about, TC.toleranceShare, troubles),
            uncertainty=self.in_unit(about, TC.uncertainty, parameter, troubles),
            borderline=self.part(about, TC.borderlineCredit, troubles),
            troubles=tuple(troubles),
        )

    def positive(self, about: Properties, predicate: URIRef, troubles: list[Trouble]) -> Fraction | None:
        """A number that is not negative."""
        name = ns.local(predicate, str(TC))
        if len(about.get(predicate, ())) > 1:
            troubles.append(Trouble("malformed-value", f"{name} is given {len(about[predicate])} times"))
            return None
        try:
            number = self.number(about, predicate)
        except (ValueProblem, ValueError) as problem:
            troubles.append(Trouble("malformed-value", str(problem)))
            return None
        if number is not None and number < 0:
            troubles.append(Trouble("malformed-value", f"{name} is negative"))
            return None
        return number

    def part(self, about: Properties, predicate: URIRef, troubles: list[Trouble]) -> Fraction | None:
        """A number from 0 to 1."""
        number = self.positive(about, predicate, troubles)
        if number is not None and number > 1:
            troubles.append(Trouble("malformed-value", f"{ns.local(predicate, str(TC))} is more than 1"))
            return None
        return number

    def in_unit(
        self, about: Properties, predicate: URIRef, parameter: Parameter | None, troubles: list[Trouble]
    ) -> Fraction | None:
        """A quantity in the unit that the item names, turned into the parameter's."""
        number = self.positive(about, predicate, troubles)
        if number is None or parameter is None:
            return None
        stated: list[Any] = about.get(QUDT.hasUnit, [])
        unit = unit_id(str(stated[0])) if stated else parameter.unit
        try:
            value = comparable(Quantity(number, number, unit), parameter, self.vocabulary)
        except ValueProblem as problem:
            troubles.append(Trouble(problem.rule, problem.message))
            return None
        assert isinstance(value, Interval)
        return value.low
