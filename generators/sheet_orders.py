"""Contested orders of work on a study sheet: one merged order, and in a line each what is put both ways round."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from trayconcord.generators.work_order import orders_in
from trayconcord.kb.model import Claim
from trayconcord.kb.values import Steps
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.compare import Topic
from trayconcord.shapes.orders import both_ways, merged

Citation = Callable[[tuple[Claim, ...]], list[int]]
"""Gives the numbers of the references behind some claims."""


@dataclass(frozen=True)
class Step:
    """A step of a merged order with the references that name it; ``after`` is the step before, where it is told."""

    id: str
    label: str
    references: list[int]
    after: str = ""


@dataclass(frozen=True)
class BothWays:
    """Two steps that some put one way round and some the other, with the references of either side."""

    one: str
    other: str
    one_first: list[int]
    other_first: list[int]


@dataclass(frozen=True)
class MergedOrder:
    """A contested order: all its steps in one order that keeps what can be kept, and what is put both ways round.

    Where it holds the order of an earlier case and continues it, ``continues`` names that case, and only what that one
    does not say is given.
    """

    case: str
    steps: list[Step]
    differ: list[BothWays]
    continues: str = ""


def merged_order(
    topic: Topic, case: str, base: MergedOrder | None, cite: Citation, vocabulary: Vocabulary
) -> MergedOrder:
    """The merged order of a topic; ``base`` is one that has been told in full, which it may continue."""
    labels = {concept.id: concept.label for concept in vocabulary.concepts.values()}
    orders = orders_in(topic, vocabulary)
    places = merged(orders, vocabulary)
    differ = [
        BothWays(labels[one], labels[other], cite(_first(topic, one, other)), cite(_first(topic, other, one)))
        for one, other in both_ways(orders, vocabulary)
    ]
    known = [step.id for step in base.steps] if base else []
    if base and known == [step for step in places if step in known]:
        added = [
            Step(step, labels[step], cite(_naming(topic, step)), labels[before] if before else "")
            for before, step in pairwise(["", *places])
            if step not in known
        ]
        return MergedOrder(case, added, [pair for pair in differ if pair not in base.differ], base.case)
    return MergedOrder(case, [Step(step, labels[step], cite(_naming(topic, step))) for step in places], differ)


def _naming(topic: Topic, step: str) -> tuple[Claim, ...]:
    return tuple(claim for claim in topic.claims if isinstance(claim.value, Steps) and step in claim.value.steps)


def _first(topic: Topic, one: str, other: str) -> tuple[Claim, ...]:
    """The claims that put one step before another."""
    return tuple(
        claim
        for claim in topic.claims
        if isinstance(claim.value, Steps)
        and {one, other} <= set(claim.value.steps)
        and claim.value.steps.index(one) < claim.value.steps.index(other)
    )
