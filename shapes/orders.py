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
    """One order that keeps each of the given ones as far as they can all be kept; ties go by the vocabulary."""
    rank = {step: vocabulary.concepts[step].order for order in orders for step in order}
    before: dict[str, set[str]] = {step: set() for step in rank}
    for order in orders:
        for earlier, later in pairwise(order):
            before[later].add(earlier)
    result: list[str] = []
    while before:
        free = [step for step, earlier in before.items() if not earlier] or list(before)
        step = min(free, key=lambda candidate: (len(before[candidate]), rank[candidate]))
        result.append(step)
        del before[step]
        for waiting in before.values():
            waiting.discard(step)
    return tuple(result)
