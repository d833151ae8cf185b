"""Scopes: when one covers another, and what two of them have in common."""

from trayconcord.kb.model import Scope
from trayconcord.kb.vocabulary import Vocabulary


def covers(wider: Scope, narrower: Scope, vocabulary: Vocabulary) -> bool:
    """Whether on every axis of ``wider``, ``narrower`` states that axis with a concept that ``wider``'s covers."""
    stated = dict(narrower)
    return all(axis in stated and vocabulary.covers(concept, stated[axis]) for axis, concept in wider)


def meet(first: Scope, second: Scope, vocabulary: Vocabulary) -> Scope | None:
    """The narrowest scope that both cover, or None where on some shared axis neither concept covers the other."""
    merged = dict(first)
    shared = 0
    for axis, concept in second:
        other = merged.get(axis)
        if other is None:
            merged[axis] = concept
            continue
        shared += 1
        if vocabulary.covers(other, concept):
            merged[axis] = concept
        elif not vocabulary.covers(concept, other):
            return None
    if shared == len(second):  # no axis was added, so the order is the first scope's
        return tuple(merged.items())
    axes = vocabulary.axes
    return tuple(sorted(merged.items(), key=lambda pair: axes[pair[0]].order))


def reading_order(scope: Scope, vocabulary: Vocabulary) -> list[tuple[int, int, str]]:
    """Sorts scopes as a reader expects them: by the vocabulary's order of axes and concepts, the general before the
    special that goes on from it."""
    axes, concepts = vocabulary.axes, vocabulary.concepts
    return [(axes[axis].order, concepts[concept].order, concept) for axis, concept in scope]


class ScopeIndex:
    """Finds, among the scopes of one parameter, those that cover a given scope: a few integer operations each.

    A set of scopes is an integer whose bit i stands for ``scopes[i]``.
    """

    def __init__(self, scopes: list[Scope], vocabulary: Vocabulary) -> None:
        self.scopes = scopes
        self.vocabulary = vocabulary
        self.everything = (1 << len(scopes)) - 1
        self._silent: dict[str, int] = {}
        self._stating: dict[str, dict[str, int]] = {}
        for number, scope in enumerate(scopes):
            for axis, concept in scope:
                stating = self._stating.setdefault(axis, {})
                stating[concept] = stating.get(concept, 0) | 1 << number
        for axis, stating in self._stating.items():
            stated = 0
            for mask in stating.values():
                stated |= mask
            self._silent[axis] = self.everything & ~stated
        self._covering: dict[tuple[str, str], int] = {}
        self._meeting: dict[tuple[str, str], int] = {}

    def covering(self, scope: Scope) -> int:
        """The scopes that cover this one."""
        found = self.everything
        stated = dict(scope)
        for axis, silent in self._silent.items():
            concept = stated.get(axis)
            found &= silent if concept is None else self._covering_on(axis, concept)
        return found

    def meeting(self, scope: Scope) -> int:
        """The scopes that meet this one."""
        found = self.everything
        for axis, concept in scope:
            if axis in self._silent:
                found &= self._meeting_on(axis, concept)
        return found

    def _covering_on(self, axis: str, concept: str) -> int:
        mask = self._covering.get((axis, concept))
        if mask is None:
            mask = self._silent[axis]
            stating = self._stating[axis]
            for ancestor in self.vocabulary.above[concept]:
                mask |= stating.get(ancestor, 0)
            self._covering[axis, concept] = mask
        return mask

    def _meeting_on(self, axis: str, concept: str) -> int:
        mask = self._meeting.get((axis, concept))
        if mask is None:
            mask = self._covering_on(axis, concept)
            for other, stating in self._stating[axis].items():
                if concept in self.vocabulary.above[other]:
                    mask |= stating
            self._meeting[axis, concept] = mask
        return mask


def bits(mask: int) -> list[int]:
    """The positions of the bits that are set, lowest first."""
    found = []
    if mask.bit_length() > 256:  # taking a wide integer apart bit by bit would cost its whole width each time
        digits = bin(mask)[:1:-1]
        place = digits.find("1")
        while place >= 0:
            found.append(place)
            place = digits.find("1", place + 1)
        return found
    while mask:
        low = mask & -mask
        found.append(low.bit_length() - 1)
        mask ^= low
    return found
