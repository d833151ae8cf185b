"""Clashes: which claims of a topic cannot both be right, and how their conditions come to meet."""

from dataclasses import dataclass
from itertools import combinations

from trayconcord.kb.model import Claim, Scope, comparable
from trayconcord.kb.values import Comparable, Membership, Steps
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.compare import Topic
from trayconcord.shapes.orders import both_ways
from trayconcord.shapes.positions import ValueTable
from trayconcord.shapes.scopes import meet


@dataclass(frozen=True, slots=True)
class Side:
    """Claims that state one value for one case."""

    value: Comparable
    when: Scope
    claims: tuple[Claim, ...]


@dataclass(frozen=True, slots=True)
class Clash:
    """Two sides that cannot both be right, and the widest case for which both are meant.

    ``disputed`` names what they are at odds on: the places that are in for one and out for the other, or the steps
    that they put both ways round, as ``one / other``; empty for values that simply differ.
    """

    one: Side
    other: Side
    common: Scope
    disputed: tuple[str, ...]


def clashes(topic: Topic, vocabulary: Vocabulary) -> list[Clash]:
    """Every pair of sides of a topic that cannot both be right, in the order of the positions."""
    grouped: dict[tuple[Comparable, Scope], list[Claim]] = {}
    for claim in {claim.id: claim for position in topic.positions for claim in position.claims}.values():
        assert claim.value is not None
        value = comparable(claim.value, topic.parameter, vocabulary)
        grouped.setdefault((value, claim.when), []).append(claim)
    sides = [Side(value, when, tuple(claims)) for (value, when), claims in grouped.items()]
    table = ValueTable([side.value for side in sides], topic.parameter, vocabulary)
    found = []
    for first, second in combinations(range(len(sides)), 2):
        if table.conflicts[first] >> second & 1:
            one, other = sides[first], sides[second]
            common = meet(one.when, other.when, vocabulary)
            assert common is not None  # both cover the topic's cell
            found.append(Clash(one, other, common, _disputed(one.value, other.value, table, vocabulary)))
    return found


def _disputed(one: Comparable, other: Comparable, table: ValueTable, vocabulary: Vocabulary) -> tuple[str, ...]:
    labels = {identifier: concept.label for identifier, concept in vocabulary.concepts.items()}
    if isinstance(one, Steps) and isinstance(other, Steps):
        pairs = both_ways([one.steps, other.steps], vocabulary)
        return tuple(f"{labels[first]} / {labels[second]}" for first, second in pairs)
    if isinstance(one, Membership) and isinstance(other, Membership):
        return tuple(labels[place] for place in table.disputed(one, other))
    return ()
