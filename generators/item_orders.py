"""Items about steps: which comes first, which last, which between two others."""

from collections.abc import Iterator

from trayconcord.generators.ground import Ground, precedences
from trayconcord.generators.item_making import Workshop
from trayconcord.generators.items import Item, Option
from trayconcord.kb.model import Claim, Ruling
from trayconcord.kb.values import Steps

Sides = dict[str, list[Claim | Ruling]]
Pairs = dict[tuple[str, str], list[Claim | Ruling]]


class Orders(Workshop):
    """Makes the items about steps."""

    def steps(self, ground: Ground) -> Iterator[Item]:
        """A step that two voices or more, and none the other way round, put before (after) each of the others."""
        pairs = {pair: records for pair, records in precedences(ground).items() if self._enough(ground, records)}
        steps = sorted({step for pair in pairs for step in pair})
        for step in steps:
            later = {other: pairs[step, other] for other in steps if (step, other) in pairs}
            earlier = {other: pairs[other, step] for other in steps if (other, step) in pairs}
            yield from self._built(ground, "first", *self._placed(step, later, "later in the order"), step)
            yield from self._built(ground, "last", *self._placed(step, earlier, "earlier in the order"), step)
        for before, after in sorted(pairs):
            yield from self._between(ground, pairs, before, after)

    def _placed(self, step: str, others: Sides, where: str) -> tuple[Option, list[Option]]:
        behind = tuple(dict.fromkeys(record for records in others.values() for record in records))
        distractors = [self._term(other, tuple(records), 1, where) for other, records in others.items()]
        return self._term(step, behind), distractors

    def _between(self, ground: Ground, pairs: Pairs, before: str, after: str) -> Iterator[Item]:
        """The one step that comes between two others, among steps that come before both or after both."""
        steps = sorted({step for pair in pairs for step in pair} - {before, after})
        inside = [step for step in steps if (before, step) in pairs and (step, after) in pairs]
        if len(inside) != 1:
            return
        beyond = {step: pairs[step, before] for step in steps if (step, before) in pairs}
        beyond |= {step: pairs[after, step] for step in steps if (after, step) in pairs}
        behind = tuple(dict.fromkeys((*pairs[before, inside[0]], *pairs[inside[0], after])))
        _, distractors = self._placed(inside[0], beyond, "not between the two")
        yield from self._built(
            ground, "between", self._term(inside[0], behind), distractors, inside[0], asked=Steps((before, after))
        )
