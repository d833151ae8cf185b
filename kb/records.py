"""Records as triples, and triples as records. The only place that knows which property says what."""

from typing import Any

from rdflib import Graph, Literal, URIRef
from rdflib.namespace import DC, DCTERMS, PROV, RDF, RDFS, SKOS, XSD

from trayconcord.kb import namespaces as ns
from trayconcord.kb.grammar import exact_text
from trayconcord.kb.literals import number_literal
from trayconcord.kb.model import Case, Claim, Ruling, Scope, Source, Trouble
from trayconcord.kb.namespaces import BIBO, QUDT, TC, interned
from trayconcord.kb.statements import (
    DERIVED,
    LOCATOR,
    NOTE,
    OBTAINED,
    PRINTED,
    SOURCE,
    StatementReader,
    id_of,
    members_of,
    text_of,
)
from trayconcord.kb.triples import Triples
from trayconcord.kb.values import Choice, Membership, Nothing, Quantity, Recorded, Steps, YesNo
from trayconcord.kb.vocabulary import Vocabulary

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


# These come up for every claim, and a namespace makes a term anew each time it is asked.
_ISSUED = interned(DCTERMS.issued)
_TITLE = interned(DCTERMS.title)
_AUTHORS = interned(BIBO.authorList)
_TYPE = interned(DCTERMS.type)
_PART_OF = interned(DCTERMS.isPartOf)
_DOI = interned(BIBO.doi)
_ISBN = interned(BIBO.isbn)
_LANGUAGE = interned(DC.language)
_WITHDRAWN = interned(TC.withdrawn)
_VERSION_OF = interned(DCTERMS.isVersionOf)


def read_sources(subjects: Triples) -> dict[str, Source]:
    """The sources among the subjects, by id."""
    result = {}
    for subject in of_type(subjects, TC.Source):
        about = subjects[subject]
        year = text_of(about, _ISSUED)
        source = Source(
            id=ns.local(subject, ns.SOURCE),
            title=text_of(about, _TITLE),
            authors=tuple(str(author) for author in members_of(subjects, about, _AUTHORS)),
            year=int(year) if year.isdigit() else 0,
            kind=id_of(about, _TYPE, ns.KIND),
            container=text_of(about, _PART_OF),
            doi=text_of(about, _DOI),
            isbn=text_of(about, _ISBN),
            language=text_of(about, _LANGUAGE),
            withdrawn=text_of(about, _WITHDRAWN),
            edition_of=id_of(about, _VERSION_OF, ns.SOURCE),
            compiled_from=tuple(sorted(ns.local(str(o), ns.SOURCE) for o in about.get(DERIVED, ()))),
            note=text_of(about, NOTE),
        )
        result[source.id] = source
    return result


def read_claims(subjects: Triples, vocabulary: Vocabulary) -> list[Claim]:
    """The claims among the subjects, by id; what cannot be read becomes a trouble of the claim."""
    reader = StatementReader(subjects, vocabulary)
    claims = []
    ids: dict[Any, str] = {}

    def named(value: Any, family: str) -> str:
        found = ids.get(value)
        if found is None:
            found = ids[value] = ns.local(str(value), family)
        return found

    for subject in of_type(subjects, TC.Claim):
        beside, statement = reader.claim(subject)
        parameter, when, value, troubles = statement
        obtained = named(beside[OBTAINED], ns.OBTAINED) if OBTAINED in beside else ""
        if obtained and obtained not in vocabulary.obtained:
            troubles = (*troubles, Trouble("unknown-term", f"obtained: {obtained}"))
        claims.append(
            Claim(  # in the order of its fields: naming them takes longer than all that they are made of
                ns.local(subject, ns.CLAIM),
                named(beside[SOURCE], ns.SOURCE) if SOURCE in beside else "",
                parameter,
                when,
                value,
                (str(beside[PRINTED]) if PRINTED in beside else "") or _spelt_out(value, vocabulary),
                str(beside[LOCATOR]) if LOCATOR in beside else "",
                obtained,
                named(beside[DERIVED], ns.SOURCE) if DERIVED in beside else "",
                str(beside[NOTE]) if NOTE in beside else "",
                troubles,
            )
        )
    return claims


def read_rulings(subjects: Triples, vocabulary: Vocabulary, cls: URIRef = TC.Ruling) -> list[Ruling]:
    """The rulings among the subjects, by id: those in force, or of the class ``tc:FormerRuling``."""
    reader = StatementReader(subjects, vocabulary)
    rulings = []
    for subject in of_type(subjects, cls):
        about = subjects[subject]
        parameter, when, value, troubles = reader.statement(about)
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
                troubles=troubles,
            )
        )
    return rulings


def read_cases(subjects: Triples, vocabulary: Vocabulary) -> list[Case]:
    """The taught cases among the subjects, by id."""
    reader = StatementReader(subjects, vocabulary)
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


def _spelt_out(value: Recorded | None, vocabulary: Vocabulary) -> str:
    """What stands for the printed text of a quantity that has none, as in Turtle written by hand."""
    return exact_text(value, vocabulary) if isinstance(value, Quantity) else ""


def of_type(subjects: Triples, cls: URIRef) -> list[URIRef]:
    """The subjects of a class, by IRI."""
    return sorted(subjects.of_type(cls), key=str)
