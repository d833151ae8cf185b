"""Oral prompts: a question, a model answer, the points looked for; and what to discuss where sources differ."""

from dataclasses import dataclass

from trayconcord.generators.charts import letter
from trayconcord.kb.model import Claim, Ruling, concepts_in
from trayconcord.kb.store import Store
from trayconcord.kb.values import Membership, Steps
from trayconcord.kb.vocabulary import Caution, Parameter, Vocabulary
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.orders import both_ways, orders_of
from trayconcord.shapes.scopes import covers
from trayconcord.shapes.wording import citation, comparable_text, name_of, scope_text, stated_text

MOST_CASES = 4
"""Cases of one question that a prompt goes through, and disputes that it raises; the question's own page has all."""


@dataclass(frozen=True)
class Point:
    """One thing looked for in an answer, with the records that support it and how they are cited."""

    text: str
    cited: tuple[tuple[Claim | Ruling, str], ...]


@dataclass(frozen=True)
class Answer:
    """What holds in one case: the model answer, why where the course has ruled, and the points looked for."""

    case: str
    basis: str
    value: str
    because: str
    points: tuple[Point, ...]


@dataclass(frozen=True)
class Dispute:
    """A contested case: its positions with who takes them, and what would settle it."""

    case: str
    firm: bool
    positions: tuple[tuple[str, Point], ...]
    settle: tuple[str, ...]


@dataclass(frozen=True)
class Prompt:
    """One oral question. ``untold`` is how many more cases its page has."""

    parameter: Parameter
    answers: tuple[Answer, ...]
    disputes: tuple[Dispute, ...]
    untold: int
    cautions: tuple[Caution, ...]


def oral_prompts(store: Store, comparison: Comparison) -> list[Prompt]:
    """The prompts in the order of the chapters: every question on which sources agree, differ, or the course has ruled.

    A question that one voice alone answers gives no prompt: there is nothing to hold an answer against.
    """
    stated = {(claim.parameter, claim.when) for claim in store.claims}
    stated |= {(ruling.parameter, ruling.when) for ruling in store.rulings}
    by_parameter: dict[str, list[Topic]] = {}
    for topic in comparison.answered:
        if (topic.parameter.id, topic.when) in stated:
            by_parameter.setdefault(topic.parameter.id, []).append(topic)
    chapters = list(store.vocabulary.chapters)
    prompts = []
    for topics in by_parameter.values():
        prompt = _prompt(topics, store)
        if prompt.answers or prompt.disputes:
            prompts.append(prompt)
    return sorted(prompts, key=lambda p: (chapters.index(p.parameter.chapter), p.parameter.order))


def _prompt(topics: list[Topic], store: Store) -> Prompt:
    vocabulary = store.vocabulary
    settled = _without_repeats([t for t in topics if t.ruling or t.standing == "agreed"], vocabulary)
    contested = _without_repeats([t for t in topics if t.standing == "contested" and not t.ruling], vocabulary)
    contested.sort(key=lambda t: (not t.firm, -len(t.voices), len(t.when)))
    told = settled[:MOST_CASES] + contested[:MOST_CASES]
    named = {concept for topic in told for claim in topic.claims for concept in concepts_in(claim)}
    return Prompt(
        topics[0].parameter,
        tuple(_answer(topic, store) for topic in settled[:MOST_CASES]),
        tuple(_dispute(topic, store) for topic in contested[:MOST_CASES]),
        len(settled) + len(contested) - len(told),
        tuple(vocabulary.cautions_for(named)),
    )


def _without_repeats(topics: list[Topic], vocabulary: Vocabulary) -> list[Topic]:
    """Leave out a case that is answered as a more general one is."""
    kept: list[Topic] = []
    for topic in sorted(topics, key=lambda t: len(t.when)):
        values = [position.value for position in topic.positions]
        if not any(
            covers(other.when, topic.when, vocabulary)
            and other.ruling == topic.ruling
            and [position.value for position in other.positions] == values
            for other in kept
        ):
            kept.append(topic)
    return kept


def _case(topic: Topic, vocabulary: Vocabulary) -> str:
    return scope_text(topic.when, vocabulary) or "in general"


def _answer(topic: Topic, store: Store) -> Answer:
    vocabulary, ruling = store.vocabulary, topic.ruling
    if ruling is not None:
        point = Point(stated_text(ruling, vocabulary), _cited([ruling], store))
        return Answer(
            _case(topic, vocabulary), "ruling", point.text, ruling.because, (point, *_members([ruling], store))
        )
    claims = list(topic.claims)
    value = comparable_text(topic.positions[0].value, topic.parameter, vocabulary)
    points = _members(claims, store) or [Point(value, _cited(claims, store))]
    return Answer(_case(topic, vocabulary), "agreement", value, "", tuple(points))


def _members(records: list[Claim] | list[Ruling], store: Store) -> list[Point]:
    """The members of a set one by one, those that most sources name first: each is a point of its own."""
    concepts = store.vocabulary.concepts
    named: dict[tuple[bool, str], list[Claim | Ruling]] = {}
    for record in records:
        if isinstance(record.value, Membership):
            for member in record.value.includes:
                named.setdefault((True, member), []).append(record)
            for member in record.value.excludes:
                named.setdefault((False, member), []).append(record)
    ordered = sorted(named.items(), key=lambda pair: (not pair[0][0], -len(pair[1]), concepts[pair[0][1]].order))
    return [
        Point(concepts[member].label if included else f"not {concepts[member].label}", _cited(behind, store))
        for (included, member), behind in ordered
    ]


def _dispute(topic: Topic, store: Store) -> Dispute:
    vocabulary = store.vocabulary
    positions = tuple(
        (
            letter(number),
            Point(comparable_text(p.value, topic.parameter, vocabulary), _cited(list(p.claims), store)),
        )
        for number, p in enumerate(topic.positions)
    )
    return Dispute(_case(topic, vocabulary), topic.firm, positions, tuple(_settle(topic, store)))


def _settle(topic: Topic, store: Store) -> list[str]:
    """What would settle a dispute: a condition that a source does not state, steps put both ways round, or a test."""
    vocabulary = store.vocabulary
    found = []
    for axis in topic.parameter.depends_on:
        silent = [claim for claim in topic.claims if axis not in dict(claim.when)]
        if 0 < len(silent) < len(topic.claims):
            works = sorted({name_of(store.sources, claim.reported_by or claim.source) for claim in silent})
            found.append(f"Look up {vocabulary.axes[axis].question.rstrip('?')} it is meant: {'; '.join(works)}.")
    if any(isinstance(claim.value, Steps) for claim in topic.claims):
        labels = [
            f"{vocabulary.concepts[one].label} / {vocabulary.concepts[other].label}"
            for one, other in both_ways(orders_of(topic.claims), vocabulary)
        ]
        if labels:
            found.append(f"Put both ways round: {'; '.join(labels)}. Which order does a reason speak for?")
    if any(claim.obtained == "recalled" for claim in topic.claims):
        works = sorted({name_of(store.sources, c.source) for c in topic.claims if c.obtained == "recalled"})
        found.append(f"Check in the work itself what is recorded from memory: {'; '.join(works)}.")
    return found or [
        "No condition is left unstated: weigh the evidence behind each position, or let the course decide."
    ]


def _cited(
    records: list[Claim] | list[Ruling] | list[Claim | Ruling], store: Store
) -> tuple[tuple[Claim | Ruling, str], ...]:
    return tuple((record, citation(record, store)) for record in records)
