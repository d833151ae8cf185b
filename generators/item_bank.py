"""The bank: every item that a store supports, and which items of an earlier bank are withdrawn, and why."""

from collections import Counter

from trayconcord.generators.ground import Grounds
from trayconcord.generators.item_kinds import Maker
from trayconcord.generators.items import LEAST_OPTIONS, Item, pick
from trayconcord.kb.store import Store
from trayconcord.kb.values import Comparable
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.scopes import covers

MOST_ALIKE = {"belongs": 12, "unnamed": 4, "outside": 1, "first": 2, "last": 2, "between": 3}
"""How many items of one topic and one kind a bank holds, each with a key of its own, where it is not six; one of three
options that asks for what is wrong, no more."""

ONLY_FEW = ("unnamed", "outside")
"""Kinds that ask for what is wrong: no more of a whole parameter than of a topic."""

MOST_OF_ONE = 15
"""How many items of one parameter a bank holds: 10 % of 150."""

MOST_ANSWERED_SO = 3
"""How many items of one parameter have one answer, in cases that have nothing to do with each other."""

FACTS = ("value", "within", "choice", "belongs", "statement", "case")
"""Kinds that ask for one fact, from one side or the other: a bank asks for a fact once."""


def item_bank(store: Store, comparison: Comparison, seed: int = 1) -> list[Item]:
    """The items of a store, chapter by chapter; the general case before the special."""
    chapters = list(store.vocabulary.chapters)
    kept = _without_rewordings(possible_items(store, comparison, seed), store.vocabulary, seed)
    return sorted(
        kept, key=lambda i: (chapters.index(i.parameter.chapter), i.parameter.order, len(i.when), i.topic, i.kind, i.id)
    )


def possible_items(store: Store, comparison: Comparison, seed: int = 1) -> list[Item]:
    """Every item that a store supports, however often it asks for the same.

    Only topics on which two voices or more agree, or on which the course has ruled, give items.
    """
    grounds = Grounds(store, comparison)
    maker = Maker(grounds, seed)
    made: list[Item] = []
    for topic in comparison.answered:
        if not may_ask(topic):
            continue
        ground = grounds.of(topic)
        if ground.stated_here:
            made += maker.items(ground)
    return made


def selection(items: list[Item], number: int, seed: int = 1) -> list[Item]:
    """So many items for one paper, in the order of the bank: questions and chapters in turn, no topic or key twice.

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
        chosen.append(min(free, key=lambda i: (questions[i.parameter.id], chapters[i.parameter.chapter])))
    return [item for item in items if item in chosen]


def _gives_away(one: Item, other: Item) -> bool:
    """Whether two items on one paper would help to answer each other: the same topic, or the same key."""
    return one.topic == other.topic or (one.parameter == other.parameter and one.answer.text == other.answer.text)


def may_ask(topic: Topic) -> bool:
    """Whether a topic may give items: the course has ruled on it, or two voices or more agree."""
    return topic.ruling is not None or (topic.standing == "agreed" and not topic.rulings)


def _without_rewordings(items: list[Item], vocabulary: Vocabulary, seed: int) -> list[Item]:
    """Leave out what only asks again what is asked already, from another side or for a narrower case; and more than a
    few of one make or of one parameter, the kinds in turn."""
    kept: list[Item] = []
    for item in sorted(items, key=lambda i: (len(i.when), -len(i.options), pick(seed, i.id))):
        ours = [other for other in kept if other.parameter == item.parameter]
        alike = [o for o in ours if o.kind == item.kind and (o.when == item.when or o.kind in ONLY_FEW)]
        most = 1 if item.kind == "unnamed" and len(item.options) == LEAST_OPTIONS else MOST_ALIKE.get(item.kind, 6)
        same = sum(_fact(other) == _fact(item) for other in ours)
        if len(alike) < most and same < MOST_ANSWERED_SO and not any(_again(item, o, vocabulary) for o in ours):
            kept.append(item)
    ranked: dict[str, list[tuple[int, Item]]] = {}
    for item in kept:
        ours_ranked = ranked.setdefault(item.parameter.id, [])
        ours_ranked.append((sum(other.kind == item.kind for _, other in ours_ranked), item))
    return [item for found in ranked.values() for _, item in sorted(found, key=lambda pair: pair[0])[:MOST_OF_ONE]]


def _again(item: Item, other: Item, vocabulary: Vocabulary) -> bool:
    """Whether an item asks what another one asks already."""
    if _fact(item) != _fact(other):
        return False
    if item.kind in ONLY_FEW or covers(other.when, item.when, vocabulary):
        return True
    return item.kind == other.kind == "belongs" and _terms(other) == _terms(item)


def _fact(item: Item) -> tuple[str, Comparable]:
    """What an item asks for: its answer, or the answer that it quotes where it asks for the case. Which steps a step
    stands between makes no new question of it."""
    if item.kind in FACTS:
        return "fact", item.asked or item.answer.value
    return item.kind, item.answer.value


def _terms(item: Item) -> frozenset[str]:
    return frozenset(option.text for option in item.options)
