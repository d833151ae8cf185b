"""The vocabulary: parameters, condition axes, concept trees and units."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from trayconcord.kb import namespaces as ns
from trayconcord.kb.errors import nearest


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
    learner where to stop and ask. A concept that ``says_none`` is the answer that there is none.
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
    says_none: bool = False


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
    """What can hurt, and the usual care (the definition): the concepts that bring it, the parameters whose answers are
    about it, GHS hazard statements, sources."""

    arises_from: tuple[str, ...] = ()
    arises_with: tuple[str, ...] = ()
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

    def cautions_for(self, subjects: Iterable[str]) -> list[Caution]:
        """The cautions that materials, steps, agents or parameters bring: named themselves, or concepts by something
        above or below."""
        shown = set(subjects)
        near = {other for concept in shown if concept in self.above for other in self.above[concept]}
        near |= {other for concept in shown if concept in self.below for other in self.below[concept]}
        return [
            caution
            for caution in self.cautions.values()
            if not near.isdisjoint(caution.arises_from) or not shown.isdisjoint(caution.arises_with)
        ]

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
        close = nearest(folded, names)
        part = {names[name] for name in names if folded in re.split("[- ]", name)}  # ridge for ridge-condition
        return names[close] if close else part.pop() if len(part) == 1 else None

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
