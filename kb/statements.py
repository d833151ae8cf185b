"""Statements read from triples: what claims, rulings and cases have in common."""

import re
from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from rdflib import URIRef
from rdflib.namespace import DCTERMS, OWL, PROV, RDF, SKOS, XSD

from trayconcord.kb import namespaces as ns
from trayconcord.kb.grammar import ValueProblem
from trayconcord.kb.literals import number_of
from trayconcord.kb.model import Scope, Trouble, comparable, in_order
from trayconcord.kb.namespaces import BIBO, QUDT, TC, interned
from trayconcord.kb.triples import Properties, Triples
from trayconcord.kb.values import Choice, Membership, Nothing, Quantity, Recorded, Steps, YesNo
from trayconcord.kb.vocabulary import Vocabulary, unit_id

# These come up for every claim, and a namespace makes a term anew each time it is asked.
SOURCE = interned(DCTERMS.source)
OBTAINED = interned(TC.obtained)
LOCATOR = interned(BIBO.locator)
PRINTED = interned(TC.printed)
DERIVED = interned(PROV.wasDerivedFrom)
NOTE = interned(SKOS.note)

_FORMS = ((TC.min, TC.max), (TC.none,), (TC.choice,), (TC.yes,), (TC.exactly, TC.includes, TC.excludes), (TC.steps,))
_EXACT = (XSD.decimal, XSD.integer, OWL.rational)

_BESIDE = frozenset((SOURCE, OBTAINED, DERIVED, LOCATOR, NOTE, PRINTED))
"""What a claim says beside its statement."""

Statement = tuple[str, Scope, Recorded | None, tuple[Trouble, ...]]
"""Parameter, scope, value and troubles."""


class StatementReader:
    """Reads what claims and rulings have in common."""

    def __init__(self, subjects: Triples, vocabulary: Vocabulary) -> None:
        self.subjects, self.vocabulary = subjects, vocabulary
        self._read: dict[tuple[int, ...], Statement] = {}

    def claim(self, subject: URIRef) -> tuple[dict[URIRef, Any], Statement]:
        """What a claim says beside its statement, the least of several values, and its statement. Where all that makes
        up the statement is the very same as another's, it is read once."""
        pairs = self.subjects.pairs[subject]
        told = []
        beside = {}
        for pair in pairs:
            if pair[0] in _BESIDE:
                beside[pair[0]] = pair[1]
            else:
                told.append(id(pair))
        if len(told) + len(beside) < len(pairs):
            beside = {predicate: min(self.subjects[subject][predicate]) for predicate in beside}
        key = tuple(told)
        statement = self._read.get(key)
        if statement is None:
            statement = self._read[key] = self.statement(self.subjects[subject])
        return beside, statement

    def statement(self, about: Properties) -> Statement:
        """Parameter, scope, value, and what is the matter; the value is None where it cannot be compared."""
        troubles: list[Trouble] = []
        when = self.scope(about, troubles)
        parameter_id = id_of(about, TC.parameter, ns.PARAMETER)
        parameter = self.vocabulary.parameters.get(parameter_id)
        if parameter is None:
            troubles.append(Trouble("unknown-term", f"parameter {parameter_id or 'missing'}"))
            return parameter_id, when, None, tuple(troubles)
        value: Recorded | None = None
        try:
            value = self.value(about, parameter.scheme, troubles)
            if value is None:
                troubles.append(Trouble("malformed-value", "no value"))
            else:
                comparable(value, parameter, self.vocabulary)
        except ValueProblem as problem:
            troubles.append(Trouble(problem.rule, problem.message))
        except ValueError as error:
            troubles.append(Trouble("malformed-value", str(error)))
        return parameter_id, when, None if troubles else value, tuple(troubles)

    def scope(self, about: Properties, troubles: list[Trouble]) -> Scope:
        when: dict[str, str] = {}
        for predicate, values in about.items():
            if not predicate.startswith(ns.AXIS):
                continue
            axis_id = ns.local(predicate, ns.AXIS)
            axis = self.vocabulary.axes.get(axis_id)
            if axis is None:
                troubles.append(Trouble("unknown-term", f"condition axis {axis_id}"))
                continue
            if len(values) > 1:
                troubles.append(Trouble("malformed-value", f"{axis.label} is given {len(values)} times"))
            concept_id = ns.local(str(min(values)), ns.CONCEPT)
            concept = self.vocabulary.concepts.get(concept_id)
            if concept is None or axis.scheme not in concept.schemes:
                troubles.append(Trouble("unknown-term", f"{axis.label}: {concept_id}"))
            else:
                when[axis_id] = concept_id
        return in_order(when, self.vocabulary)

    def value(self, about: Properties, scheme: str | None, troubles: list[Trouble]) -> Recorded | None:
        forms = [form for form in _FORMS if any(predicate in about for predicate in form)]
        if len(forms) > 1:
            raise ValueProblem("malformed-value", f"{len(forms)} kinds of value in one claim", "keep one")
        for predicate in (TC.parameter, QUDT.hasUnit, TC.choice, TC.yes, TC.none, TC.exactly, TC.steps, TC.min, TC.max):
            if len(about.get(predicate, ())) > 1:
                name = re.split(r"[/#]", predicate)[-1]
                raise ValueProblem(
                    "malformed-value", f"{len(about[predicate])} values of {name} where one belongs", "keep one"
                )
        if TC.min in about or TC.max in about:
            if QUDT.hasUnit not in about:
                raise ValueProblem("malformed-value", "a quantity without a unit", "add its unit")
            low, high = (self.number(about, predicate) for predicate in (TC.min, TC.max))
            return Quantity(low, high, unit_id(str(about[QUDT.hasUnit][0])), flag_of(about, TC.about))
        if flag_of(about, TC.none):
            return Nothing()
        if TC.choice in about:
            return Choice(self.concepts(about[TC.choice], scheme, troubles)[0])
        if TC.yes in about:
            return YesNo(flag_of(about, TC.yes))
        if TC.exactly in about:
            includes, excludes = (
                frozenset(self.concepts(about.get(predicate, ()), scheme, troubles))
                for predicate in (TC.includes, TC.excludes)
            )
            if includes & excludes:
                raise ValueProblem("malformed-value", f"{min(includes & excludes)} is both in and out", "keep one")
            return Membership(includes, excludes, flag_of(about, TC.exactly))
        if TC.steps in about:
            return Steps(tuple(self.concepts(members_of(self.subjects, about, TC.steps), scheme, troubles)))
        return None

    def number(self, about: Properties, predicate: URIRef) -> Fraction | None:
        if predicate not in about:
            return None
        literal = about[predicate][0]
        if getattr(literal, "datatype", None) not in _EXACT:
            raise ValueProblem("malformed-value", f"{literal} is not an exact decimal", "write it as xsd:decimal")
        return number_of(literal)

    def concepts(self, values: Iterable[Any], scheme: str | None, troubles: list[Trouble]) -> list[str]:
        ids = [ns.local(str(value), ns.CONCEPT) for value in values]
        for identifier in ids:
            concept = self.vocabulary.concepts.get(identifier)
            if concept is None or (scheme is not None and scheme not in concept.schemes):
                troubles.append(Trouble("unknown-term", identifier))
        return ids


def text_of(about: Properties, predicate: URIRef) -> str:
    """The value of a property as text, the least of several; empty where there is none."""
    values = about.get(predicate)
    return str(values[0] if len(values) == 1 else min(values)) if values else ""


def id_of(about: Properties, predicate: URIRef, family: str) -> str:
    """The id that a property names, of a family of IRIs."""
    return ns.local(text_of(about, predicate), family)


def flag_of(about: Properties, predicate: URIRef) -> bool:
    """Whether a property says true; what is neither true nor false is a `ValueProblem`."""
    text = text_of(about, predicate)
    if text not in ("", "true", "false", "1", "0"):
        raise ValueProblem("malformed-value", f"{text} is neither true nor false", "write true or false")
    return text in ("true", "1")


def members_of(subjects: Triples, about: Properties, predicate: URIRef) -> list[Any]:
    """The members of the sequence that a property leads to, in order."""
    seq = next(iter(about.get(predicate, ())), None)
    members: Properties = subjects.get(seq, {}) if seq is not None else {}
    prefix = str(RDF) + "_"
    numbered = [
        (int(p[len(prefix) :]), values[0])
        for p, values in members.items()
        if p.startswith(prefix) and p[len(prefix) :].isdigit()
    ]
    return [value for _, value in sorted(numbered)]
