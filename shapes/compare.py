"""The comparison: what the voices say of each topic, and whether they can all be right.

The meaning is that of the design; a plain reading of it, written without any of the shortcuts taken here, stands in
the tests and is held against this one on random stores.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

from trayconcord.kb.errors import unusable
from trayconcord.kb.model import Claim, Ruling, Scope, comparable, topic_id
from trayconcord.kb.store import Store
from trayconcord.kb.turtle import bulk
from trayconcord.kb.values import Comparable, Recorded
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.positions import MOST_POSITIONS, TooManyPositions, ValueTable
from trayconcord.shapes.scopes import ScopeIndex, bits, covers, meet
from trayconcord.shapes.voices import Voices

STANDINGS = ("contested", "agreed", "single", "silent")


class Position:
    """Claims that can all be right together, and the ``value`` that they share."""

    __slots__ = ("_claims", "_members", "value")

    def __init__(self, value: Comparable, claims: list[Claim], members: int) -> None:
        self.value = value
        self._claims = claims
        self._members = members

    @property
    def claims(self) -> tuple[Claim, ...]:
        """The claims, by id."""
        return tuple(self._claims[index] for index in bits(self._members))

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
    positions: tuple[Position, ...]
    _panel: "_Panel"
    _heard: int

    @property
    def id(self) -> str:
        """The public id: parameter, and the conditions as a query."""
        return topic_id(self.parameter.id, self.when)

    @property
    def ruling(self) -> Ruling | None:
        """The ruling that governs: none where several tie that adopt different values."""
        return self.rulings[0] if len({ruling.value for ruling in self.rulings}) == 1 else None

    @cached_property
    def claims(self) -> tuple[Claim, ...]:
        """What the voices say here, by id."""
        return tuple(self._panel.claims[index] for index in bits(self._heard))

    @cached_property
    def voices(self) -> tuple[str, ...]:
        """The voices that speak here, by id."""
        return tuple(sorted({self._panel.voice_of[index] for index in bits(self._heard)}))


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
        with bulk():
            self._panels = {
                parameter.id: _Panel(parameter, by_parameter.get(parameter.id, []), self.voices, self.vocabulary)
                for parameter in self.vocabulary.parameters.values()
            }

    @cached_property
    def topics(self) -> list[Topic]:
        """Every topic, in the order of the vocabulary, the general before the special."""
        with bulk():
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

    def ties(self) -> list[tuple[Ruling, Ruling]]:
        """The pairs of rulings that adopt different values and govern, equally closely, what they have in common."""
        found = []
        for rulings in self._rulings.values():
            for one, other in combinations(rulings, 2):
                common = meet(one.when, other.when, self.vocabulary) if one.value != other.value else None
                if common is not None and {one, other} <= set(self.governing(one.parameter, common)):
                    found.append((one, other))
        return found

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
        try:
            standing, firm, positions, heard = panel.judge(cell)
        except TooManyPositions:
            raise unusable(
                topic_id(panel.parameter.id, cell),
                f"the sources take more than {MOST_POSITIONS} positions on it",
                "split the sets that they state into smaller claims",
            ) from None
        rulings = self.governing(panel.parameter.id, cell) if self._rulings else ()
        return Topic(panel.parameter, cell, standing, firm, rulings, positions, panel, heard)

    def _reading_order(self, cell: Scope) -> list[tuple[int, int, str]]:
        axes, concepts = self.vocabulary.axes, self.vocabulary.concepts
        return [(axes[axis].order, concepts[concept].order, concept) for axis, concept in cell]


class _Panel:
    """The speaking claims for one parameter, arranged so that a cell costs little.

    Claims are numbered by id; a set of claims is an integer. A voice is *plain* when all its claims share one scope
    and it is neither compiled from another nor compiled by one: wherever that scope covers a cell, it is heard in
    full. Only the others are looked at claim by claim.
    """

    def __init__(self, parameter: Parameter, claims: list[Claim], voices: Voices, vocabulary: Vocabulary) -> None:
        self.parameter, self.voices, self.vocabulary = parameter, voices, vocabulary
        self.claims = sorted(voices.speaking(claims), key=lambda claim: claim.id)
        newest = {voices.voice(claim.source): claim.source for claim in self.claims}
        self.superseded = [
            (claim, newest[voices.voice(claim.source)])
            for claim in claims
            if claim.source != newest[voices.voice(claim.source)]
        ]
        self.voice_of = [voices.voice(claim.source) for claim in self.claims]
        scope_numbers: dict[Scope, int] = {}
        value_numbers: dict[Comparable, int] = {}
        parsed: dict[Recorded, int] = {}
        self.scope_of = [scope_numbers.setdefault(claim.when, len(scope_numbers)) for claim in self.claims]
        self.value_of: list[int] = []
        for claim in self.claims:
            assert claim.value is not None
            number = parsed.get(claim.value)
            if number is None:
                value = comparable(claim.value, parameter, vocabulary)
                number = parsed[claim.value] = value_numbers.setdefault(value, len(value_numbers))
            self.value_of.append(number)
        self.scope_numbers = scope_numbers
        self.scopes = list(scope_numbers)
        self.scope_index = ScopeIndex(self.scopes, vocabulary)
        self.table = ValueTable(list(value_numbers), parameter, vocabulary)
        self.with_value = _sets(self.value_of, len(value_numbers))
        self._members: dict[int, int] = {}
        self._below: dict[int, int] = {}
        self._arrange()

    def _arrange(self) -> None:
        self.scopes_of_voice: dict[str, int] = {}
        entangled: set[str] = set()
        self.repeating = False
        for index, voice in enumerate(self.voice_of):
            self.scopes_of_voice[voice] = self.scopes_of_voice.get(voice, 0) | 1 << self.scope_of[index]
            origins = self.voices.origins(self.claims[index].source)
            if origins:
                self.repeating = True
                entangled |= origins | {voice}
        count = len(self.scopes)
        self.plain_values = [0] * count
        self.plain_claims = [0] * count
        self.plain_against = [0] * count
        self.other_claims: list[list[int]] = [[] for _ in range(count)]
        voices_in: list[set[str]] = [set() for _ in range(count)]
        plain: list[list[int]] = [[] for _ in range(count)]
        for index, voice in enumerate(self.voice_of):
            scope = self.scope_of[index]
            if voice in entangled or self.scopes_of_voice[voice].bit_count() > 1:
                self.other_claims[scope].append(index)
            else:
                plain[scope].append(index)
                voices_in[scope].add(voice)
                self.plain_values[scope] |= 1 << self.value_of[index]
        for scope, indices in enumerate(plain):
            self.plain_claims[scope] = _set(indices, len(self.claims))
            for value in bits(self.plain_values[scope]):
                self.plain_against[scope] |= self.table.conflicts[value]
        self.plain_voices = [len(voices) for voices in voices_in]
        self.mixed_scopes = sum(1 << scope for scope, others in enumerate(self.other_claims) if others)
        numbers: dict[tuple[bool, ...], int] = {}
        self.pattern_of = [
            numbers.setdefault(tuple(axis in dict(scope) for axis in self.parameter.depends_on), len(numbers))
            for scope in self.scopes
        ]

    def judge(self, cell: Scope) -> tuple[str, bool, tuple[Position, ...], int]:
        """Standing, firmness, positions and the claims heard at a cell."""
        covering = self.scope_index.covering(cell)
        heard, count = 0, 0
        patterns: dict[int, int] = {}
        for scope in bits(covering):
            values = self.plain_values[scope]
            if values:
                heard |= self.plain_claims[scope]
                count += self.plain_voices[scope]
                pattern = self.pattern_of[scope]
                patterns[pattern] = patterns.get(pattern, 0) | values
        if covering & self.mixed_scopes:
            others = self._heard_of_others(covering)
            count += len({self.voice_of[index] for index in others})
            for index in others:
                heard |= 1 << index
                pattern = self.pattern_of[self.scope_of[index]]
                patterns[pattern] = patterns.get(pattern, 0) | 1 << self.value_of[index]
        present = 0
        for values in patterns.values():
            present |= values
        found = self.table.positions(present)
        positions = tuple(Position(shared, self.claims, heard & self._claims_with(values)) for values, shared in found)
        if count < 2:
            return ("single" if count else "silent"), False, positions, heard
        if len(found) == 1:
            return "agreed", False, positions, heard
        firm = any(self.table.contested(values) for values in patterns.values())
        return "contested", firm, positions, heard

    def _claims_with(self, values: int) -> int:
        """The claims, in any scope, whose value is one of these."""
        members = self._members.get(values)
        if members is None:
            members = 0
            for value in bits(values):
                members |= self.with_value[value]
            self._members[values] = members
        return members

    def _heard_of_others(self, covering: int) -> list[int]:
        """Of the voices that are not plain, the claims that they say of a cell."""
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
        return [
            index
            for index in said
            if not any(
                self.value_of[index] in values.get(origin, ())
                for origin in self.voices.origins(self.claims[index].source)
            )
        ]

    def _strictly_below(self, scope: int) -> int:
        """The scopes that this one covers, less itself."""
        mask = self._below.get(scope)
        if mask is None:
            mask = 0
            for other in bits(self.scope_index.meeting(self.scopes[scope])):
                if other != scope and self.scope_index.covering(self.scopes[other]) >> scope & 1:
                    mask |= 1 << other
            self._below[scope] = mask
        return mask

    def cells(self) -> Iterator[Scope]:
        """The scopes of the claims, and the meets at which two voices clash."""
        yield from self.scopes
        values_in = [0] * len(self.scopes)
        for index, scope in enumerate(self.scope_of):
            values_in[scope] |= 1 << self.value_of[index]
        against = list(self.plain_against)
        for scope in bits(self.mixed_scopes):
            for index in self.other_claims[scope]:
                against[scope] |= self.table.conflicts[self.value_of[index]]
        certain: set[Scope] = set()
        doubtful: dict[Scope, list[tuple[int, int]]] = {}
        for first, wider in enumerate(self.scopes):
            for offset in bits(self.scope_index.meeting(wider) >> (first + 1)):
                second = first + 1 + offset
                if not against[first] & values_in[second]:
                    continue
                common = meet(wider, self.scopes[second], self.vocabulary)
                if common is None or common in self.scope_numbers:
                    continue
                if self.plain_against[first] & self.plain_values[second]:  # plain voices of two scopes are two voices
                    certain.add(common)
                else:
                    doubtful.setdefault(common, []).append((first, second))
        yield from certain
        for cell, pairs in doubtful.items():
            if cell not in certain and self._clash(self.scope_index.covering(cell), pairs):
                yield cell

    def _clash(self, covering: int, pairs: list[tuple[int, int]]) -> bool:
        """Whether in one of the pairs of scopes two different voices, both heard, are incompatible."""
        heard = self._heard_of_others(covering)
        said: dict[int, dict[int, set[str]]] = {}
        for scope in {scope for pair in pairs for scope in pair}:
            indices = bits(self.plain_claims[scope]) + [index for index in heard if self.scope_of[index] == scope]
            for index in indices:
                said.setdefault(scope, {}).setdefault(self.value_of[index], set()).add(self.voice_of[index])
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
                said = _set(indices, len(self.claims))
                present = 0
                for index in indices:
                    present |= 1 << self.value_of[index]
                positions = tuple(
                    Position(shared, self.claims, said & self._claims_with(values))
                    for values, shared in self.table.positions(present)
                )
                yield Statement(voice, self.parameter.id, self.scopes[scope], positions)


def _set(members: list[int], size: int) -> int:
    """A set of numbers below ``size`` as an integer, built in one go."""
    data = bytearray((size >> 3) + 1)
    for member in members:
        data[member >> 3] |= 1 << (member & 7)
    return int.from_bytes(data, "little")


def _sets(labels: list[int], count: int) -> list[int]:
    """Per label the set of the places that bear it."""
    places: list[list[int]] = [[] for _ in range(count)]
    for place, label in enumerate(labels):
        places[label].append(place)
    return [_set(members, len(labels)) for members in places]
