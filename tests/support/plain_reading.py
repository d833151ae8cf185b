"""The comparison read plainly, line by line of the design, with no shortcut: slow, obvious, and written apart.

It shares with the project only the records and the vocabulary's parent links.
"""

from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

from trayconcord.kb.model import Claim, Scope, comparable
from trayconcord.kb.store import Store
from trayconcord.kb.values import Choice, Interval, Membership, Steps, YesNo
from trayconcord.kb.vocabulary import Vocabulary


@dataclass(frozen=True)
class PlainTopic:
    standing: str
    firm: bool
    voices: frozenset[str]
    positions: frozenset[frozenset[str]]
    shared: dict[frozenset[str], tuple[Fraction | None, Fraction | None]]


class PlainReading:
    """Topics of one parameter of a store."""

    def __init__(self, store: Store, parameter: str) -> None:
        self.store, self.vocabulary = store, store.vocabulary
        self.parameter = self.vocabulary.parameters[parameter]
        claims = [c for c in store.claims if c.parameter == parameter and c.value is not None]
        self.claims = [claim for claim in claims if self._is_newest(claim, claims)]

    # concepts and scopes

    def concept_covers(self, a: str, b: str) -> bool:
        here: str | None = b
        while here is not None:
            if here == a:
                return True
            here = self.vocabulary.concepts[here].broader
        return False

    def covers(self, s: Scope, t: Scope) -> bool:
        return all(any(axis == other and self.concept_covers(c, d) for other, d in t) for axis, c in s)

    def meet(self, s: Scope, t: Scope) -> Scope | None:
        first, second, result = dict(s), dict(t), {}
        for axis in self.vocabulary.axes:
            if axis in first and axis in second:
                if self.concept_covers(first[axis], second[axis]):
                    result[axis] = second[axis]
                elif self.concept_covers(second[axis], first[axis]):
                    result[axis] = first[axis]
                else:
                    return None
            elif axis in first or axis in second:
                result[axis] = first.get(axis) or second[axis]
        return tuple(result.items())

    # voices

    def voice(self, source: str) -> str:
        seen = []
        while source not in seen:
            seen.append(source)
            record = self.store.sources.get(source)
            if record is None or not record.edition_of:
                return source
            source = record.edition_of
        return min(seen[seen.index(source) :])

    def _is_newest(self, claim: Claim, claims: list[Claim]) -> bool:
        def age(source: str) -> tuple[int, str]:
            return (self.store.sources[source].year if source in self.store.sources else 0, source)

        same = {c.source for c in claims if self.voice(c.source) == self.voice(claim.source)}
        return claim.source == max(same, key=age)

    def behind(self, source: str) -> set[str]:
        found: set[str] = set()
        while True:
            parents = {
                parent
                for s in found | {source}
                if s in self.store.sources
                for parent in self.store.sources[s].compiled_from
            }
            if parents <= found:
                return found
            found |= parents

    def repeated_voices(self, source: str) -> set[str]:
        origins = {o for o in self.behind(source) if source not in self.behind(o)}
        return {self.voice(origin) for origin in origins} - {self.voice(source)}

    # values

    def value(self, claim: Claim):
        assert claim.value is not None
        return comparable(claim.value, self.parameter, self.vocabulary)

    def compatible(self, a: Claim, b: Claim) -> bool:
        return values_compatible(self.value(a), self.value(b), self.parameter.tolerance, self.vocabulary)

    # what is said

    def said_by(self, voice: str, cell: Scope) -> list[Claim]:
        covering = [c for c in self.claims if self.voice(c.source) == voice and self.covers(c.when, cell)]
        return [c for c in covering if not any(d.when != c.when and self.covers(c.when, d.when) for d in covering)]

    def heard(self, cell: Scope) -> list[Claim]:
        result = []
        for voice in {self.voice(c.source) for c in self.claims}:
            for claim in self.said_by(voice, cell):
                repeats = any(
                    self.value(other) == self.value(claim)
                    for origin in self.repeated_voices(claim.source)
                    for other in self.said_by(origin, cell)
                )
                if not repeats:
                    result.append(claim)
        return result

    def cells(self) -> set[Scope]:
        result = {c.when for c in self.claims}
        for a, b in combinations(self.claims, 2):
            common = self.meet(a.when, b.when)
            if common is None or self.voice(a.source) == self.voice(b.source) or self.compatible(a, b):
                continue
            heard = self.heard(common)
            if a in heard and b in heard:
                result.add(common)
        return result

    def topic(self, cell: Scope) -> PlainTopic:
        heard = self.heard(cell)
        voices = frozenset(self.voice(c.source) for c in heard)
        positions = self.maximal(heard)
        if not heard:
            standing = "silent"
        elif len(voices) == 1:
            standing = "single"
        else:
            standing = "agreed" if len(positions) == 1 else "contested"
        firm = standing == "contested" and any(
            not self.compatible(a, b)
            and all((axis in dict(a.when)) == (axis in dict(b.when)) for axis in self.parameter.depends_on)
            for a, b in combinations(heard, 2)
        )
        by_id = {c.id: c for c in heard}
        shared = {}
        if self.parameter.kind in ("interval", "count"):
            for position in positions:
                values = [self.value(by_id[i]) for i in position]
                lows = [v.low for v in values if v.low is not None]
                highs = [v.high for v in values if v.high is not None]
                low, high = (max(lows) if lows else None), (min(highs) if highs else None)
                if low is not None and high is not None and low > high:
                    low, high = high, low
                shared[position] = (low, high)
        return PlainTopic(standing, firm, voices, positions, shared)

    def maximal(self, claims: list[Claim]) -> frozenset[frozenset[str]]:
        """Every subset of mutually compatible claims that no claim can be added to."""
        result = set()
        for size in range(1, len(claims) + 1):
            for subset in combinations(claims, size):
                if all(self.compatible(a, b) for a, b in combinations(subset, 2)) and not any(
                    c not in subset and all(self.compatible(c, member) for member in subset) for c in claims
                ):
                    result.add(frozenset(c.id for c in subset))
        return frozenset(result)


def values_compatible(a, b, tolerance: Fraction, vocabulary: Vocabulary) -> bool:
    """Compatibility of two comparable values, case by case."""

    def covers(x: str, y: str) -> bool:
        here: str | None = y
        while here is not None:
            if here == x:
                return True
            here = vocabulary.concepts[here].broader
        return False

    if isinstance(a, Interval):
        if a.high is not None and b.low is not None and b.low - a.high > tolerance:
            return False
        return not (b.high is not None and a.low is not None and a.low - b.high > tolerance)
    if isinstance(a, Choice):
        return covers(a.concept, b.concept) or covers(b.concept, a.concept)
    if isinstance(a, YesNo):
        return a.yes == b.yes
    if isinstance(a, Membership):

        def nearest_named(value: Membership, place: str) -> str | None:
            here: str | None = place
            while here is not None:
                if here in value.includes or here in value.excludes:
                    return here
                here = vocabulary.concepts[here].broader
            return None

        def inside(value: Membership, place: str) -> bool:
            return nearest_named(value, place) in value.includes

        def outside(value: Membership, place: str) -> bool:
            if value.exact:
                partly = any(covers(place, member) for member in value.includes)
                return not inside(value, place) and not partly
            return nearest_named(value, place) in value.excludes

        return not any(
            (inside(a, place) and outside(b, place)) or (inside(b, place) and outside(a, place))
            for place in vocabulary.concepts
        )
    assert isinstance(a, Steps)
    edges = {(x, y) for order in (a.steps, b.steps) for i, x in enumerate(order) for y in order[i + 1 :]}
    steps = {step for edge in edges for step in edge}
    reach = set(edges)
    for middle in steps:
        for start in steps:
            for end in steps:
                if (start, middle) in reach and (middle, end) in reach:
                    reach.add((start, end))
    return not any((step, step) in reach for step in steps)
