"""The overview: how the topics of each chapter stand, and which sources speak of which chapters."""

from collections import Counter
from dataclasses import dataclass

from trayconcord.kb.model import Source
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Term
from trayconcord.shapes.compare import Topic

STANDINGS = ("contested", "agreed", "single")


@dataclass(frozen=True, slots=True)
class ChapterStanding:
    """How many topics of a chapter stand how; ``ruled`` counts those on which the course has decided."""

    chapter: Term
    counts: dict[str, int]
    ruled: int

    @property
    def total(self) -> int:
        """The topics of the chapter."""
        return sum(self.counts.values())


def chapter_standings(topics: list[Topic], store: Store) -> list[ChapterStanding]:
    """The chapters that have a topic, in order."""
    found = []
    for chapter in store.vocabulary.chapters.values():
        own = [topic for topic in topics if topic.parameter.chapter == chapter.id]
        if own:
            counts = Counter(topic.standing for topic in own)
            ruled = sum(topic.ruling is not None for topic in own)
            found.append(ChapterStanding(chapter, {standing: counts[standing] for standing in STANDINGS}, ruled))
    return found


@dataclass(frozen=True, slots=True)
class Coverage:
    """How many questions a source answers, in all and by chapter, and with how many claims."""

    source: Source
    questions: int
    by_chapter: tuple[int, ...]
    claims: int


def coverage(store: Store) -> list[Coverage]:
    """The sources that answer a question of the vocabulary, those that answer most questions first."""
    vocabulary = store.vocabulary
    answered: dict[str, list[str]] = {}
    for claim in store.claims:
        if claim.parameter in vocabulary.parameters:
            answered.setdefault(claim.source, []).append(claim.parameter)
    found = []
    for source, parameters in answered.items():
        chapters = Counter(vocabulary.parameters[parameter].chapter for parameter in set(parameters))
        found.append(
            Coverage(
                store.sources.get(source, Source(id=source)),
                len(set(parameters)),
                tuple(chapters[chapter] for chapter in vocabulary.chapters),
                len(parameters),
            )
        )
    return sorted(found, key=lambda entry: (-entry.questions, -entry.claims, entry.source.id))
