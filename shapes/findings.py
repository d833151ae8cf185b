"""Findings: what a rule found, told to a lecturer: where, what, which claims, and what to do."""

import re
from dataclasses import dataclass, field
from functools import cached_property
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

GRAVITY = {"violation": 0, "warning": 1, "info": 2}
"""The severities, the gravest first."""


@dataclass(frozen=True)
class Finding:
    """One finding. What it tells is worked out when it is first asked for: most are counted, few are read out.

    ``where`` names the file and line of everything involved; ``voices`` counts who speaks there.
    """

    rule: str
    severity: str
    parameter: str
    when: Scope
    order: int
    focus: str
    _said: str
    _node: URIRef = field(repr=False, compare=False)
    _teller: "Teller" = field(repr=False, compare=False)

    def rank(self) -> tuple[object, ...]:
        """The order of reading: the gravest first, by rule and parameter, the general before the special."""
        return GRAVITY[self.severity], self.rule, self.order, self.parameter, len(self.when), self.focus

    @cached_property
    def message(self) -> str:
        """What was found, in a sentence."""
        return _fill(self._rule.message or self._said, self._words)

    @cached_property
    def help(self) -> str:
        """What to do about it."""
        return _fill(self._rule.help, self._words)

    @property
    def claims(self) -> tuple[Claim, ...]:
        """The claims behind it, by id."""
        return self._behind[0]

    @cached_property
    def positions(self) -> tuple[tuple[str, tuple[Claim, ...]], ...]:
        """The positions behind it: what each shares, and its claims."""
        return tuple((text, position.claims) for text, position in self._behind[1])

    @property
    def voices(self) -> int:
        """How many voices speak there."""
        return self._behind[2]

    @cached_property
    def sources(self) -> tuple[str, ...]:
        """The sources behind it, by id."""
        return self._teller.sources_behind(self._node, self.claims)

    @cached_property
    def where(self) -> tuple[Place, ...]:
        """File and line of everything involved."""
        return self._teller.places(self._node, self.claims)

    @property
    def _rule(self) -> Rule:
        return self._teller.rules[self.rule]

    @cached_property
    def _behind(self) -> "_Behind":
        return self._teller.behind(self._node)

    @cached_property
    def _words(self) -> dict[str, Any]:
        return self._teller.words(self._node, self._rule, self.parameter, self.when, self._behind)


_Behind = tuple[tuple[Claim, ...], list[tuple[str, Position]], int]
"""Claims, positions in words, and the number of voices."""


class Teller:
    """Turns a focus node into a finding."""

    def __init__(self, store: Store, facts: Facts, rules: dict[str, Rule]) -> None:
        self.store, self.facts, self.rules = store, facts, rules
        self.claims = {claim.id: claim for claim in store.claims}
        self.rulings = {ns.iri(ns.RULING, ruling.id): ruling for ruling in store.rulings}
        self.cases = {ns.iri(ns.CASE, case.id): case.label or case.id for case in store.cases}

    def tell(self, rule: Rule, severity: str, focus: URIRef, said: str) -> Finding:
        """The finding of a rule at a node; ``said`` is the engine's message where the rule has none of its own."""
        parameter, when = self._about(focus)
        known = self.store.vocabulary.parameters.get(parameter)
        order = known.order if known else 0
        return Finding(rule.name, severity, parameter, when, order, str(focus), said, focus, self)

    def behind(self, focus: URIRef) -> _Behind:
        """The claims and positions that a node stands for."""
        topic = self.facts.topics.get(focus)
        if topic is not None:
            return topic.claims, self._told(topic.parameter.id, topic.positions), len(topic.voices)
        claim = self._claim(focus)
        if claim is not None:
            repeated = [self._claim(other) for other in self.facts.values(focus, TC.repeats)]
            return (claim, *[other for other in repeated[:1] if other]), [], 0
        behind = self.facts.claims_behind.get(focus, ())
        parameter, _ = self.facts.about.get(focus, ("", ()))
        return behind, self._told(parameter, self.facts.positions_behind.get(focus, ())), len(behind)

    def _claim(self, focus: URIRef) -> Claim | None:
        return self.claims.get(ns.local(focus, ns.CLAIM)) if focus.startswith(ns.CLAIM) else None

    def _told(self, parameter: str, positions: tuple[Position, ...]) -> list[tuple[str, Position]]:
        vocabulary = self.store.vocabulary
        return [(comparable_text(p.value, vocabulary.parameters[parameter], vocabulary), p) for p in positions]

    def _about(self, focus: URIRef) -> tuple[str, Scope]:
        claim = self._claim(focus)
        if claim is not None:
            return claim.parameter, claim.when
        return self.facts.about.get(focus, ("", ()))

    def sources_behind(self, focus: URIRef, claims: tuple[Claim, ...]) -> tuple[str, ...]:
        """The sources of the claims behind a node, and the one that the node is, by id."""
        source = ns.local(focus, ns.SOURCE)
        return tuple(sorted({claim.source for claim in claims} | ({source} if source != str(focus) else set())))

    def places(self, focus: URIRef, claims: tuple[Claim, ...]) -> tuple[Place, ...]:
        """Where a node stands, its case, and the claims behind it."""
        places = [self.store.places[focus]] if focus in self.store.places else []
        places += [self.store.places[case] for case in self.facts.values(focus, TC.case) if case in self.store.places]
        places += [self.store.place_of_claim(claim.id) for claim in claims]
        return tuple(dict.fromkeys(places))

    def words(self, focus: URIRef, rule: Rule, parameter: str, when: Scope, behind: _Behind) -> dict[str, Any]:
        """What may stand in the texts of a rule."""
        claims, positions, _ = behind
        vocabulary = self.store.vocabulary
        topic = self.facts.topics.get(focus)
        conditions = scope_text(when, vocabulary)
        known = vocabulary.parameters.get(parameter)
        first = claims[0] if claims else None
        ruling = self.rulings.get(focus)
        stating = ruling or first
        value = stated_text(stating, vocabulary) if stating else ""
        detail = [self._shown(o) for o in self.facts.values(focus, rule.path)] if rule.path else []
        cases = [self.cases[case] for case in self.facts.values(focus, TC.case) if case in self.cases]
        return {
            "id": _id_of(focus),
            "parameter": known.label if known else parameter or "no parameter",
            "conditions": f" ({conditions})" if conditions else "",
            "topic": topic_id(parameter, when),
            "value": value,
            "source": name_of(self.store.sources, first.source) if first else "",
            "sources": ", ".join(sorted({name_of(self.store.sources, claim.source) for claim in claims})),
            "detail": "; ".join(sorted(detail)),
            "case": next(iter(cases), ""),
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
