"""The vocabulary read from its triples. The only place that knows which property of a term says what."""

from rdflib import Graph, URIRef
from rdflib.namespace import DCTERMS, RDF, SKOS

from trayconcord.kb import namespaces as ns
from trayconcord.kb.identifiers import is_plain
from trayconcord.kb.literals import number_of
from trayconcord.kb.namespaces import QUDT, TC
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


def read_vocabulary(graph: Graph) -> Vocabulary:
    """Build the vocabulary from the graph it is stored in."""

    def text(subject: URIRef, predicate: URIRef) -> str:
        return str(graph.value(subject, predicate) or "")

    def name(subject: URIRef, family: str) -> Term:
        identifier = ns.local(str(subject), family)
        if family and not is_plain(identifier):  # files and pages are named by it
            raise ValueError(f"{identifier[:80]!r} cannot be an id: use small letters, digits and single hyphens")
        return Term(
            id=identifier,
            label=text(subject, SKOS.prefLabel),
            alt=tuple(sorted(str(alt) for alt in graph.objects(subject, SKOS.altLabel))),
            definition=text(subject, SKOS.definition),
            order=int(text(subject, TC.order) or 0),
        )

    def base(term: Term) -> tuple[str, str, tuple[str, ...], str, int]:
        return term.id, term.label, term.alt, term.definition, term.order

    def members(cls: URIRef) -> list[URIRef]:
        found = [subject for subject in graph.subjects(RDF.type, cls) if isinstance(subject, URIRef)]
        return sorted(found, key=lambda subject: (int(text(subject, TC.order) or 0), str(subject)))

    def plain(cls: URIRef, family: str) -> dict[str, Term]:
        return {term.id: term for term in (name(subject, family) for subject in members(cls))}

    def ids(subject: URIRef, predicate: URIRef, family: str) -> list[str]:
        return sorted(ns.local(str(value), family) for value in graph.objects(subject, predicate))

    axes = {
        term.id: Axis(
            *base(term),
            ns.local(text(subject, TC.scheme), ns.SCHEME),
            text(subject, TC.question),
            text(subject, TC.prefix),
            (subject, TC.ofCase, None) in graph,
        )
        for subject in members(TC.Axis)
        for term in [name(subject, ns.AXIS)]
    }
    concepts = {
        term.id: Concept(
            *base(term),
            tuple(ids(subject, SKOS.inScheme, ns.SCHEME)),
            next(iter(ids(subject, SKOS.broader, ns.CONCEPT)), None),
            tuple(sorted(str(code) for code in graph.objects(subject, SKOS.notation))),
            tuple(ids(subject, SKOS.related, ns.CONCEPT)),
            text(subject, TC.kept),
            tuple(ids(subject, TC.onlyWith, ns.CONCEPT)),
            tuple(ids(subject, TC.shows, ns.PARAMETER)),
            text(subject, TC.holdPoint),
            tuple(ids(subject, TC.unlessNone, ns.PARAMETER)),
            (subject, TC.saysNone, None) in graph,
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
            number_of(graph.value(subject, QUDT.conversionMultiplier)),
        )
        for subject in members(QUDT.Unit)
    }
    gauges = {
        unit_id(system): GaugeSystem(
            unit_id(system),
            *base(name(system, ""))[1:],
            text(system, QUDT.symbol),
            {
                int(text(size, TC.gaugeNumber)): number_of(graph.value(size, TC.millimetres))
                for size in graph.subjects(TC.gaugeSystem, system)
                if isinstance(size, URIRef)
            },
        )
        for system in members(TC.GaugeSystem)
    }
    parameters = {}
    for subject in members(TC.Parameter):
        term = name(subject, ns.PARAMETER)
        low, high = graph.value(subject, TC.plausibleMin), graph.value(subject, TC.plausibleMax)
        none_means = graph.value(subject, TC.noneMeans)
        parameters[term.id] = Parameter(
            *base(term),
            kind=ns.local(text(subject, TC.valueKind), ns.VALUE_KIND),
            unit=unit_id(text(subject, QUDT.hasUnit)),
            chapter=ns.local(text(subject, TC.chapter), ns.CHAPTER),
            scheme=ns.local(text(subject, TC.scheme), ns.SCHEME) or None,
            tolerance=number_of(graph.value(subject, TC.tolerance) or 0),
            plausible=(number_of(low), number_of(high)) if low is not None and high is not None else None,
            none_means=number_of(none_means) if none_means is not None else None,
            depends_on=tuple(sorted(ids(subject, TC.dependsOn, ns.AXIS), key=list(axes).index)),
            question=text(subject, TC.question),
            note=text(subject, SKOS.scopeNote),
            closed_list=(subject, TC.closedList, None) in graph,
            as_measured=(subject, TC.asMeasured, None) in graph,
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
            term.id: Chapter(*base(term), (subject, TC.planned, None) in graph)
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
                tuple(sorted(str(code) for code in graph.objects(subject, TC.hazardStatement))),
                tuple(ids(subject, DCTERMS.source, ns.SOURCE)),
            )
            for subject in members(TC.Caution)
            for term in [name(subject, ns.CAUTION)]
        },
        wrong_answers={
            term.id: WrongAnswer(
                *base(term),
                tuple(ids(subject, TC.wrongFor, ns.PARAMETER)),
                next(iter(ids(subject, SKOS.related, ns.CONCEPT)), ""),
                tuple(ids(subject, TC.contraryTo, ns.CONCEPT)),
            )
            for subject in members(TC.WrongAnswer)
            for term in [name(subject, ns.WRONG_ANSWER)]
        },
    )
