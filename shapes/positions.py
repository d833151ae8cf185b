"""Positions: the maximal sets of mutually compatible values, and what the members of one share.

A set of values is an integer whose bit i stands for value i of a `ValueTable`.
"""

from collections.abc import Iterator
from fractions import Fraction
from functools import reduce
from math import lcm

from trayconcord.kb.values import Choice, Comparable, Interval, Membership, Steps, YesNo
from trayconcord.kb.vocabulary import Parameter, Vocabulary
from trayconcord.shapes.orders import merged
from trayconcord.shapes.scopes import bits

MOST_POSITIONS = 2000
"""Positions a topic may have before the comparison gives up on it: set values can in principle have 3^(n/3)."""


class TooManyPositions(Exception):
    """A topic with more than `MOST_POSITIONS` positions."""


class ValueTable:
    """The distinct values stated for one parameter, and which of them are incompatible."""

    def __init__(self, values: list[Comparable], parameter: Parameter, vocabulary: Vocabulary) -> None:
        self.values = values
        self.parameter = parameter
        self.vocabulary = vocabulary
        self._memo: dict[int, list[tuple[int, Comparable]]] = {}
        self._intervals = parameter.kind in ("interval", "count")
        if self._intervals:
            self._scale_intervals()
            self.conflicts = self._interval_conflicts()
        else:
            self.conflicts = self._pair_conflicts()

    def contested(self, present: int) -> bool:
        """Whether two of the present values are incompatible."""
        return any(self.conflicts[value] & present for value in bits(present))

    def positions(self, present: int) -> list[tuple[int, Comparable]]:
        """The maximal compatible sets of the present values, each with what its members share."""
        if not present:
            return []
        found = self._memo.get(present)
        if found is None:
            cliques = self._interval_cliques(present) if self._intervals else self._cliques(present)
            try:
                found = [(clique, self._shared(clique)) for clique in cliques]
            except RecursionError:  # a thousand sets or orders that go together
                raise TooManyPositions from None
            found.sort(key=lambda position: self._rank(position[1]))
            self._memo[present] = found
        return found

    def disputed(self, one: Membership, other: Membership) -> list[str]:
        """The places that are in for one set and out for the other, the widest of them only, in order."""
        (ins, outs), (their_ins, their_outs) = self._reach(one), self._reach(other)
        places = (ins & their_outs) | (their_ins & outs)
        return [place for place in self.vocabulary.concepts if self.vocabulary.above[place] & places == {place}]

    # --- intervals: integers of a unit so small that every stated bound is whole ------------------------------------

    def _scale_intervals(self) -> None:
        tolerance = self.parameter.tolerance
        ends = [end for value in self.values for end in (value.low, value.high) if end is not None]  # type: ignore[union-attr]
        scale = lcm(tolerance.denominator, *(end.denominator for end in ends))
        largest = max((abs(end) for end in ends), default=Fraction(0))
        beyond = int(largest * scale) + int(tolerance * scale) + 1
        self._tolerance = int(tolerance * scale)
        self._low = [-beyond if v.low is None else int(v.low * scale) for v in self.values]  # type: ignore[union-attr]
        self._high = [beyond if v.high is None else int(v.high * scale) for v in self.values]  # type: ignore[union-attr]

    def _interval_conflicts(self) -> list[int]:
        """Per value those that begin after it ends or end before it begins, from two sorted sweeps."""
        count = len(self.values)
        result = [0] * count
        by_low = sorted(range(count), key=self._low.__getitem__)
        by_high = sorted(range(count), key=self._high.__getitem__)
        ended, index = 0, 0
        for value in by_low:
            while index < count and self._high[by_high[index]] + self._tolerance < self._low[value]:
                ended |= 1 << by_high[index]
                index += 1
            result[value] |= ended
        begun, index = 0, count - 1
        for value in reversed(by_high):
            while index >= 0 and self._low[by_low[index]] > self._high[value] + self._tolerance:
                begun |= 1 << by_low[index]
                index -= 1
            result[value] |= begun
        return result

    def _interval_cliques(self, present: int) -> Iterator[int]:
        """Maximal cliques of the interval graph: where a beginning is followed by an end, all open ones are one."""
        events = sorted(
            [(self._low[value], 0, value) for value in bits(present)]
            + [(self._high[value] + self._tolerance, 1, value) for value in bits(present)]
        )
        active, grew = 0, False
        for _, ends, value in events:
            if ends:
                if grew:
                    yield active
                    grew = False
                active &= ~(1 << value)
            else:
                active |= 1 << value
                grew = True

    # --- other kinds -------------------------------------------------------------------------------------------------

    def _pair_conflicts(self) -> list[int]:
        result = [0] * len(self.values)
        reach = [self._reach(value) for value in self.values]
        for first in range(len(self.values)):
            for second in range(first):
                if self._incompatible(first, second, reach):
                    result[first] |= 1 << second
                    result[second] |= 1 << first
        return result

    def _reach(self, value: Comparable) -> tuple[frozenset[str], frozenset[str]]:
        """The places that a set puts in and out. Naming a place speaks of every place below it that is not itself
        named or below another named one: a hard palate in and its rugae out is the palate without the rugae."""
        if not isinstance(value, Membership):
            return frozenset(), frozenset()
        named = dict.fromkeys(value.includes, True) | dict.fromkeys(value.excludes, False)
        side: dict[bool, set[str]] = {True: set(), False: set()}
        for place, above in self.vocabulary.above.items():
            nearest = max(above & named.keys(), key=lambda name: len(self.vocabulary.above[name]), default=None)
            if nearest is not None:
                side[named[nearest]].add(place)
        if value.exact:
            partly = frozenset().union(*(self.vocabulary.above[member] for member in value.includes))
            side[False] = set(self.vocabulary.concepts) - side[True] - partly
        return frozenset(side[True]), frozenset(side[False])

    def _incompatible(self, first: int, second: int, reach: list[tuple[frozenset[str], frozenset[str]]]) -> bool:
        one, other = self.values[first], self.values[second]
        if isinstance(one, Choice) and isinstance(other, Choice):
            covers = self.vocabulary.covers
            return not (covers(one.concept, other.concept) or covers(other.concept, one.concept))
        if isinstance(one, Membership):
            return not (reach[first][0].isdisjoint(reach[second][1]) and reach[second][0].isdisjoint(reach[first][1]))
        if isinstance(one, Steps) and isinstance(other, Steps):
            shared = set(one.steps) & set(other.steps)
            return [s for s in one.steps if s in shared] != [s for s in other.steps if s in shared]
        return one != other

    def _cliques(self, present: int) -> Iterator[int]:
        """Maximal cliques of the compatibility graph (Bron and Kerbosch 1973, with a pivot)."""
        found = 0

        def extend(clique: int, candidates: int, excluded: int) -> Iterator[int]:
            nonlocal found
            if not candidates and not excluded:
                found += 1
                if found > MOST_POSITIONS:
                    raise TooManyPositions
                yield clique
                return
            pivot = max(
                bits(candidates | excluded), key=lambda value: (candidates & ~self._conflicting(value)).bit_count()
            )
            for value in bits(candidates & self._conflicting(pivot)):
                friends = ~self._conflicting(value)
                yield from extend(clique | 1 << value, candidates & friends, excluded & friends)
                candidates &= ~(1 << value)
                excluded |= 1 << value

        return extend(0, present, 0)

    def _conflicting(self, value: int) -> int:
        return self.conflicts[value] | 1 << value

    # --- what a position shares --------------------------------------------------------------------------------------

    def _shared(self, clique: int) -> Comparable:
        members = [self.values[value] for value in bits(clique)]
        first = members[0]
        if isinstance(first, Interval):
            lows = [m.low for m in members if isinstance(m, Interval) and m.low is not None]
            highs = [m.high for m in members if isinstance(m, Interval) and m.high is not None]
            low, high = max(lows, default=None), min(highs, default=None)
            if low is not None and high is not None and low > high:  # they meet only within the tolerance
                low, high = high, low
            return Interval(low, high)
        if isinstance(first, Choice):
            return max(members, key=lambda m: len(self.vocabulary.above[m.concept]))  # type: ignore[union-attr]
        if isinstance(first, Membership):
            return reduce(_union, members)  # type: ignore[arg-type]
        if isinstance(first, Steps):
            return Steps(merged([m.steps for m in members if isinstance(m, Steps)], self.vocabulary))
        return first

    def _rank(self, value: Comparable) -> tuple[object, ...]:
        order = self.vocabulary.concepts
        match value:
            case Interval(low, high):
                return (low is not None, low or 0, high is None, high or 0)
            case Choice(concept):
                return (order[concept].order, concept)
            case YesNo(yes):
                return (not yes,)
            case Steps(steps):
                return tuple((order[step].order, step) for step in steps)
            case Membership(includes, excludes, exact):
                return (not exact, sorted((order[m].order, m) for m in includes), sorted(excludes))


def _union(one: Membership, other: Membership) -> Membership:
    exact = one.exact or other.exact
    excludes = frozenset() if exact else one.excludes | other.excludes
    return Membership(one.includes | other.includes, excludes, exact)
