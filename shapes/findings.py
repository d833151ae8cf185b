"""Findings: what a rule found, told to a lecturer: where, what, which claims, and what to do."""

import re
from dataclasses import dataclass
from typing import Any

from rdflib import URIRef

from trayconcord.kb import namespaces as ns
from trayconcord.kb.errors import Place
from trayconcord.kb.model import Claim, Scope, topic_id
from trayconcord.kb.namespaces import TC
from trayconcord.kb.store import Store
from trayconcord.shapes.facts import Facts
from trayconcord.shapes.panel import Position
from trayconcord.shapes.rules import Rule
from trayconcord.shapes.wording import both_ways_text, comparable_text, lookups, name_of, scope_text, stated_text

_GRAVITY = {"violation": 0, "warning": 1, "info": 2}


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding. ``where`` names the file and line of everything involved; ``voices`` counts who speaks there."""

    rule: str
    severity: str
    message: str
    help: str
    parameter: str = ""
    when: Scope = ()
    claims: tuple[Claim, ...] = ()
    positions: tuple[tuple[str, tuple[Claim, ...]], ...] = ()
    sources: tuple[str, ...] = ()
    where: tuple[Place, ...] = ()
    voices: int = 0
    order: int = 0
    focus: str = ""

    def rank(self) -> tuple[object, ...]:
        """The order of reading: the gravest first, by rule and parameter, the general before the special."""
        return _GRAVITY[self.severity], self.rule, self.order, len(self.when), self.focus


class Teller:
    """Turns a focus node into a finding."""

    def __init__(self, store: Store, facts: Facts) -> None:
        self.store, self.facts = store, facts
        self.claims = {ns.iri(ns.CLAIM, claim.id): claim for claim in store.claims}
        self.rulings = {ns.iri(ns.RULING, ruling.id): ruling for ruling in store.rulings}
        self.cases = {ns.iri(ns.CASE, case.id): case.label or case.id for case in store.cases}

    def tell(self, rule: Rule, severity: str, focus: URIRef, said: str) -> Finding:
        """The finding of a rule at a node; ``said`` is the engine's message where the rule has none of its own."""
        claims, positions, voices = self._behind(focus)
        parameter, when = self._about(focus)
        known = self.store.vocabulary.parameters.get(parameter)
        words = self._words(focus, rule, parameter, when, claims, positions)
        sources = sorted({claim.source for claim in claims} | self._source_of(focus))
        return Finding(
            rule=rule.name,
            severity=severity,
            message=_fill(rule.message or said, words),
            help=_fill(rule.help, words),
            parameter=parameter,
            when=when,
            claims=claims,
            positions=tuple((words_of, position.claims) for words_of, position in positions),
            sources=tuple(sources),
            where=self._where(focus, claims),
            voices=voices,
            order=known.order if known else 0,
            focus=str(focus),
        )

    def _behind(self, focus: URIRef) -> tuple[tuple[Claim, ...], list[tuple[str, Position]], int]:
        topic = self.facts.topics.get(focus)
        if topic is not None:
            return topic.claims, self._told(topic.parameter.id, topic.positions), len(topic.voices)
        if focus in self.claims:
            claim = self.claims[focus]
            other = self.facts.graph.value(focus, TC.repeats)
            return (claim, self.claims[other]) if isinstance(other, URIRef) else (claim,), [], 0
        behind = self.facts.claims_behind.get(focus, ())
        parameter, _ = self.facts.about.get(focus, ("", ()))
        return behind, self._told(parameter, self.facts.positions_behind.get(focus, ())), len(behind)

    def _told(self, parameter: str, positions: tuple[Position, ...]) -> list[tuple[str, Position]]:
        vocabulary = self.store.vocabulary
        return [(comparable_text(p.value, vocabulary.parameters[parameter], vocabulary), p) for p in positions]

    def _about(self, focus: URIRef) -> tuple[str, Scope]:
        if focus in self.claims:
            return self.claims[focus].parameter, self.claims[focus].when
        return self.facts.about.get(focus, ("", ()))

    def _source_of(self, focus: URIRef) -> set[str]:
        source = ns.local(focus, ns.SOURCE)
        return {source} if source != str(focus) else set()

    def _where(self, focus: URIRef, claims: tuple[Claim, ...]) -> tuple[Place, ...]:
        places = [self.store.places[focus]] if focus in self.store.places else []
        case = self.facts.graph.value(focus, TC.case)
        places += [self.store.places[case]] if isinstance(case, URIRef) and case in self.store.places else []
        places += [self.store.place_of_claim(claim.id) for claim in claims]
        return tuple(dict.fromkeys(places))

    def _words(
        self,
        focus: URIRef,
        rule: Rule,
        parameter: str,
        when: Scope,
        claims: tuple[Claim, ...],
        positions: list[tuple[str, Position]],
    ) -> dict[str, Any]:
        vocabulary = self.store.vocabulary
        topic = self.facts.topics.get(focus)
        conditions = scope_text(when, vocabulary)
        known = vocabulary.parameters.get(parameter)
        first = claims[0] if claims else None
        ruling = self.rulings.get(focus)
        stating = ruling or first
        value = stated_text(stating, vocabulary) if stating else ""
        detail = [self._shown(o) for o in self.facts.graph.objects(focus, rule.path)] if rule.path else []
        case = self.facts.graph.value(focus, TC.case)
        return {
            "id": _id_of(focus),
            "parameter": known.label if known else parameter or "no parameter",
            "conditions": f" ({conditions})" if conditions else "",
            "topic": topic_id(parameter, when),
            "value": value,
            "source": name_of(self.store.sources, first.source) if first else "",
            "sources": ", ".join(sorted({name_of(self.store.sources, claim.source) for claim in claims})),
            "detail": "; ".join(sorted(detail)),
            "case": self.cases[case] if isinstance(case, URIRef) and case in self.cases else "",
            "voices": len(topic.voices) if topic else len({claim.source for claim in claims}),
            "positions": " | ".join(text for text, _ in positions),
            "count": len(positions),
            "lookups": lookups(topic, self.store) if topic else "",
            "clashes": both_ways_text(topic, vocabulary) if topic and topic.parameter.kind == "order" else "",
        }

    def _shown(self, value: Any) -> str:
        """A computed property as a reader sees it: text as it is, a source by name, anything else by id."""
        source = ns.local(str(value), ns.SOURCE)
        if source in self.store.sources and isinstance(value, URIRef):
            return name_of(self.store.sources, source)
        return _id_of(value) if isinstance(value, URIRef) else str(value)


def _fill(template: str, words: dict[str, Any]) -> str:
    """Put words into ``{placeholders}``, in one go: a word that holds braces stays as it is."""
    text = re.sub(r"\{(\w+)\}", lambda match: str(words.get(match[1], match[0])), template)
    return " ".join(text.split())


def _id_of(focus: URIRef) -> str:
    text = str(focus)
    for family in (ns.CLAIM, ns.SOURCE, ns.RULING, ns.TOPIC, ns.CASE, ns.BASE):
        text = ns.local(text, family)
    return text
