"""The bank: every item that a store supports, and which items of an earlier bank are withdrawn, and why."""

from collections import Counter

from trayconcord.generators.ground import Grounds
from trayconcord.generators.item_kinds import Maker
from trayconcord.generators.items import Item, pick
from trayconcord.kb.store import Store
from trayconcord.kb.values import Comparable
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.scopes import covers

MOST_ALIKE = {"unnamed": 2, "first": 8, "last": 8}
"""How many items of one topic and one kind a bank holds, each with a key of its own, where it is not six."""


def item_bank(store: Store, comparison: Comparison, seed: int = 1) -> list[Item]:
    """The items of a store, chapter by chapter; the general case before the special.

    Only topics on which two voices or more agree, or on which the course has ruled, give items.
    """
    grounds = Grounds(store, comparison)
    maker = Maker(grounds, seed)
    chapters = list(store.vocabulary.chapters)
    made: list[Item] = []
    for topic in comparison.answered:
        if not may_ask(topic) or topic.parameter.open_list:
            continue
        ground = grounds.of(topic)
        if ground.stated_here:
            made += maker.items(ground)
    kept = _without_rewordings(made, store.vocabulary, seed)
    return sorted(
        kept, key=lambda i: (chapters.index(i.parameter.chapter), i.parameter.order, len(i.when), i.topic, i.kind, i.id)
    )


def selection(items: list[Item], number: int, seed: int = 1) -> list[Item]:
    """So many items for one paper, in the order of the bank: chapters and questions in turn, no topic or key twice.

    Fewer where the bank holds no more that do not give each other away.
    """
    order = sorted(items, key=lambda item: pick(seed, "paper", item.id))
    chosen: list[Item] = []
    while len(chosen) < number:
        free = [item for item in order if not any(_gives_away(item, other) for other in chosen)]
        if not free:
            break
        chapters = Counter(item.parameter.chapter for item in chosen)
        questions = Counter(item.parameter.id for item in chosen)
        chosen.append(min(free, key=lambda i: (chapters[i.parameter.chapter], questions[i.parameter.id])))
    return [item for item in items if item in chosen]


def _gives_away(one: Item, other: Item) -> bool:
    """Whether two items on one paper would help to answer each other: the same topic, or the same key."""
    return one.topic == other.topic or (one.parameter == other.parameter and one.answer.text == other.answer.text)


def may_ask(topic: Topic) -> bool:
    """Whether a topic may give items: the course has ruled on it, or two voices or more agree."""
    return topic.ruling is not None or (topic.standing == "agreed" and not topic.rulings)


def _without_rewordings(items: list[Item], vocabulary: Vocabulary, seed: int) -> list[Item]:
    """Leave out what only asks again, for a narrower case, what is asked already; and more than a few of one make."""
    kept: list[Item] = []
    for item in sorted(items, key=lambda i: (len(i.when), pick(seed, i.id))):
        alike = [
            other
            for other in kept
            if (other.parameter, other.kind, other.axis) == (item.parameter, item.kind, item.axis)
        ]
        again = any(
            (other.answer.value, _asked(other)) == (item.answer.value, _asked(item))
            and (covers(other.when, item.when, vocabulary) or _terms(other) == _terms(item))
            for other in alike
        )
        same = sum(other.when == item.when for other in alike)
        if not again and same < MOST_ALIKE.get(item.kind, 6):
            kept.append(item)
    return kept


def _asked(item: Item) -> Comparable | None:
    """What the stem quotes; which steps a step stands between makes no new question of it."""
    return None if item.kind == "between" else item.asked


def _terms(item: Item) -> frozenset[str]:
    return frozenset(option.text for option in item.options)
