"""The comparison: what the voices say of each topic, and whether they can all be right.

The meaning is that of the design; a plain reading of it, written without any of the shortcuts taken here, stands in
the tests and is held against this one on random stores.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from trayconcord.kb.model import Claim, Ruling, Scope, comparable
from trayconcord.kb.store import Store
from trayconcord.kb.values import Comparable
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.positions import ValueTable
from trayconcord.shapes.scopes import ScopeIndex, bits, covers, meet
from trayconcord.shapes.voices import Voices

STANDINGS = ("contested", "agreed", "single", "silent")


@dataclass(frozen=True, slots=True)
class Position:
    """Claims that can all be right together, and the value that they share."""

    value: Comparable
    claims: tuple[Claim, ...]

    @property
    def sources(self) -> tuple[str, ...]:
        """The sources that take the position, by id."""
        return tuple(sorted({claim.source for claim in self.claims}))


@dataclass(frozen=True)
class Topic:
    """A parameter at a cell. ``firm`` is meant for contested topics only; elsewhere it is False."""

    parameter: Parameter
    when: Scope
    standing: str
    firm: bool
    rulings: tuple[Ruling, ...]
    _panel: "_Panel"
    _covering: int

    @property
    def id(self) -> str:
        """The public id: parameter, and the conditions as a query."""
        return topic_id(self.parameter.id, self.when)

    @property
    def ruling(self) -> Ruling | None:
        """The ruling that governs, if there is exactly one."""
        return self.rulings[0] if len(self.rulings) == 1 else None

    @cached_property
    def claims(self) -> tuple[Claim, ...]:
        """What the voices say here, by id."""
        heard = self._panel.heard(self._covering)
        return tuple(sorted((self._panel.claims[index] for index in heard), key=lambda claim: claim.id))

    @cached_property
    def voices(self) -> tuple[str, ...]:
        """The voices that speak here, by id."""
        return tuple(sorted({self._panel.voices.voice(claim.source) for claim in self.claims}))

    @cached_property
    def positions(self) -> tuple[Position, ...]:
        """The maximal sets of compatible claims, in the order of their values."""
        by_value: dict[int, list[Claim]] = {}
        present = 0
        for index in self._panel.heard(self._covering):
            value = self._panel.value_of[index]
            present |= 1 << value
            by_value.setdefault(value, []).append(self._panel.claims[index])
        return tuple(
            Position(shared, tuple(sorted((c for v in bits(members) for c in by_value[v]), key=lambda c: c.id)))
            for members, shared in self._panel.table.positions(present)
        )


def topic_id(parameter: str, when: Scope) -> str:
    """``<parameter>[?<axis>=<concept>&…]``."""
    return parameter + ("?" + "&".join(f"{axis}={concept}" for axis, concept in when) if when else "")


@dataclass(frozen=True, slots=True)
class Statement:
    """What one voice says, more than once, of one parameter in one scope: an internal conflict if positions differ."""

    voice: str
    parameter: str
    when: Scope
    positions: tuple[Position, ...]


class Comparison:
    """The comparison of a whole store, parameter by parameter."""

    def __init__(self, store: Store) -> None:
        self.vocabulary = store.vocabulary
        self.voices = Voices(store.sources)
        by_parameter: dict[str, list[Claim]] = {}
        for claim in store.claims:
            if claim.value is not None:
                by_parameter.setdefault(claim.parameter, []).append(claim)
        self._rulings: dict[str, list[Ruling]] = {}
        for ruling in store.rulings:
            if ruling.value is not None:
                self._rulings.setdefault(ruling.parameter, []).append(ruling)
        self._panels = {
            parameter.id: _Panel(parameter, by_parameter.get(parameter.id, []), self.voices, self.vocabulary)
            for parameter in self.vocabulary.parameters.values()
        }

    @cached_property
    def topics(self) -> list[Topic]:
        """Every topic, in the order of the vocabulary, the general before the special."""
        return [
            self._topic(panel, cell)
            for panel in self._panels.values()
            for cell in sorted(panel.cells(), key=self._reading_order)
        ]

    def at(self, parameter: str, when: Scope) -> Topic:
        """The topic of a parameter at any scope, whether or not it is a cell of its own."""
        return self._topic(self._panels[parameter], when)

    def statements(self) -> list[Statement]:
        """Where a voice speaks more than once of one parameter in one scope."""
        return [statement for panel in self._panels.values() for statement in panel.statements()]

    def superseded(self) -> list[tuple[Claim, str]]:
        """The claims of older editions, each with the edition that speaks instead."""
        return sorted(
            (pair for panel in self._panels.values() for pair in panel.superseded), key=lambda pair: pair[0].id
        )

    def governing(self, parameter: str, when: Scope) -> tuple[Ruling, ...]:
        """The most specific rulings that cover a scope: none, one, or several that tie."""
        over = [r for r in self._rulings.get(parameter, ()) if covers(r.when, when, self.vocabulary)]
        return tuple(
            ruling
            for ruling in over
            if not any(other.when != ruling.when and covers(ruling.when, other.when, self.vocabulary) for other in over)
        )

    def supporters(self, ruling: Ruling) -> tuple[Claim, ...]:
        """The claims of the positions that a ruling agrees with: with each claim of theirs, so with what they share."""
        assert ruling.value is not None
        parameter = self.vocabulary.parameters[ruling.parameter]
        adopted = comparable(ruling.value, parameter, self.vocabulary)
        found: dict[str, Claim] = {}
        for position in self.at(ruling.parameter, ruling.when).positions:
            values = [comparable(c.value, parameter, self.vocabulary) for c in position.claims if c.value is not None]
            if not ValueTable([adopted, *values], parameter, self.vocabulary).conflicts[0]:
                found |= {claim.id: claim for claim in position.claims}
        return tuple(found[claim] for claim in sorted(found))

    def _topic(self, panel: "_Panel", cell: Scope) -> Topic:
        covering = panel.index.covering(cell)
        standing, firm = panel.standing(covering)
        return Topic(panel.parameter, cell, standing, firm, self.governing(panel.parameter.id, cell), panel, covering)

    def _reading_order(self, cell: Scope) -> list[tuple[int, int, str]]:
        axes, concepts = self.vocabulary.axes, self.vocabulary.concepts
        return [(axes[axis].order, concepts[concept].order, concept) for axis, concept in cell]


class _Panel:
    """The speaking claims for one parameter, arranged so that a cell costs little.

    A voice is *plain* when all its claims share one scope and it is neither compiled from another nor compiled by
    one: wherever that scope covers a cell, it is heard in full. Only the others are looked at claim by claim.
    """

    def __init__(self, parameter: Parameter, claims: list[Claim], voices: Voices, vocabulary: Vocabulary) -> None:
        self.parameter, self.voices, self.vocabulary = parameter, voices, vocabulary
        self.claims = voices.speaking(claims)
        spoken = {claim.id for claim in self.claims}
        newest = {voices.voice(claim.source): claim.source for claim in self.claims}
        self.superseded = [(c, newest[voices.voice(c.source)]) for c in claims if c.id not in spoken]

        scope_numbers: dict[Scope, int] = {}
        value_numbers: dict[Comparable, int] = {}
        self.scope_of: list[int] = []
        self.value_of: list[int] = []
        self.voice_of: list[str] = []
        for claim in self.claims:
            assert claim.value is not None
            value = comparable(claim.value, parameter, vocabulary)
            self.scope_of.append(scope_numbers.setdefault(claim.when, len(scope_numbers)))
            self.value_of.append(value_numbers.setdefault(value, len(value_numbers)))
            self.voice_of.append(voices.voice(claim.source))
        self.scopes = list(scope_numbers)
        self.scope_numbers = scope_numbers
        self.index = ScopeIndex(self.scopes, vocabulary)
        self.table = ValueTable(list(value_numbers), parameter, vocabulary)
        self._arrange()

    def _arrange(self) -> None:
        self.scopes_of_voice: dict[str, int] = {}
        repeating: set[str] = set()
        repeated: set[str] = set()
        for index, voice in enumerate(self.voice_of):
            self.scopes_of_voice[voice] = self.scopes_of_voice.get(voice, 0) | 1 << self.scope_of[index]
            origins = self.voices.origins(self.claims[index].source)
            if origins:
                repeating.add(voice)
                repeated |= origins
        count = len(self.scopes)
        self.plain_values = [0] * count
        self.plain_claims: list[list[int]] = [[] for _ in range(count)]
        self.plain_voices: list[set[str]] = [set() for _ in range(count)]
        self.other_claims: list[list[int]] = [[] for _ in range(count)]
        for index, voice in enumerate(self.voice_of):
            scope = self.scope_of[index]
            if self.scopes_of_voice[voice].bit_count() == 1 and voice not in repeating and voice not in repeated:
                self.plain_values[scope] |= 1 << self.value_of[index]
                self.plain_claims[scope].append(index)
                self.plain_voices[scope].add(voice)
            else:
                self.other_claims[scope].append(index)
        self.repeating = repeating
        self.mixed_scopes = sum(1 << scope for scope, others in enumerate(self.other_claims) if others)
        stated = [tuple(axis in dict(scope) for axis in self.parameter.depends_on) for scope in self.scopes]
        numbers: dict[tuple[bool, ...], int] = {}
        self.pattern_of = [numbers.setdefault(pattern, len(numbers)) for pattern in stated]
        self._below: dict[int, int] = {}

    def heard(self, covering: int) -> list[int]:
        """The claims that the voices say of a cell, given the scopes that cover it."""
        plain = [index for scope in bits(covering) for index in self.plain_claims[scope]]
        return plain + self._heard_of_others(covering)

    def _heard_of_others(self, covering: int) -> list[int]:
        said = [
            index
            for scope in bits(covering & self.mixed_scopes)
            for index in self.other_claims[scope]
            if not (self.scopes_of_voice[self.voice_of[index]] & covering & self._strictly_below(scope))
        ]
        if not self.repeating:
            return said
        values: dict[str, set[int]] = {}
        for index in said:
            values.setdefault(self.voice_of[index], set()).add(self.value_of[index])
        return [index for index in said if not self._repeats(index, values)]

    def _repeats(self, index: int, values: dict[str, set[int]]) -> bool:
        return any(
            self.value_of[index] in values.get(origin, ()) for origin in self.voices.origins(self.claims[index].source)
        )

    def _strictly_below(self, scope: int) -> int:
        """The scopes that this one covers, less itself."""
        mask = self._below.get(scope)
        if mask is None:
            mask = 0
            for other in bits(self.index.meeting(self.scopes[scope])):
                if other != scope and self.index.covering(self.scopes[other]) >> scope & 1:
                    mask |= 1 << other
            self._below[scope] = mask
        return mask

    def standing(self, covering: int) -> tuple[str, bool]:
        """Standing and firmness of a cell, given the scopes that cover it."""
        others = self._heard_of_others(covering)
        count = len({self.voice_of[index] for index in others})
        patterns: dict[int, int] = {}
        for scope in bits(covering):
            values = self.plain_values[scope]
            if values:
                count += len(self.plain_voices[scope])
                patterns[self.pattern_of[scope]] = patterns.get(self.pattern_of[scope], 0) | values
        for index in others:
            pattern = self.pattern_of[self.scope_of[index]]
            patterns[pattern] = patterns.get(pattern, 0) | 1 << self.value_of[index]
        if count < 2:
            return ("single" if count else "silent"), False
        present = 0
        for values in patterns.values():
            present |= values
        if not self.table.contested(present):
            return "agreed", False
        return "contested", any(self.table.contested(values) for values in patterns.values())

    def cells(self) -> Iterator[Scope]:
        """The scopes of the claims, and the meets at which two voices clash."""
        yield from self.scopes
        candidates: dict[Scope, list[tuple[int, int]]] = {}
        values_in = [0] * len(self.scopes)
        for index, scope in enumerate(self.scope_of):
            values_in[scope] |= 1 << self.value_of[index]
        against = [0] * len(self.scopes)
        for scope, values in enumerate(values_in):
            for value in bits(values):
                against[scope] |= self.table.conflicts[value]
        for first, scope in enumerate(self.scopes):
            later = self.index.meeting(scope) >> (first + 1) << (first + 1)
            for second in bits(later):
                if against[first] & values_in[second]:
                    common = meet(scope, self.scopes[second], self.vocabulary)
                    if common is not None and common not in self.scope_numbers:
                        candidates.setdefault(common, []).append((first, second))
        for cell, pairs in candidates.items():
            if self._clash(self.index.covering(cell), pairs):
                yield cell

    def _clash(self, covering: int, pairs: list[tuple[int, int]]) -> bool:
        """Whether in one of the pairs of scopes two different voices, both heard, are incompatible."""
        said: dict[int, dict[int, set[str]]] = {}
        for index in self.heard(covering):
            said.setdefault(self.scope_of[index], {}).setdefault(self.value_of[index], set()).add(self.voice_of[index])
        for first, second in pairs:
            theirs = said.get(second, {})
            for value, voices in said.get(first, {}).items():
                conflicts = self.table.conflicts[value]
                for other, other_voices in theirs.items():
                    if conflicts >> other & 1 and len(voices | other_voices) > 1:
                        return True
        return False

    def statements(self) -> Iterator[Statement]:
        """The voices that speak more than once in one scope."""
        groups: dict[tuple[str, int], list[int]] = {}
        for index, voice in enumerate(self.voice_of):
            groups.setdefault((voice, self.scope_of[index]), []).append(index)
        for (voice, scope), indices in groups.items():
            if len(indices) > 1:
                present = 0
                for index in indices:
                    present |= 1 << self.value_of[index]
                positions = tuple(
                    Position(shared, tuple(self.claims[i] for i in indices if members >> self.value_of[i] & 1))
                    for members, shared in self.table.positions(present)
                )
                yield Statement(voice, self.parameter.id, self.scopes[scope], positions)
