"""Records as triples, and triples as records. The only place that knows which property says what."""

import re
from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from rdflib import Graph, Literal, URIRef
from rdflib.namespace import DC, DCTERMS, OWL, PROV, RDF, RDFS, SKOS, XSD

from trayconcord.kb import namespaces as ns
from trayconcord.kb.grammar import ValueProblem, exact_text
from trayconcord.kb.literals import number_literal, number_of
from trayconcord.kb.model import Case, Claim, Ruling, Scope, Source, Trouble, comparable, in_order
from trayconcord.kb.namespaces import BIBO, QUDT, TC
from trayconcord.kb.values import Choice, Membership, Nothing, Quantity, Recorded, Steps, YesNo
from trayconcord.kb.vocabulary import Vocabulary, unit_id

Properties = dict[URIRef, list[Any]]
"""What the graph says of one subject."""


# --- writing ---------------------------------------------------------------------------------------------------------


def source_triples(graph: Graph, source: Source) -> None:
    """Add a source's bibliographic record to a graph."""
    subject = ns.iri(ns.SOURCE, source.id)
    graph.add((subject, RDF.type, TC.Source))
    for predicate, text in (
        (DCTERMS.title, source.title),
        (DCTERMS.isPartOf, source.container),
        (BIBO.doi, source.doi),
        (BIBO.isbn, source.isbn),
        (DC.language, source.language),
        (TC.withdrawn, source.withdrawn),
        (SKOS.note, source.note),
    ):
        if text:
            graph.add((subject, predicate, Literal(text)))
    if source.kind:
        graph.add((subject, DCTERMS.type, ns.iri(ns.KIND, source.kind)))
    if source.year:
        graph.add((subject, DCTERMS.issued, Literal(f"{source.year:04d}", datatype=XSD.gYear)))
    if source.edition_of:
        graph.add((subject, DCTERMS.isVersionOf, ns.iri(ns.SOURCE, source.edition_of)))
    for origin in source.compiled_from:
        graph.add((subject, PROV.wasDerivedFrom, ns.iri(ns.SOURCE, origin)))
    if source.authors:
        _sequence(graph, subject, BIBO.authorList, "authors", [Literal(author) for author in source.authors])


def claim_triples(graph: Graph, claim: Claim) -> None:
    """Add a claim to a graph."""
    subject = ns.iri(ns.CLAIM, claim.id)
    graph.add((subject, RDF.type, TC.Claim))
    graph.add((subject, DCTERMS.source, ns.iri(ns.SOURCE, claim.source)))
    _statement(graph, subject, claim.parameter, claim.when, claim.value, claim.printed)
    if claim.obtained:
        graph.add((subject, TC.obtained, ns.iri(ns.OBTAINED, claim.obtained)))
    if claim.reported_by:
        graph.add((subject, PROV.wasDerivedFrom, ns.iri(ns.SOURCE, claim.reported_by)))
    for predicate, text in ((BIBO.locator, claim.at), (SKOS.note, claim.note)):
        if text:
            graph.add((subject, predicate, Literal(text)))


def ruling_triples(graph: Graph, ruling: Ruling) -> None:
    """Add a ruling to a graph, or a former one, which points at what took its place."""
    subject = ns.iri(ns.RULING, ruling.id)
    current, former, _ = ruling.id.partition("#")
    graph.add((subject, RDF.type, TC.FormerRuling if former else TC.Ruling))
    if former:
        graph.add((subject, DCTERMS.isReplacedBy, ns.iri(ns.RULING, current)))
    _statement(graph, subject, ruling.parameter, ruling.when, ruling.value, ruling.printed)
    for predicate, text in (
        (TC.because, ruling.because),
        (TC.decidedBy, ruling.decided_by),
        (TC.withoutSource, ruling.without_source),
    ):
        if text:
            graph.add((subject, predicate, Literal(text)))
    for predicate, date in ((DCTERMS.date, ruling.decided_on), (TC.reviewBy, ruling.review_by)):
        if date:
            graph.add((subject, predicate, Literal(date, datatype=XSD.date)))
    for position in ruling.positions_then:
        graph.add((subject, TC.positionThen, Literal(position)))


def case_triples(graph: Graph, case: Case) -> None:
    """Add a taught case to a graph."""
    subject = ns.iri(ns.CASE, case.id)
    graph.add((subject, RDF.type, TC.Case))
    if case.label:
        graph.add((subject, RDFS.label, Literal(case.label)))
    for axis, concept in case.when:
        graph.add((subject, ns.iri(ns.AXIS, axis), ns.iri(ns.CONCEPT, concept)))
    for parameter in case.asks:
        graph.add((subject, TC.asks, ns.iri(ns.PARAMETER, parameter)))


def _statement(
    graph: Graph, subject: URIRef, parameter: str, when: Scope, value: Recorded | None, printed: str
) -> None:
    graph.add((subject, TC.parameter, ns.iri(ns.PARAMETER, parameter)))
    for axis, concept in when:
        graph.add((subject, ns.iri(ns.AXIS, axis), ns.iri(ns.CONCEPT, concept)))
    if printed:
        graph.add((subject, TC.printed, Literal(printed)))
    if value is not None:
        value_triples(graph, subject, value)


def value_triples(graph: Graph, subject: URIRef, value: Recorded) -> None:
    """Add what a subject states to a graph."""
    match value:
        case Nothing():
            graph.add((subject, TC.none, Literal(True)))
        case Quantity(low, high, unit, about):
            for predicate, end in ((TC.min, low), (TC.max, high)):
                if end is not None:
                    graph.add((subject, predicate, number_literal(end)))
            graph.add((subject, QUDT.hasUnit, unit_iri(unit)))
            if about:
                graph.add((subject, TC.about, Literal(True)))
        case Choice(concept):
            graph.add((subject, TC.choice, ns.iri(ns.CONCEPT, concept)))
        case YesNo(yes):
            graph.add((subject, TC.yes, Literal(yes)))
        case Membership(includes, excludes, exact):
            for predicate, members in ((TC.includes, includes), (TC.excludes, excludes)):
                for member in members:
                    graph.add((subject, predicate, ns.iri(ns.CONCEPT, member)))
            graph.add((subject, TC.exactly, Literal(exact)))
        case Steps(steps):
            _sequence(graph, subject, TC.steps, "steps", [ns.iri(ns.CONCEPT, step) for step in steps])


def _sequence(graph: Graph, subject: URIRef, predicate: URIRef, name: str, members: list[Any]) -> None:
    """An ordered list as an rdf:Seq with an IRI of its own, so that no blank node is needed."""
    seq = URIRef(f"{subject}{'-' if '#' in subject else '#'}{name}")
    graph.add((subject, predicate, seq))
    graph.add((seq, RDF.type, RDF.Seq))
    for number, member in enumerate(members, start=1):
        graph.add((seq, RDF[f"_{number}"], member))


def unit_iri(unit: str) -> URIRef:
    """The IRI of a unit id: our own for the trade's units, QUDT's for the rest."""
    return URIRef((ns.OWN_UNIT if unit.islower() else str(ns.UNIT)) + unit)


# --- reading ---------------------------------------------------------------------------------------------------------


def by_subject(graph: Graph) -> dict[URIRef, Properties]:
    """Every triple of a graph, by subject and predicate."""
    result: dict[URIRef, Properties] = {}
    for subject, predicate, value in graph:
        result.setdefault(subject, {}).setdefault(predicate, []).append(value)  # type: ignore[arg-type]
    return result


def read_sources(subjects: dict[URIRef, Properties]) -> dict[str, Source]:
    """The sources among the subjects, by id."""
    result = {}
    for subject in of_type(subjects, TC.Source):
        about = subjects[subject]
        year = text_of(about, DCTERMS.issued)
        source = Source(
            id=ns.local(subject, ns.SOURCE),
            title=text_of(about, DCTERMS.title),
            authors=tuple(str(author) for author in _members(subjects, about, BIBO.authorList)),
            year=int(year) if year.isdigit() else 0,
            kind=_id(about, DCTERMS.type, ns.KIND),
            container=text_of(about, DCTERMS.isPartOf),
            doi=text_of(about, BIBO.doi),
            isbn=text_of(about, BIBO.isbn),
            language=text_of(about, DC.language),
            withdrawn=text_of(about, TC.withdrawn),
            edition_of=_id(about, DCTERMS.isVersionOf, ns.SOURCE),
            compiled_from=tuple(sorted(ns.local(str(o), ns.SOURCE) for o in about.get(PROV.wasDerivedFrom, ()))),
            note=text_of(about, SKOS.note),
        )
        result[source.id] = source
    return result


def read_claims(subjects: dict[URIRef, Properties], vocabulary: Vocabulary) -> list[Claim]:
    """The claims among the subjects, by id; what cannot be read becomes a trouble of the claim."""
    reader = StatementReading(subjects, vocabulary)
    claims = []
    for subject in of_type(subjects, TC.Claim):
        about = subjects[subject]
        troubles: list[Trouble] = []
        parameter, when, value = reader.statement(about, troubles)
        obtained = _id(about, TC.obtained, ns.OBTAINED)
        if obtained and obtained not in vocabulary.obtained:
            troubles.append(Trouble("unknown-term", f"obtained: {obtained}"))
        claims.append(
            Claim(
                id=ns.local(subject, ns.CLAIM),
                source=_id(about, DCTERMS.source, ns.SOURCE),
                parameter=parameter,
                when=when,
                value=value,
                printed=_printed(about, value, vocabulary),
                at=text_of(about, BIBO.locator),
                obtained=obtained,
                reported_by=_id(about, PROV.wasDerivedFrom, ns.SOURCE),
                note=text_of(about, SKOS.note),
                troubles=tuple(troubles),
            )
        )
    return claims


def read_rulings(subjects: dict[URIRef, Properties], vocabulary: Vocabulary, cls: URIRef = TC.Ruling) -> list[Ruling]:
    """The rulings among the subjects, by id: those in force, or of the class ``tc:FormerRuling``."""
    reader = StatementReading(subjects, vocabulary)
    rulings = []
    for subject in of_type(subjects, cls):
        about = subjects[subject]
        troubles: list[Trouble] = []
        parameter, when, value = reader.statement(about, troubles)
        rulings.append(
            Ruling(
                id=ns.local(subject, ns.RULING),
                parameter=parameter,
                when=when,
                value=value,
                printed=text_of(about, TC.printed),
                because=text_of(about, TC.because),
                decided_on=text_of(about, DCTERMS.date),
                decided_by=text_of(about, TC.decidedBy),
                review_by=text_of(about, TC.reviewBy),
                without_source=text_of(about, TC.withoutSource),
                positions_then=tuple(sorted(str(line) for line in about.get(TC.positionThen, ()))),
                troubles=tuple(troubles),
            )
        )
    return rulings


def read_cases(subjects: dict[URIRef, Properties], vocabulary: Vocabulary) -> list[Case]:
    """The taught cases among the subjects, by id."""
    reader = StatementReading(subjects, vocabulary)
    cases = []
    for subject in of_type(subjects, TC.Case):
        about = subjects[subject]
        troubles: list[Trouble] = []
        asks = [ns.local(str(parameter), ns.PARAMETER) for parameter in about.get(TC.asks, ())]
        troubles += [Trouble("unknown-term", f"parameter {ask}") for ask in asks if ask not in vocabulary.parameters]
        known = sorted((ask for ask in asks if ask in vocabulary.parameters), key=list(vocabulary.parameters).index)
        when = reader.scope(about, troubles)
        cases.append(Case(ns.local(subject, ns.CASE), text_of(about, RDFS.label), when, tuple(known), tuple(troubles)))
    return cases


_FORMS = ((TC.min, TC.max), (TC.none,), (TC.choice,), (TC.yes,), (TC.exactly, TC.includes, TC.excludes), (TC.steps,))
_EXACT = (XSD.decimal, XSD.integer, OWL.rational)


class StatementReading:
    """Reads what claims, rulings and marking items have in common."""

    def __init__(self, subjects: dict[URIRef, Properties], vocabulary: Vocabulary) -> None:
        self.subjects, self.vocabulary = subjects, vocabulary

    def statement(self, about: Properties, troubles: list[Trouble]) -> tuple[str, Scope, Recorded | None]:
        """Parameter, scope and value; the value is None where it cannot be compared."""
        when = self.scope(about, troubles)
        parameter_id = _id(about, TC.parameter, ns.PARAMETER)
        parameter = self.vocabulary.parameters.get(parameter_id)
        if parameter is None:
            troubles.append(Trouble("unknown-term", f"parameter {parameter_id or 'missing'}"))
            return parameter_id, when, None
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
        return parameter_id, when, None if troubles else value

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
            return Quantity(low, high, unit_id(str(about[QUDT.hasUnit][0])), _flag(about, TC.about))
        if _flag(about, TC.none):
            return Nothing()
        if TC.choice in about:
            return Choice(self.concepts(about[TC.choice], scheme, troubles)[0])
        if TC.yes in about:
            return YesNo(_flag(about, TC.yes))
        if TC.exactly in about:
            includes, excludes = (
                frozenset(self.concepts(about.get(predicate, ()), scheme, troubles))
                for predicate in (TC.includes, TC.excludes)
            )
            if includes & excludes:
                raise ValueProblem("malformed-value", f"{min(includes & excludes)} is both in and out", "keep one")
            return Membership(includes, excludes, _flag(about, TC.exactly))
        if TC.steps in about:
            return Steps(tuple(self.concepts(_members(self.subjects, about, TC.steps), scheme, troubles)))
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


def _printed(about: Properties, value: Recorded | None, vocabulary: Vocabulary) -> str:
    """The printed text of a quantity; one without, as in Turtle written by hand, is spelt out."""
    return text_of(about, TC.printed) or (exact_text(value, vocabulary) if isinstance(value, Quantity) else "")


def of_type(subjects: dict[URIRef, Properties], cls: URIRef) -> list[URIRef]:
    return sorted(subject for subject, about in subjects.items() if cls in about.get(RDF.type, ()))


def text_of(about: Properties, predicate: URIRef) -> str:
    values = about.get(predicate)
    return str(values[0] if len(values) == 1 else min(values)) if values else ""


def _id(about: Properties, predicate: URIRef, family: str) -> str:
    return ns.local(text_of(about, predicate), family)


def _flag(about: Properties, predicate: URIRef) -> bool:
    text = text_of(about, predicate)
    if text not in ("", "true", "false", "1", "0"):
        raise ValueProblem("malformed-value", f"{text} is neither true nor false", "write true or false")
    return text in ("true", "1")


def _members(subjects: dict[URIRef, Properties], about: Properties, predicate: URIRef) -> list[Any]:
    seq = next(iter(about.get(predicate, ())), None)
    members: Properties = subjects.get(seq, {}) if seq is not None else {}
    prefix = str(RDF) + "_"
    numbered = [
        (int(p[len(prefix) :]), values[0])
        for p, values in members.items()
        if p.startswith(prefix) and p[len(prefix) :].isdigit()
    ]
    return [value for _, value in sorted(numbered)]
