"""The order of work in a case: its steps in one order, and those that the case makes needless."""

from dataclasses import dataclass

from trayconcord.kb.model import Scope
from trayconcord.kb.values import Interval, Steps
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.answers import governing_value, occurs
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.orders import Order, both_ways, merged, orders_of

PROCEDURE = "procedure"


@dataclass(frozen=True, slots=True)
class WorkOrder:
    """The steps in order, where the order comes from, the pairs that sources put both ways round, and the steps that
    sources name but the case does not need."""

    steps: tuple[str, ...]
    origin: str
    both_ways: tuple[tuple[str, str], ...]
    needless: tuple[str, ...]


def work_order(case: Scope, comparison: Comparison) -> WorkOrder:
    """The order of work. Steps of other methods are left out, as are those for what a ruling or all voices answer with
    none; an order that governs is kept as it is."""
    vocabulary, topic = comparison.vocabulary, comparison.at(PROCEDURE, case)
    governing = governing_value(topic, vocabulary)
    if isinstance(governing, Steps):
        origin = "as the course rules" if topic.ruling else f"as {len(topic.voices)} voices agree"
        return WorkOrder(governing.steps, origin, (), ())
    orders = orders_in(topic, vocabulary)
    steps = merged(orders, vocabulary)
    needless = tuple(step for step in steps if is_needless(step, case, comparison))
    pairs = tuple(pair for pair in both_ways(orders, vocabulary) if not set(pair) & set(needless))
    origin = "from one source" if len(topic.voices) == 1 else f"merged from {len(topic.voices)} sources that differ"
    return WorkOrder(tuple(step for step in steps if step not in needless), origin if orders else "", pairs, needless)


def orders_in(topic: Topic, vocabulary: Vocabulary) -> list[Order]:
    """The orders that are stated for a topic, each without the steps that do not occur in its case."""
    stated = (tuple(s for s in order if occurs(s, topic.when, vocabulary)) for order in orders_of(topic.claims))
    return [order for order in stated if order]


def is_needless(step: str, case: Scope, comparison: Comparison) -> bool:
    """Whether a case answers with none what the step is for."""
    vocabulary = comparison.vocabulary
    for name in vocabulary.concepts[step].unless_none:
        nothing = vocabulary.parameters[name].none_means
        found = governing_value(comparison.at(name, case), vocabulary)
        if nothing is not None and found == Interval(nothing, nothing):
            return True
    return False
