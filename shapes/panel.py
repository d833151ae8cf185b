"""Panels: the claims for one parameter, arranged so that what is heard at a cell, and how it stands, costs little."""

from collections.abc import Iterator
from dataclasses import dataclass

from trayconcord.kb.model import Claim, Scope, comparable
from trayconcord.kb.values import Comparable
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.positions import ValueTable
from trayconcord.shapes.scopes import ScopeIndex, bits, meet
from trayconcord.shapes.voices import Voices


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


@dataclass(frozen=True, slots=True)
class Statement:
    """What one voice says, more than once, of one parameter in one scope: an internal conflict if positions differ."""

    voice: str
    parameter: str
    when: Scope
    positions: tuple[Position, ...]


class Panel:
    """The speaking claims for one parameter, arranged so that a cell costs little.

    Claims are numbered by id; a set of claims is an integer. A voice is *plain* when all its claims share one scope
    and it is neither compiled from another nor compiled by one: wherever that scope covers a cell, it is heard in
    full. Only the others are looked at claim by claim.
    """

    def __init__(self, parameter: Parameter, claims: list[Claim], voices: Voices, vocabulary: Vocabulary) -> None:
        self.parameter, self.voices, self.vocabulary = parameter, voices, vocabulary
        voice = {source: voices.voice(source) for source in {claim.source for claim in claims}}
        newer = voices.superseded(voice)
        speaking = [claim for claim in claims if claim.source not in newer] if newer else claims
        self.claims = sorted(speaking, key=lambda claim: claim.id)
        self.superseded = [(claim, newer[claim.source]) for claim in claims if claim.source in newer] if newer else []
        self.voice_of = [voice[claim.source] for claim in self.claims]
        scope_numbers: dict[Scope, int] = {}
        value_numbers: dict[Comparable, int] = {}
        known: dict[int, int] = {}
        self.scope_of = [scope_numbers.setdefault(claim.when, len(scope_numbers)) for claim in self.claims]
        self.value_of: list[int] = []
        for claim in self.claims:
            number = known.get(id(claim.value))  # the store reads like values once
            if number is None:
                assert claim.value is not None
                value = comparable(claim.value, parameter, vocabulary)
                number = known[id(claim.value)] = value_numbers.setdefault(value, len(value_numbers))
            self.value_of.append(number)
        self.scope_numbers = scope_numbers
        self.scopes = list(scope_numbers)
        self.scope_index = ScopeIndex(self.scopes, vocabulary)
        self.table = ValueTable(list(value_numbers), parameter, vocabulary)
        self.with_value = _sets(self.value_of, len(value_numbers))
        ways = sorted({claim.obtained for claim in self.claims})
        self.obtained = dict(zip(ways, _sets([ways.index(c.obtained) for c in self.claims], len(ways)), strict=True))
        self._members: dict[int, int] = {}
        self._below: dict[int, int] = {}
        self._arrange()

    def _arrange(self) -> None:
        self.scopes_of_voice: dict[str, int] = {}
        for voice, scope in zip(self.voice_of, self.scope_of, strict=True):
            self.scopes_of_voice[voice] = self.scopes_of_voice.get(voice, 0) | 1 << scope
        entangled: set[str] = set()
        self.repeating = False
        for voice, claim in zip(self.voice_of, self.claims, strict=True):
            if claim.source in self.voices.compiled and (origins := self.voices.origins(claim.source)):
                self.repeating = True
                entangled |= origins | {voice}
        several = {voice for voice, scopes in self.scopes_of_voice.items() if scopes & (scopes - 1)} | entangled
        count = len(self.scopes)
        self.plain_values = [0] * count
        self.plain_claims = [0] * count
        self.plain_against = [0] * count
        self.other_claims: list[list[int]] = [[] for _ in range(count)]
        voices_in: list[set[str]] = [set() for _ in range(count)]
        plain: list[list[int]] = [[] for _ in range(count)]
        for index, voice in enumerate(self.voice_of):
            scope = self.scope_of[index]
            if voice in several:
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
