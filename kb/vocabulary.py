"""The vocabulary: parameters, condition axes, concept trees and units, read from the store."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from fractions import Fraction
from functools import cached_property

from rdflib import Graph, URIRef
from rdflib.namespace import DCTERMS, RDF, SKOS

from trayconcord.kb import namespaces as ns
from trayconcord.kb.identifiers import is_plain
from trayconcord.kb.literals import number_of
from trayconcord.kb.namespaces import QUDT, TC


@dataclass(frozen=True, slots=True)
class Term:
    """Anything with a name: label, other names, definition, and its rank in the vocabulary's order."""

    id: str
    label: str
    alt: tuple[str, ...] = ()
    definition: str = ""
    order: int = 0


@dataclass(frozen=True, slots=True)
class Concept(Term):
    """A concept of one or more schemes; ``broader`` is its one parent.

    ``notations`` are codes of open standards: tooth and area codes of ISO 3950, hazard statement codes of the GHS;
    ``related`` names the materials that a standard covers; ``kept`` says why a concept that no claim names stays.
    ``only_with`` names concepts one of which a case must allow if it holds this one; a step of the work ``shows`` the
    parameters it needs, is needless where one of ``unless_none`` is answered with none, and its ``hold_point`` tells a
    learner where to stop and ask.
    """

    schemes: tuple[str, ...] = ()
    broader: str | None = None
    notations: tuple[str, ...] = ()
    related: tuple[str, ...] = ()
    kept: str = ""
    only_with: tuple[str, ...] = ()
    shows: tuple[str, ...] = ()
    hold_point: str = ""
    unless_none: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Axis(Term):
    """A condition axis: the question a claim answers when it names a concept of ``scheme``.

    ``prefix`` stands before the concept where a condition is told and the bare concept would mislead. A case states
    the axes that are ``of_case``; the others, such as the site, belong to single statements about a tray.
    """

    scheme: str = ""
    question: str = ""
    prefix: str = ""
    of_case: bool = False


@dataclass(frozen=True, slots=True)
class Unit(Term):
    """A unit: ``multiplier`` turns one of it into the coherent SI unit of its quantity ``kind``."""

    iri: str = ""
    symbol: str = ""
    kind: str = ""
    multiplier: Fraction = Fraction(1)


@dataclass(frozen=True, slots=True)
class GaugeSystem(Term):
    """A gauge system: sheet or wire thickness in millimetres by gauge number."""

    symbol: str = ""
    thickness: dict[int, Fraction] = field(default_factory=dict, hash=False)


@dataclass(frozen=True, slots=True)
class Parameter(Term):
    """What a rule is about. Lengths of the plausible range, tolerance and ``none_means`` are in ``unit``.

    What no source names is not wrong for that, unless the answer is a ``closed_list``. Values that are ``as_measured``
    come from studies too, so that none of them is the right one; ``needs_beside`` is what a value says nothing without
    and the store does not hold. ``reads`` puts a value into words where a unit does not; the rest is the wording of
    question items: what is asked (``stem``), what does not belong (``stem_not``), for which case an answer holds
    (``stem_case``; ``stem_none`` where the answer is none), and what "yes" says (``affirms``).
    ``on_tray`` says how it is taken when a tray is marked: "once", "at sites", or not at all where empty.
    """

    kind: str = ""
    unit: str = ""
    chapter: str = ""
    scheme: str | None = None
    tolerance: Fraction = Fraction(0)
    plausible: tuple[Fraction, Fraction] | None = None
    none_means: Fraction | None = None
    depends_on: tuple[str, ...] = ()
    question: str = ""
    note: str = ""
    closed_list: bool = False
    as_measured: bool = False
    needs_beside: str = ""
    reads: str = ""
    stem: str = ""
    stem_not: str = ""
    stem_case: str = ""
    stem_none: str = ""
    affirms: str = ""
    on_tray: str = ""


@dataclass(frozen=True, slots=True)
class WrongAnswer(Term):
    """An error that people make about some ``parameters``; the definition says why it is wrong. Where it names a
    ``concept`` that sources may name too, it is wrong only as long as none does. What it is ``contrary_to`` is not
    offered beside it: of a pair of opposites one is right."""

    parameters: tuple[str, ...] = ()
    concept: str = ""
    contrary_to: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Caution(Term):
    """What can hurt, and the usual care (the definition): what brings it, GHS hazard statements, sources."""

    arises_from: tuple[str, ...] = ()
    hazards: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Chapter(Term):
    """A chapter of questions; the plan of a tray answers those of the ``planned`` ones."""

    planned: bool = False


@dataclass(frozen=True, slots=True)
class SourceKind(Term):
    """A kind of source; ``strength`` (0 to 3) only puts an agenda in order."""

    strength: int = 0


@dataclass(frozen=True)
class Vocabulary:
    """Every term by id, each table in the vocabulary's own order."""

    parameters: dict[str, Parameter]
    axes: dict[str, Axis]
    concepts: dict[str, Concept]
    schemes: dict[str, Term]
    units: dict[str, Unit]
    gauges: dict[str, GaugeSystem]
    chapters: dict[str, Chapter]
    kinds: dict[str, SourceKind]
    obtained: dict[str, Term]
    cautions: dict[str, Caution]
    wrong_answers: dict[str, WrongAnswer]

    @cached_property
    def above(self) -> dict[str, frozenset[str]]:
        """Each concept with itself and everything above it: the concepts that cover it."""
        result: dict[str, frozenset[str]] = {}
        for concept in self.concepts:
            chain: list[str] = []
            here: str | None = concept
            while here is not None and here not in chain:
                chain.append(here)
                parent = self.concepts.get(here)
                here = parent.broader if parent else None
            result[concept] = frozenset(chain)
        return result

    @cached_property
    def below(self) -> dict[str, frozenset[str]]:
        """Each concept with itself and everything below it: the concepts that it covers."""
        result: dict[str, set[str]] = {concept: set() for concept in self.concepts}
        for concept, chain in self.above.items():
            for ancestor in chain:
                if ancestor in result:
                    result[ancestor].add(concept)
        return {concept: frozenset(members) for concept, members in result.items()}

    def covers(self, wider: str, narrower: str) -> bool:
        """Whether ``wider`` is ``narrower`` or stands above it in the tree."""
        return wider in self.above[narrower]

    def cautions_for(self, concepts: Iterable[str]) -> list[Caution]:
        """The cautions that materials, steps or agents bring: named themselves, or by something above or below."""
        shown = set(concepts)
        near = {other for concept in shown if concept in self.above for other in self.above[concept]}
        near |= {other for concept in shown if concept in self.below for other in self.below[concept]}
        return [caution for caution in self.cautions.values() if not near.isdisjoint(caution.arises_from)]

    def cautions_among(self, ids: Iterable[str]) -> list[Caution]:
        """The cautions with these ids, each once, in order."""
        wanted = set(ids)
        return [caution for caution in self.cautions.values() if caution.id in wanted]

    def in_scheme(self, scheme: str) -> Iterator[Concept]:
        """The concepts of a scheme, in order."""
        return (concept for concept in self.concepts.values() if scheme in concept.schemes)

    def nearest(self, word: str, among: Mapping[str, Term]) -> str | None:
        """The id whose id, label or other name is nearest to a word that is not an id."""
        names: dict[str, str] = {}
        for identifier, term in among.items():
            for name in (identifier, term.label, *term.alt):
                names.setdefault(name.casefold(), identifier)
        folded = word.casefold().strip()
        for candidate in (folded, folded.replace("_", "-"), folded.replace("-", " "), folded.replace(" ", "-")):
            if candidate in names:
                return names[candidate]
        close = get_close_matches(folded, names, n=1, cutoff=0.7)
        part = {names[name] for name in names if folded in re.split("[- ]", name)}  # ridge for ridge-condition
        return names[close[0]] if close else part.pop() if len(part) == 1 else None

    @cached_property
    def unit_names(self) -> dict[str, str]:
        """Every name and symbol a unit goes by, exact spelling first, to the unit's id."""
        names: dict[str, str] = {}
        for unit in self.units.values():
            for name in (unit.symbol, unit.label, *unit.alt):
                names.setdefault(name, unit.id)
        for name, unit_id in list(names.items()):
            names.setdefault(name.casefold(), unit_id)
        return names

    @cached_property
    def range_texts(self) -> dict[tuple[str, Fraction | None, Fraction | None], str]:
        """Ranges that have been put into words, by parameter and ends: the same few are told over and over."""
        return {}

    def units_of(self, kind: str) -> list[Unit]:
        """The units of a quantity kind, in order."""
        return [unit for unit in self.units.values() if unit.kind == kind]


def unit_id(iri: str) -> str:
    """The id of a unit: its local name, whether it is QUDT's or our own."""
    for family in (ns.OWN_UNIT, str(ns.UNIT)):
        if iri.startswith(family):
            return iri[len(family) :]
    return iri


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
