"""Orders of steps: where several disagree, and one order that keeps what can be kept of them all."""

from collections.abc import Iterable
from itertools import pairwise

from trayconcord.kb.model import Claim
from trayconcord.kb.values import Steps
from trayconcord.kb.vocabulary import Vocabulary

Order = tuple[str, ...]


def orders_of(claims: Iterable[Claim]) -> list[Order]:
    """The orders among what claims state."""
    return [claim.value.steps for claim in claims if isinstance(claim.value, Steps)]


def both_ways(orders: list[Order], vocabulary: Vocabulary) -> list[tuple[str, str]]:
    """The pairs of steps that some put one way round and some the other, in the vocabulary's order."""
    before = {(one, other) for steps in orders for i, one in enumerate(steps) for other in steps[i + 1 :]}
    place = {step: (vocabulary.concepts[step].order, step) for order in orders for step in order}
    found = [pair for pair in before if pair[::-1] in before and place[pair[0]] < place[pair[1]]]
    return sorted(found, key=lambda pair: (place[pair[0]], place[pair[1]]))


def merged(orders: list[Order], vocabulary: Vocabulary) -> Order:
    """One order that keeps each of the given ones as far as they can all be kept.

    Steps that the orders together put in a circle stand next to each other, those that more of the orders put early
    first; whatever is left open goes by the vocabulary, a circle by the last of its steps.
    """
    rank = {step: (vocabulary.concepts[step].order, step) for order in orders for step in order}
    after: dict[str, set[str]] = {step: set() for step in rank}
    for order in orders:
        for earlier, later in pairwise(order):
            after[earlier].add(later)
    reached = {step: _reached(step, after) for step in rank}
    left = {frozenset({other for other in reached[step] if step in reached[other]} | {step}) for step in rank}
    result: list[str] = []
    while left:
        free = [group for group in left if not any(_leads(other, group, reached) for other in left - {group})]
        group = min(free, key=lambda steps: max(rank[step] for step in steps))
        result += sorted(group, key=lambda step: (_votes(step, group, orders), rank[step]))
        left.remove(group)
    return tuple(result)


def _reached(step: str, after: dict[str, set[str]]) -> set[str]:
    found: set[str] = set()
    todo = [step]
    while todo:
        new = after[todo.pop()] - found
        found |= new
        todo += new
    return found


def _leads(one: frozenset[str], other: frozenset[str], reached: dict[str, set[str]]) -> bool:
    return not reached[next(iter(one))].isdisjoint(other)


def _votes(step: str, group: frozenset[str], orders: list[Order]) -> int:
    """How much oftener the others of a circle come before a step than after it."""
    votes = 0
    for order in orders:
        if step in order:
            place = order.index(step)
            votes += sum(1 if order.index(other) < place else -1 for other in group & set(order) - {step})
    return votes
