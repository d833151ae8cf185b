"""The vocabulary read from its triples. The only place that knows which property of a term says what."""

from typing import Any

from rdflib import URIRef
from rdflib.namespace import DCTERMS, SKOS

from trayconcord.kb import namespaces as ns
from trayconcord.kb.identifiers import is_plain
from trayconcord.kb.literals import number_of
from trayconcord.kb.namespaces import QUDT, TC, interned
from trayconcord.kb.triples import Properties, Triples
from trayconcord.kb.vocabulary import (
    Axis,
    Caution,
    Chapter,
    Concept,
    GaugeSystem,
    Parameter,
    SourceKind,
    Term,
    Unit,
    Vocabulary,
    WrongAnswer,
    unit_id,
)

_LABEL, _ALT, _DEFINITION = map(interned, (SKOS.prefLabel, SKOS.altLabel, SKOS.definition))
_IN_SCHEME, _BROADER, _RELATED = map(interned, (SKOS.inScheme, SKOS.broader, SKOS.related))
_NOTATION, _NOTE, _SOURCE = map(interned, (SKOS.notation, SKOS.scopeNote, DCTERMS.source))


def read_vocabulary(triples: Triples) -> Vocabulary:
    """Build the vocabulary from the triples that hold it."""
    read: dict[URIRef, Properties] = {}

    def values(subject: URIRef, predicate: URIRef) -> list[Any]:
        about = read.get(subject)
        if about is None:
            about = read[subject] = triples[subject]
        return about.get(predicate, [])

    def value(subject: URIRef, predicate: URIRef) -> Any:
        return next(iter(values(subject, predicate)), None)

    def text(subject: URIRef, predicate: URIRef) -> str:
        return str(value(subject, predicate) or "")

    def name(subject: URIRef, family: str) -> Term:
        identifier = ns.local(str(subject), family)
        if family and not is_plain(identifier):  # files and pages are named by it
            raise ValueError(f"{identifier[:80]!r} cannot be an id: use small letters, digits and single hyphens")
        return Term(
            id=identifier,
            label=text(subject, _LABEL),
            alt=tuple(sorted(str(alt) for alt in values(subject, _ALT))),
            definition=text(subject, _DEFINITION),
            order=int(text(subject, TC.order) or 0),
        )

    def base(term: Term) -> tuple[str, str, tuple[str, ...], str, int]:
        return term.id, term.label, term.alt, term.definition, term.order

    def members(cls: URIRef) -> list[URIRef]:
        return sorted(triples.of_type(cls), key=lambda subject: (int(text(subject, TC.order) or 0), str(subject)))

    def plain(cls: URIRef, family: str) -> dict[str, Term]:
        return {term.id: term for term in (name(subject, family) for subject in members(cls))}

    def ids(subject: URIRef, predicate: URIRef, family: str) -> list[str]:
        return sorted(ns.local(str(value), family) for value in values(subject, predicate))

    axes = {
        term.id: Axis(
            *base(term),
            ns.local(text(subject, TC.scheme), ns.SCHEME),
            text(subject, TC.question),
            text(subject, TC.prefix),
            bool(values(subject, TC.ofCase)),
        )
        for subject in members(TC.Axis)
        for term in [name(subject, ns.AXIS)]
    }
    concepts = {
        term.id: Concept(
            *base(term),
            tuple(ids(subject, _IN_SCHEME, ns.SCHEME)),
            next(iter(ids(subject, _BROADER, ns.CONCEPT)), None),
            tuple(sorted(str(code) for code in values(subject, _NOTATION))),
            tuple(ids(subject, _RELATED, ns.CONCEPT)),
            text(subject, TC.kept),
            tuple(ids(subject, TC.onlyWith, ns.CONCEPT)),
            tuple(ids(subject, TC.shows, ns.PARAMETER)),
            text(subject, TC.holdPoint),
            tuple(ids(subject, TC.unlessNone, ns.PARAMETER)),
            bool(values(subject, TC.saysNone)),
        )
        for subject in members(TC.Concept)
        for term in [name(subject, ns.CONCEPT)]
    }
    units = {
        unit_id(subject): Unit(
            unit_id(subject),
            *base(name(subject, ""))[1:],
            str(subject),
            text(subject, QUDT.symbol),
            text(subject, QUDT.hasQuantityKind),
            number_of(value(subject, QUDT.conversionMultiplier)),
        )
        for subject in members(QUDT.Unit)
    }
    gauges = {
        unit_id(system): GaugeSystem(
            unit_id(system),
            *base(name(system, ""))[1:],
            text(system, QUDT.symbol),
            {
                int(text(size, TC.gaugeNumber)): number_of(value(size, TC.millimetres))
                for size in triples.subjects(TC.gaugeSystem, system)
            },
        )
        for system in members(TC.GaugeSystem)
    }
    parameters = {}
    for subject in members(TC.Parameter):
        term = name(subject, ns.PARAMETER)
        low, high = value(subject, TC.plausibleMin), value(subject, TC.plausibleMax)
        none_means = value(subject, TC.noneMeans)
        parameters[term.id] = Parameter(
            *base(term),
            kind=ns.local(text(subject, TC.valueKind), ns.VALUE_KIND),
            unit=unit_id(text(subject, QUDT.hasUnit)),
            chapter=ns.local(text(subject, TC.chapter), ns.CHAPTER),
            scheme=ns.local(text(subject, TC.scheme), ns.SCHEME) or None,
            tolerance=number_of(value(subject, TC.tolerance) or 0),
            plausible=(number_of(low), number_of(high)) if low is not None and high is not None else None,
            none_means=number_of(none_means) if none_means is not None else None,
            depends_on=tuple(sorted(ids(subject, TC.dependsOn, ns.AXIS), key=list(axes).index)),
            question=text(subject, TC.question),
            note=text(subject, _NOTE),
            closed_list=bool(values(subject, TC.closedList)),
            as_measured=bool(values(subject, TC.asMeasured)),
            needs_beside=text(subject, TC.needsBeside),
            reads=text(subject, TC.reads),
            stem=text(subject, TC.stem),
            stem_not=text(subject, TC.stemNot),
            stem_case=text(subject, TC.stemCase),
            stem_none=text(subject, TC.stemNone),
            affirms=text(subject, TC.affirms),
            on_tray=text(subject, TC.onTray),
        )
    return Vocabulary(
        parameters=parameters,
        axes=axes,
        concepts=concepts,
        schemes=plain(SKOS.ConceptScheme, ns.SCHEME),
        units=units,
        gauges=gauges,
        chapters={
            term.id: Chapter(*base(term), bool(values(subject, TC.planned)))
            for subject in members(TC.Chapter)
            for term in [name(subject, ns.CHAPTER)]
        },
        kinds={
            term.id: SourceKind(*base(term), int(text(subject, TC.strength) or 0))
            for subject in members(TC.SourceKind)
            for term in [name(subject, ns.KIND)]
        },
        obtained=plain(TC.Obtained, ns.OBTAINED),
        cautions={
            term.id: Caution(
                *base(term),
                tuple(ids(subject, TC.arisesFrom, ns.CONCEPT)),
                tuple(ids(subject, TC.arisesWith, ns.PARAMETER)),
                tuple(sorted(str(code) for code in values(subject, TC.hazardStatement))),
                tuple(ids(subject, _SOURCE, ns.SOURCE)),
            )
            for subject in members(TC.Caution)
            for term in [name(subject, ns.CAUTION)]
        },
        wrong_answers={
            term.id: WrongAnswer(
                *base(term),
                tuple(ids(subject, TC.wrongFor, ns.PARAMETER)),
                next(iter(ids(subject, _RELATED, ns.CONCEPT)), ""),
                tuple(ids(subject, TC.contraryTo, ns.CONCEPT)),
            )
            for subject in members(TC.WrongAnswer)
            for term in [name(subject, ns.WRONG_ANSWER)]
        },
    )
