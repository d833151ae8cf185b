"""The agenda of a committee: what is contested and not decided, one entry per decision, in order of consequence.

A ruling on a case holds in every narrower one, so an entry is a contested topic that no wider contested topic covers,
with the narrower ones that the same decision settles.

The consequence of an entry puts the agenda in order and means nothing else. It is the sum of

- the number of voices that speak there,
- how far apart the positions are, 0 to 1, three times (for quantities the gap between the two positions furthest apart,
  in relation to the higher one; for anything else the share of pairs of voices that cannot both be right),
- the strength of the kind of source (0 to 3, from the vocabulary) behind the second strongest position,
- the number of taught cases that ask the question where the topic bears on it, twice,

and entries that a missing condition may explain follow all the firm ones.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

from trayconcord.kb.model import Case
from trayconcord.kb.values import Interval
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.findings import Finding
from trayconcord.shapes.panel import Position
from trayconcord.shapes.scopes import covers, meet

DECIDED = ("tied-rulings", "unsupported-ruling", "stale-ruling", "review-due", "needless-exception")
"""The rules whose findings bring a decision back to the table, the gravest first."""


@dataclass(frozen=True, slots=True)
class Consequence:
    """Why an entry stands where it does. ``apart`` lies between 0 and 1, ``evidence`` between 0 and 3."""

    voices: int
    apart: Fraction
    evidence: int
    cases: int

    @property
    def total(self) -> Fraction:
        """The sum by which entries are put in order."""
        return self.voices + 3 * self.apart + self.evidence + 2 * self.cases


@dataclass(frozen=True, slots=True)
class Entry:
    """One decision to take: the topic, the narrower contested topics that it settles, and the cases it touches.

    ``ruled`` are narrower contested topics that a ruling of their own governs already.
    """

    topic: Topic
    narrower: tuple[Topic, ...]
    ruled: tuple[Topic, ...]
    cases: tuple[Case, ...]
    consequence: Consequence


@dataclass(frozen=True, slots=True)
class Agenda:
    """What to decide, and the decisions to look at again (findings, those of the gravest rule first)."""

    entries: tuple[Entry, ...]
    again: tuple[Finding, ...]


def agenda(report: Report) -> Agenda:
    """The agenda of a checked store."""
    entries = [entry for topics in _by_parameter(report.comparison) for entry in _entries(topics, report)]
    order = report.store.vocabulary.parameters
    rank = {parameter: number for number, parameter in enumerate(order)}
    entries.sort(key=lambda e: (not e.topic.firm, -e.consequence.total, rank[e.topic.parameter.id], e.topic.id))
    again = [finding for finding in report.findings if finding.rule in DECIDED]
    again.sort(key=lambda finding: DECIDED.index(finding.rule))
    return Agenda(tuple(entries), tuple(again))


def _by_parameter(comparison: Comparison) -> Iterable[list[Topic]]:
    contested: dict[str, list[Topic]] = {}
    for topic in comparison.topics:
        if topic.standing == "contested":
            contested.setdefault(topic.parameter.id, []).append(topic)
    return contested.values()


def _entries(contested: list[Topic], report: Report) -> Iterable[Entry]:
    vocabulary = report.comparison.vocabulary
    open_topics = [topic for topic in contested if not topic.rulings]
    for topic in open_topics:
        if any(other is not topic and covers(other.when, topic.when, vocabulary) for other in open_topics):
            continue
        below = [other for other in contested if other is not topic and covers(topic.when, other.when, vocabulary)]
        cases = [
            case
            for case in report.store.cases
            if topic.parameter.id in case.asks and meet(case.when, topic.when, vocabulary) is not None
        ]
        yield Entry(
            topic,
            tuple(other for other in below if not other.rulings),
            tuple(other for other in below if other.rulings),
            tuple(cases),
            Consequence(len(topic.voices), apart(topic, report.comparison), _evidence(topic, report), len(cases)),
        )


def apart(topic: Topic, comparison: Comparison) -> Fraction:
    """How far apart the positions of a contested topic are, from 0 to 1."""
    values = [position.value for position in topic.positions]
    ends = [value.high for value in values if isinstance(value, Interval) and value.high is not None]
    starts = [value.low for value in values if isinstance(value, Interval) and value.low is not None]
    if ends and starts:  # of two quantities that cannot both be right, one ends where the other has not begun
        lower, higher = min(ends), max(starts)
        return min(Fraction(1), (higher - lower) / max(abs(higher), abs(lower)))
    voice = comparison.voices.voice
    pairs = {
        frozenset((one.id, other.id))
        for one, other in combinations(topic.claims, 2)
        if voice(one.source) != voice(other.source)
    }
    together = {frozenset((one.id, other.id)) for p in topic.positions for one, other in combinations(p.claims, 2)}
    return Fraction(len(pairs - together), len(pairs))


def _evidence(topic: Topic, report: Report) -> int:
    """The strength of the second strongest position: a dispute weighs as much as its weaker side."""
    return sorted((_strength(position, report) for position in topic.positions), reverse=True)[1]


def _strength(position: Position, report: Report) -> int:
    kinds, sources = report.store.vocabulary.kinds, report.store.sources
    found = [kinds[sources[s].kind].strength for s in position.sources if s in sources and sources[s].kind in kinds]
    return max(found, default=0)
