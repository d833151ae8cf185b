"""Facts: what the comparison found, as nodes and properties beside those of the store, for the shapes to judge.

This module computes and passes no judgement: whether a contested topic is a problem, and how grave, is said by a
shape. Every fact carries a class or property described in the vocabulary's ontology.
"""

from datetime import date
from typing import Any

from rdflib import Literal, URIRef
from rdflib.namespace import RDF, RDFS, XSD

from trayconcord.kb import namespaces as ns
from trayconcord.kb.identifiers import isbn_is_valid
from trayconcord.kb.marking import SITE_AXIS
from trayconcord.kb.model import Claim, Scope, Trouble, comparable, topic_id
from trayconcord.kb.namespaces import TC, interned
from trayconcord.kb.store import Store
from trayconcord.kb.triples import Triples
from trayconcord.kb.values import Comparable, Interval, Membership
from trayconcord.kb.vocabulary import Parameter
from trayconcord.shapes.answers import governing_value
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.panel import Position
from trayconcord.shapes.plausible import is_plausible
from trayconcord.shapes.scopes import meet
from trayconcord.shapes.wording import changes_since, comparable_text, position_lines

_PROPERTY_OF_TROUBLE = {
    "unknown-term": TC.unknownTerm,
    "wrong-dimension": TC.wrongDimension,
    "inverted-range": TC.invertedRange,
    "malformed-value": TC.malformed,
}
_TYPE, _LABEL = interned(RDF.type), interned(RDFS.label)
_STANDARDS = "standard-document"
_MATERIAL_AXES = ("impression-material", "tray-material", "spacer-material")
_CLASS_OF_OBTAINED = {"read": TC.ReadClaim, "reported": TC.ReportedClaim}


class Facts:
    """The facts of a comparison as triples, and what each computed node stands for."""

    def __init__(self, store: Store, comparison: Comparison, today: date | None = None) -> None:
        self.store, self.comparison, self.today = store, comparison, today
        self.triples = Triples()
        self._labels: dict[tuple[str, Comparable], Literal] = {}
        self.topics: dict[URIRef, Topic] = {}
        self.claims_behind: dict[URIRef, tuple[Claim, ...]] = {}
        self.positions_behind: dict[URIRef, tuple[Position, ...]] = {}
        self.about: dict[URIRef, tuple[str, Scope]] = {}
        self._classes()
        self._claims()
        self._sources()
        self._statements()
        self._topics()
        self._rulings()
        self._cases()
        self._marking()

    def _add(self, subject: URIRef, predicate: URIRef, value: URIRef | Literal) -> None:
        self.triples.add((subject, predicate, value))

    def _troubles(self, subject: URIRef, troubles: tuple[Trouble, ...]) -> None:
        for trouble in troubles:
            self._add(subject, _PROPERTY_OF_TROUBLE[trouble.rule], Literal(trouble.message))

    def _claims(self) -> None:
        vocabulary = self.store.vocabulary
        first: dict[tuple[object, ...], str] = {}
        numbers: dict[Comparable, int] = {}
        weighed: dict[tuple[str, int], tuple[int, str]] = {}
        for claim in self.store.claims:
            subject = ns.iri(ns.CLAIM, claim.id)
            if claim.troubles:
                self._troubles(subject, claim.troubles)
            if claim.obtained in _CLASS_OF_OBTAINED:
                self._add(subject, _TYPE, _CLASS_OF_OBTAINED[claim.obtained])
            if claim.value is None:
                continue
            same = claim.parameter, id(claim.value)  # the store reads like values once
            known = weighed.get(same)
            if known is None:
                parameter = vocabulary.parameters[claim.parameter]
                value = comparable(claim.value, parameter, vocabulary)
                number = numbers.setdefault(value, len(numbers))
                known = weighed[same] = (number, self._implausible(value, parameter))
            number, implausible = known
            if implausible:
                self._add(subject, TC.implausible, Literal(implausible))
            if isinstance(claim.value, Membership):
                self._standard(subject, claim, claim.value)
            key = (claim.source, claim.parameter, claim.when, number, claim.reported_by)
            earlier = first.setdefault(key, claim.id)
            if earlier != claim.id:
                self._add(subject, TC.repeats, ns.iri(ns.CLAIM, earlier))
        superseded = self.comparison.superseded()
        for claim, newer in superseded:
            self._add(ns.iri(ns.CLAIM, claim.id), TC.supersededBy, ns.iri(ns.SOURCE, newer))
        silent = {claim.id for claim, _ in superseded}  # a newer edition speaks instead: nothing rests on them
        withdrawn = {source.id: source.withdrawn for source in self.store.sources.values() if source.withdrawn}
        for claim in self.store.claims if withdrawn else ():
            if claim.source in withdrawn and claim.id not in silent:
                self._add(ns.iri(ns.CLAIM, claim.id), TC.citesWithdrawn, Literal(withdrawn[claim.source]))

    def _implausible(self, value: Comparable, parameter: Parameter) -> str:
        """In what way a value lies outside the plausible range; empty where it does not."""
        if parameter.plausible is None or is_plausible(value, parameter):
            return ""
        plausible = comparable_text(Interval(*parameter.plausible), parameter, self.store.vocabulary)
        return f"{comparable_text(value, parameter, self.store.vocabulary)} lies outside {plausible}"

    def _standard(self, subject: URIRef, claim: Claim, value: Membership) -> None:
        """A claim that names a standard for a material that the standard does not cover."""
        concepts = self.store.vocabulary.concepts
        materials = [concept for axis, concept in claim.when if axis in _MATERIAL_AXES]
        for name in sorted(value.includes if materials else ()):
            if _STANDARDS not in concepts[name].schemes:
                continue
            covered = concepts[name].related
            above, below = self.store.vocabulary.above, self.store.vocabulary.below
            if not any(material in above[c] or material in below[c] for c in covered for material in materials):
                covers = ", ".join(concepts[c].label for c in covered) or "none of these materials"
                self._add(subject, TC.wrongStandard, Literal(f"{concepts[name].label} covers {covers}"))

    def _classes(self) -> None:
        """A misspelt class would hide a record from every rule."""
        known = set(self.store.triples.of_type(RDFS.Class))
        for cls in self.store.triples.classes():
            if str(cls).startswith(str(TC)) and cls not in known:
                for subject in self.store.triples.of_type(cls):
                    self._add(subject, TC.unknownTerm, Literal(f"class {ns.local(str(cls), str(TC))}"))

    def _sources(self) -> None:
        told = {ns.local(subject, ns.SOURCE) for subject in self.store.triples.of_type(TC.Source)}
        own = [source for source in self.store.sources.values() if source.id in told]  # a part of a store tells of none
        for source in own:
            if source.kind not in self.store.vocabulary.kinds:
                subject = ns.iri(ns.SOURCE, source.id)
                self._add(subject, TC.unknownTerm, Literal(f"kind of source {source.kind or 'missing'}"))
            if source.isbn and not isbn_is_valid(source.isbn):
                self._add(ns.iri(ns.SOURCE, source.id), TC.wrongIsbn, Literal(source.isbn))
        for circular in self.comparison.voices.circular(source.id for source in own):
            self._add(ns.iri(ns.SOURCE, circular), TC.derivesFromItself, Literal(True))
        known = self.store.sources.keys() | {""}
        for claim in self.store.claims:
            if claim.source not in known or claim.reported_by not in known:
                self._cited(ns.CLAIM, claim.id, (claim.source, claim.reported_by))
        for source in own:
            self._cited(ns.SOURCE, source.id, (source.edition_of, *source.compiled_from))

    def _cited(self, family: str, record: str, sources: tuple[str, ...]) -> None:
        for name in sources:
            if name and name not in self.store.sources:
                self._add(ns.iri(family, record), TC.unknownSource, Literal(name))

    def _node(self, subject: URIRef, cls: URIRef, parameter: str, when: Scope) -> None:
        self._add(subject, _TYPE, cls)
        self._add(subject, TC.parameter, ns.iri(ns.PARAMETER, parameter))
        for axis, concept in when:
            self._add(subject, ns.iri(ns.AXIS, axis), ns.iri(ns.CONCEPT, concept))
        self.about[subject] = (parameter, when)

    def _label(self, value: Comparable, parameter: Parameter) -> Literal:
        key = parameter.id, value
        known = self._labels.get(key)
        if known is None:
            text = comparable_text(value, parameter, self.store.vocabulary)
            known = self._labels[key] = Literal(text)
        return known

    def _positions(self, subject: URIRef, parameter: Parameter, positions: tuple[Position, ...]) -> None:
        for number, position in enumerate(positions, start=1):
            node = ns.unlooked(f"{subject}#position-{number}")
            self._add(subject, TC.position, node)
            self._add(node, _TYPE, TC.Position)
            self._add(node, _LABEL, self._label(position.value, parameter))

    def values(self, subject: URIRef, predicate: URIRef) -> list[Any]:
        """The values of a property of the store or of the facts."""
        held = (self.store.triples, self.triples)
        told = [value for triples in held for value in triples.get(subject, {}).get(predicate, ())]
        return list(dict.fromkeys(told))

    def _statements(self) -> None:
        for statement in self.comparison.statements():
            subject = URIRef(f"{ns.BASE}statement/{statement.voice}/{topic_id(statement.parameter, statement.when)}")
            self._node(subject, TC.Statement, statement.parameter, statement.when)
            self._add(subject, TC.voice, ns.iri(ns.SOURCE, statement.voice))
            self._positions(subject, self.store.vocabulary.parameters[statement.parameter], statement.positions)
            behind = {claim.id: claim for position in statement.positions for claim in position.claims}
            self.claims_behind[subject] = tuple(behind[claim] for claim in sorted(behind))
            self.positions_behind[subject] = statement.positions

    def _topics(self) -> None:
        for topic in self.comparison.topics:
            subject = ns.iri(ns.TOPIC, topic.id)
            cls = TC.OrderTopic if topic.parameter.kind == "order" else TC.ValueTopic
            self._node(subject, cls, topic.parameter.id, topic.when)
            self._add(subject, TC.standing, Literal(topic.standing))
            obtained = topic.obtained
            if obtained == {"recalled"}:
                self._add(subject, TC.onlyRecalled, Literal(True))
            elif obtained == {"practice"}:
                self._add(subject, TC.onlyPractice, Literal(True))
            if topic.standing == "single":
                self._add(subject, TC.onlyVoice, ns.iri(ns.SOURCE, topic.voices[0]))
            elif topic.standing == "contested":
                contest = ns.unlooked(f"{subject}#contest")
                firm = TC.firmContest if topic.firm else TC.softContest
                self._add(subject, TC.orderContest if topic.parameter.kind == "order" else firm, contest)
                if topic.rulings:
                    self._add(contest, _TYPE, TC.Decided)
            for ruling in topic.rulings:
                self._add(subject, TC.ruling, ns.iri(ns.RULING, ruling.id))
            self._positions(subject, topic.parameter, topic.positions)
            self.topics[subject] = topic

    def _rulings(self) -> None:
        for ruling in self.store.rulings:
            subject = ns.iri(ns.RULING, ruling.id)
            self._troubles(subject, ruling.troubles)
            self.about[subject] = (ruling.parameter, ruling.when)
            if ruling.value is None:
                continue
            topic = self.comparison.at(ruling.parameter, ruling.when)
            self._add(subject, _TYPE, TC.ReadableRuling)
            self.claims_behind[subject] = topic.claims
            self.positions_behind[subject] = topic.positions
            supporters = self.comparison.supporters(ruling)
            for claim in supporters:
                self._add(subject, TC.supportedBy, ns.iri(ns.CLAIM, claim.id))
            if not supporters and not ruling.without_source:
                self._add(subject, TC.unsupported, Literal(True))
            elif supporters and ruling.without_source:
                self._add(subject, TC.needlessException, Literal(ruling.without_source))
            if self.today and "" < ruling.review_by < self.today.isoformat():
                self._add(subject, TC.reviewDue, Literal(ruling.review_by, datatype=XSD.date))
            now = position_lines(topic, self.store.vocabulary)
            for change in changes_since(ruling.positions_then, now):
                self._add(subject, TC.changedSince, Literal(change))
        for one, other in self.comparison.ties():
            self._add(ns.iri(ns.RULING, one.id), TC.tiesWith, ns.iri(ns.RULING, other.id))

    def _cases(self) -> None:
        for case in self.store.cases:
            self._troubles(ns.iri(ns.CASE, case.id), case.troubles)
            for parameter in () if case.troubles else case.asks:  # nobody knows which case it is
                subject = URIRef(f"{ns.BASE}gap/{case.id}/{parameter}")
                self._node(subject, TC.Gap, parameter, case.when)
                self._add(subject, TC.case, ns.iri(ns.CASE, case.id))
                topic = self.comparison.at(parameter, case.when)
                for claim in topic.claims:
                    self._add(subject, TC.answeredBy, ns.iri(ns.CLAIM, claim.id))
                for ruling in topic.rulings:
                    self._add(subject, TC.answeredBy, ns.iri(ns.RULING, ruling.id))

    def _marking(self) -> None:
        policy = self.store.marking
        if policy is None:
            return
        self._troubles(ns.iri(ns.MARKING, ns.POLICY), policy.troubles)
        vocabulary = self.store.vocabulary
        for item in policy.items:
            subject = ns.iri(ns.MARKING, item.id)
            self._troubles(subject, item.troubles)
            self.about[subject] = (item.parameter, item.when)
            if item.troubles:
                continue
            self._add(subject, _TYPE, TC.ReadableMarkingItem)
            taught = {case.when: ns.iri(ns.CASE, case.id) for case in self.store.cases if not case.troubles}
            for when, named in (taught or {item.when: subject}).items():
                for site in item.sites or ("",):
                    scope = meet(when, item.when, vocabulary)
                    scope = meet(scope, ((SITE_AXIS, site),), vocabulary) if site and scope is not None else scope
                    if scope is not None and self._is_governed(item.parameter, scope):
                        self._add(subject, TC.governedIn, named)

    def _is_governed(self, parameter: str, when: Scope) -> bool:
        return governing_value(self.comparison.at(parameter, when), self.store.vocabulary) is not None
