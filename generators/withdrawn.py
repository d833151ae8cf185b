"""What an earlier bank of items held and the present one does not, and why: kept with the bank from build to build."""

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from trayconcord.generators.ground import well_founded
from trayconcord.generators.item_bank import may_ask
from trayconcord.generators.items import Item
from trayconcord.kb.errors import unusable
from trayconcord.kb.files import read_regular
from trayconcord.kb.model import in_order
from trayconcord.kb.signs import UNUSABLE
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.scopes import covers
from trayconcord.shapes.wording import position_text, scope_text


@dataclass(frozen=True, slots=True)
class Gone:
    """An item that is withdrawn, as it was asked and answered, and the reason."""

    id: str
    question: str
    answer: str
    parameter: str
    when: dict[str, str]
    reason: str


@dataclass(frozen=True, slots=True)
class Previous:
    """The items of an earlier bank, by id, and what had been withdrawn by then."""

    items: dict[str, Gone]
    withdrawn: dict[str, Gone]


NOTHING = Previous({}, {})


def read_previous(path: Path) -> Previous:
    """The bank that an earlier build or ``items --format json`` wrote. Raises `UnusableInput`."""
    try:
        document = json.loads(read_regular(path).decode())
        items = {entry["id"]: _entry(entry, "") for entry in document["items"]}
        withdrawn = {entry["id"]: _entry(entry, entry["reason"]) for entry in document["withdrawn"]}
    except OSError as error:
        raise unusable(
            path, f"cannot be read: {error.strerror or error}", "name an items.json of an earlier build"
        ) from None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise unusable(
            path, "is no list of items that trayconcord wrote", "name an items.json of an earlier build"
        ) from None
    return Previous(items, withdrawn)


def _entry(entry: Any, reason: str) -> Gone:
    when = {str(axis): str(concept) for axis, concept in entry["when"].items()}
    words = [str(entry[name]) for name in ("id", "question", "answer", "parameter")]
    if any(UNUSABLE.search(text) for text in (*words, *when, *when.values(), str(reason))):
        raise ValueError("a text that no page can show")
    return Gone(words[0], words[1], words[2], words[3], when, str(reason))


def withdrawals(previous: Previous, items: list[Item], comparison: Comparison) -> list[Gone]:
    """The items that an earlier bank held, or had withdrawn before, and this one does not hold; by id."""
    now = {item.id for item in items}
    found: dict[str, Gone] = {}
    for gone in (*previous.withdrawn.values(), *previous.items.values()):
        if gone.id not in now:
            found[gone.id] = Gone(**{**asdict(gone), "reason": _reason(gone, comparison)})
    return [found[identifier] for identifier in sorted(found)]


def revisions(previous: Previous, items: list[Item]) -> list[tuple[Item, str]]:
    """The items whose answer has changed, each with what it was; where a question has one answer and no other."""
    return [
        (item, before.answer)
        for item in items
        if item.kind in ("value", "choice", "statement")
        and (before := previous.items.get(item.id))
        and before.answer != item.answer.text
    ]


def _reason(gone: Gone, comparison: Comparison) -> str:
    vocabulary = comparison.vocabulary
    parameter = vocabulary.parameters.get(gone.parameter)
    known = all(axis in vocabulary.axes and c in vocabulary.concepts for axis, c in gone.when.items())
    if parameter is None or not known:
        return "the vocabulary no longer has the question or its case"
    topic = comparison.at(gone.parameter, in_order(gone.when, vocabulary))
    positions = " | ".join(position_text(p, parameter, vocabulary, topic.when) for p in topic.positions)
    if topic.ruling is not None:
        return "the course has ruled on the topic, and the item does not follow from the ruling"
    if topic.rulings:
        return "rulings tie on the topic"
    if topic.standing == "contested":
        return f"the topic is contested: {positions}"
    if not may_ask(topic):
        return "no source speaks of the topic" if topic.standing == "silent" else "only one voice speaks of the topic"
    if topic.ruling is None and not well_founded(topic.claims, comparison.voices.voice):
        return "too little of it was read: common practice is no voice, and memory alone is not enough"
    inner = [
        other
        for other in comparison.topics
        if other.parameter == parameter and other.standing == "contested" and covers(topic.when, other.when, vocabulary)
    ]
    if inner:
        return f"contested in a case within it: {scope_text(inner[0].when, vocabulary)}"
    if parameter.as_measured:
        return "its values are measured in studies, so that none of them is the right one"
    if parameter.needs_beside:
        return f"a value says nothing without {parameter.needs_beside}"
    return "too few voices or wrong answers are left for it, or another item asks the same"
