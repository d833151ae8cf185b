"""The order of work in a case: its steps in one order, and those that the case makes needless."""

from dataclasses import dataclass

from trayconcord.kb.model import Scope
from trayconcord.kb.values import Choice, Comparable, Interval, Steps
from trayconcord.kb.vocabulary import Parameter, Vocabulary
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
    """Whether a case answers with none what the step is for, and with nothing else. Where the course has ruled on any
    of it, only rulings count."""
    vocabulary = comparison.vocabulary
    topics = _asked_of(step, case, comparison)
    ruled = any(topic.ruling for topic in topics)
    governing = [
        (value, topic.parameter)
        for topic in topics
        if (topic.ruling or not ruled) and (value := governing_value(topic, vocabulary)) is not None
    ]
    return bool(governing) and all(says_none(value, parameter, vocabulary) for value, parameter in governing)


def doubts(step: str, case: Scope, comparison: Comparison) -> tuple[str, ...]:
    """The parameters by which some source does without a step, unless the course has ruled on what it is for."""
    topics = _asked_of(step, case, comparison)
    if any(topic.ruling for topic in topics):
        return ()
    return tuple(
        topic.parameter.id
        for topic in topics
        if any(says_none(position.value, topic.parameter, comparison.vocabulary) for position in topic.positions)
    )


def _asked_of(step: str, case: Scope, comparison: Comparison) -> list[Topic]:
    """What is said in a case of the parameters that can make a step needless, in the order of the vocabulary."""
    vocabulary = comparison.vocabulary
    names = sorted(vocabulary.concepts[step].unless_none, key=lambda name: vocabulary.parameters[name].order)
    return [comparison.at(name, case) for name in names]


def says_none(value: Comparable, parameter: Parameter, vocabulary: Vocabulary) -> bool:
    """Whether a value says that there is none of what the parameter is about."""
    match value:
        case Interval(low, high):
            return parameter.none_means is not None and low == high == parameter.none_means
        case Choice(concept):
            return vocabulary.concepts[concept].says_none
        case _:
            return False
