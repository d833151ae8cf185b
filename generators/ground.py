"""The ground that a question stands on: everything that is said of a case, and of every narrower case within it.

An answer may be asked for only where it is right under every voice, so a general question must not be contradicted by
what some source says of a special case. Whoever is heard anywhere within the case is therefore counted.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import combinations

from trayconcord.kb.model import Claim, Ruling, Scope, comparable
from trayconcord.kb.store import Store
from trayconcord.kb.values import Choice, Comparable, Interval, Membership, Steps
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.positions import ValueTable
from trayconcord.shapes.scopes import covers, meet

VERIFIED = ("read", "reported")
"""How a claim was obtained that somebody has seen in a work, its own or another that reports it."""

PRACTICE = "practice"
ENOUGH = 2
"""How many voices have to say what an item asks for, unless the course has ruled."""


def voices_of(records: Iterable[Claim | Ruling], voice: Callable[[str], str]) -> set[str]:
    """The voices behind records. Common practice is nobody's word, so it is no voice here."""
    return {voice(r.source) for r in records if isinstance(r, Claim) and r.obtained != PRACTICE}


def well_founded(records: Iterable[Claim | Ruling], voice: Callable[[str], str]) -> bool:
    """Whether two voices stand behind something, one of which at least was read or is reported."""
    claims = [record for record in records if isinstance(record, Claim)]
    voices = {voice(claim.source) for claim in claims}
    return len(voices) >= ENOUGH and any(claim.obtained in VERIFIED for claim in claims)


def says(said: Comparable, key: Comparable, tolerance: Fraction) -> bool:
    """Whether a value says the key, rather than being compatible with it: a range with one open end says nothing but
    that very range."""
    if not isinstance(said, Interval) or not isinstance(key, Interval) or None not in (said.low, said.high):
        return True
    ends = ((said.low, key.low), (said.high, key.high))
    return all(a is b is None or (a is not None and b is not None and abs(a - b) <= tolerance) for a, b in ends)


@dataclass(frozen=True)
class Ground:
    """What is said of ``topic`` (``heard``), within it (``within``, which holds ``heard`` too), and what the course
    ruled for it or within it (``rulings``)."""

    topic: Topic
    heard: tuple[Claim, ...]
    within: tuple[Claim, ...]
    rulings: tuple[Ruling, ...]
    vocabulary: Vocabulary

    @property
    def parameter(self) -> Parameter:
        """What is asked about."""
        return self.topic.parameter

    @property
    def when(self) -> Scope:
        """The case that is asked about."""
        return self.topic.when

    @property
    def everybody(self) -> tuple[Claim | Ruling, ...]:
        """Whoever is heard here or within, and the course."""
        return (*self.within, *self.rulings)

    @property
    def authorities(self) -> tuple[Claim | Ruling, ...]:
        """Who must support the key: the course where it has ruled, else every voice."""
        return self.rulings if self.topic.rulings else self.everybody

    @property
    def deciding(self) -> tuple[Claim | Ruling, ...]:
        """Who answers the question: the course where it has ruled, else the claims heard for the very case."""
        return self.topic.rulings or self.heard

    def saying(self, key: Comparable) -> tuple[Claim | Ruling, ...]:
        """Who answers the question with the key itself, not merely with something that is compatible with it."""
        return tuple(
            record
            for record in self.deciding
            if isinstance(record, Ruling)
            or (
                record.value is not None
                and says(comparable(record.value, self.parameter, self.vocabulary), key, self.parameter.tolerance)
            )
        )

    def torn(self, voice: Callable[[str], str]) -> bool:
        """Whether one voice gives differing limits or terms for one and the same case, as of two products. Of ranges
        with two ends only what they share is asked."""
        given: dict[tuple[str, Scope], set[Comparable]] = {}
        for claim in self.heard:
            if claim.value is not None and self.parameter.kind in ("interval", "count", "choice"):
                value = comparable(claim.value, self.parameter, self.vocabulary)
                if isinstance(value, Interval) and None not in (value.low, value.high):
                    continue
                given.setdefault((voice(claim.source), claim.when), set()).add(value)
        return not self.topic.rulings and any(len(values) > 1 for values in given.values())

    @cached_property
    def binding(self) -> list[Comparable]:
        """The values that the key must satisfy."""
        return self._values(self.authorities)

    @cached_property
    def spoken(self) -> list[Comparable]:
        """Every value that anyone supports here or within: a distractor must contradict each."""
        return self._values(self.everybody)

    def _values(self, records: tuple[Claim | Ruling, ...]) -> list[Comparable]:
        values = [comparable(r.value, self.parameter, self.vocabulary) for r in records if r.value is not None]
        return list(dict.fromkeys(values))

    @cached_property
    def stated_here(self) -> bool:
        """Whether somebody speaks of this very case, so that it is no mere meet of others."""
        return any(record.when == self.when for record in self.everybody)

    def supported(self, key: Comparable) -> bool:
        """Whether every authority supports the whole key: what it allows holds all of a range, what it names is the
        concept asked for or lies below it."""
        return all(self._implies(said, key) for said in self.binding)

    def _implies(self, said: Comparable, key: Comparable) -> bool:
        if isinstance(said, Interval) and isinstance(key, Interval):
            slack = self.parameter.tolerance
            low = said.low is None or (key.low is not None and key.low >= said.low - slack)
            return low and (said.high is None or (key.high is not None and key.high <= said.high + slack))
        if isinstance(said, Choice) and isinstance(key, Choice):
            return self.vocabulary.covers(key.concept, said.concept)
        return said == key

    def contradicting(self, candidates: list[Comparable]) -> list[int]:
        """The numbers of the candidates that contradict everything that anyone supports here or within."""
        count = len(self.spoken)
        table = ValueTable([*self.spoken, *candidates], self.parameter, self.vocabulary)
        everyone = (1 << count) - 1
        return [n for n in range(len(candidates)) if table.conflicts[count + n] & everyone == everyone]

    def apart(self, one: Comparable, other: Comparable) -> bool:
        """Whether two values contradict each other."""
        return bool(ValueTable([one, other], self.parameter, self.vocabulary).conflicts[0])


class Grounds:
    """The grounds of a store, each computed once."""

    def __init__(self, store: Store, comparison: Comparison) -> None:
        self.store, self.comparison, self.vocabulary = store, comparison, store.vocabulary
        self.claims: dict[str, list[Claim]] = {}
        for claim in store.claims:
            if claim.value is not None:
                self.claims.setdefault(claim.parameter, []).append(claim)
        self._rulings: dict[str, list[Ruling]] = {}
        for ruling in store.rulings:
            if ruling.value is not None:
                self._rulings.setdefault(ruling.parameter, []).append(ruling)
        self._topics: dict[tuple[str, Scope], Topic] = {}
        self._grounds: dict[tuple[str, Scope], Ground] = {}

    def topic(self, parameter: str, when: Scope) -> Topic:
        """The topic at any scope."""
        key = (parameter, when)
        if key not in self._topics:
            self._topics[key] = self.comparison.at(parameter, when)
        return self._topics[key]

    def of(self, topic: Topic) -> Ground:
        """The ground of a topic."""
        key = (topic.parameter.id, topic.when)
        if key not in self._grounds:
            self._grounds[key] = self._ground(topic)
        return self._grounds[key]

    def _ground(self, topic: Topic) -> Ground:
        parameter, when = topic.parameter.id, topic.when
        within = {claim.id: claim for claim in topic.claims}
        for scope in dict.fromkeys(claim.when for claim in self.claims.get(parameter, ())):
            common = meet(when, scope, self.vocabulary)
            if common is not None and common != when:
                within |= {claim.id: claim for claim in self.topic(parameter, common).claims}
        ruled: dict[str, Ruling] = {ruling.id: ruling for ruling in topic.rulings}
        for ruling in self._rulings.get(parameter, ()):
            if ruling.when != when and covers(when, ruling.when, self.vocabulary):
                ruled[ruling.id] = ruling
            elif (common := meet(when, ruling.when, self.vocabulary)) is not None:
                ruled |= {other.id: other for other in self.topic(parameter, common).rulings}
        return Ground(
            topic,
            topic.claims,
            tuple(within[claim] for claim in sorted(within)),
            tuple(ruled[ruling] for ruling in sorted(ruled)),
            self.vocabulary,
        )


class Members:
    """Which places or terms a set of claims puts in and out."""

    def __init__(self, ground: Ground) -> None:
        self.vocabulary = ground.vocabulary
        self.inside: dict[str, list[Claim | Ruling]] = {}
        self.outside: dict[str, list[Claim | Ruling]] = {}
        self.exactly: list[Claim | Ruling] = []
        self.authorities = ground.authorities
        for record in ground.everybody:
            if record.value is None:
                continue
            value = comparable(record.value, ground.parameter, ground.vocabulary)
            if isinstance(value, Membership):
                self._read(record, value)

    def _read(self, record: Claim | Ruling, value: Membership) -> None:
        named = value.includes | value.excludes
        if value.exact:
            self.exactly.append(record)
        for concept, above in self.vocabulary.above.items():
            nearest = max(above & named, key=lambda name: len(self.vocabulary.above[name]), default=None)
            if nearest in value.includes:
                self.inside.setdefault(concept, []).append(record)
            elif nearest is not None or (
                value.exact and not any(concept in self.vocabulary.above[m] for m in value.includes)
            ):
                self.outside.setdefault(concept, []).append(record)

    def excluded(self, concept: str) -> bool:
        """Whether somebody leaves the concept out, by name or by a list that is exact, and nobody puts it in."""
        return concept in self.outside and self.unnamed(concept)

    def undisputed(self, concept: str) -> bool:
        """Whether a concept is in under somebody, and in or open under each authority: no exact set is without it."""
        if concept not in self.inside or any(r in self.authorities for r in self.outside.get(concept, ())):
            return False
        inside = self.inside[concept]
        return all(record in inside for record in self.exactly if record in self.authorities)

    def unnamed(self, concept: str) -> bool:
        """Whether nobody puts in the concept, anything above it, or anything below it."""
        near = self.vocabulary.above[concept] | self.vocabulary.below[concept]
        return not any(other in self.inside for other in near)


def precedences(ground: Ground) -> dict[tuple[str, str], list[Claim | Ruling]]:
    """Pairs of steps, the earlier first, that somebody states in the case and nobody puts the other way round; each
    with who states it."""
    stated: dict[tuple[str, str], list[Claim | Ruling]] = {}
    for record in ground.everybody:
        if isinstance(record.value, Steps):
            for earlier, later in combinations(record.value.steps, 2):
                stated.setdefault((earlier, later), []).append(record)
    return {pair: records for pair, records in stated.items() if pair[::-1] not in stated}
