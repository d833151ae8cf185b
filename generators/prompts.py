"""Oral prompts: a question, a model answer, the points looked for; and what to discuss where sources differ."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from trayconcord.generators.ground import PRACTICE, VERIFIED, says, voices_of
from trayconcord.kb.model import Claim, Ruling, Scope, comparable, concepts_in
from trayconcord.kb.store import Store
from trayconcord.kb.values import Comparable, Membership, Steps
from trayconcord.kb.vocabulary import Caution, Parameter
from trayconcord.shapes.answers import occurs
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.orders import both_ways, orders_of
from trayconcord.shapes.panel import Position
from trayconcord.shapes.scopes import covers
from trayconcord.shapes.wording import (
    citation,
    comparable_text,
    letter,
    name_of,
    position_text,
    printed_text,
    scope_text,
    shown_text,
    some_of,
)

JURISDICTION = "jurisdiction"
"""The axis of what law sets: no course decides that."""

MOST_CASES = 4
"""Answers and disputes of one question that a prompt goes through; the question's own page has all."""

MOST_JOINED = 3
"""How many cases that are answered alike are told by name."""

MOST_CITED, MOST_CITED_EACH = 5, 3
"""How many works a prompt cites behind an answer, and behind each of several points; the question's page has all."""


@dataclass(frozen=True)
class Point:
    """One thing looked for in an answer, with the records that support it and how they are cited; ``most`` of them are
    shown. ``caveat`` says where too little was read of it."""

    text: str
    cited: tuple[tuple[Claim | Ruling, str], ...]
    most: int
    caveat: str = ""

    @property
    def shown(self) -> tuple[tuple[Claim | Ruling, str], ...]:
        """What is cited in the prompt itself."""
        return self.cited[: self.most]

    @property
    def more(self) -> int:
        """How many more support it."""
        return len(self.cited) - len(self.shown)


@dataclass(frozen=True)
class Answer:
    """What holds in one or more cases: the model answer, why where the course has ruled, and the points looked for.

    ``also`` are points that one voice alone names, ``disputed`` whether the sources differ in a case within it.
    """

    cases: tuple[str, ...]
    basis: str
    value: str
    because: str
    points: tuple[Point, ...]
    also: tuple[Point, ...] = ()
    disputed: bool = False

    @property
    def case(self) -> str:
        """The cases in one line; of many the first few."""
        return some_of(self.cases, MOST_JOINED)


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
    prompter = Prompter(store, comparison)
    prompts = [prompter.prompt(topics) for topics in by_parameter.values()]
    told = [prompt for prompt in prompts if prompt.answers or prompt.disputes]
    return sorted(told, key=lambda p: (chapters.index(p.parameter.chapter), p.parameter.order))


class Prompter:
    """Makes the prompts of one store."""

    def __init__(self, store: Store, comparison: Comparison) -> None:
        self.store, self.vocabulary, self.voice = store, store.vocabulary, comparison.voices.voice

    def prompt(self, topics: list[Topic]) -> Prompt:
        """What can be asked about one parameter, given the topics that somebody states."""
        settled = sorted((t for t in topics if self._settled(t)), key=lambda t: len(t.when))
        measured = topics[0].parameter.as_measured  # what studies measured is no dispute with what is required
        contested = [t for t in topics if t.standing == "contested" and not t.ruling and not measured]
        contested.sort(key=lambda t: (not t.firm, len(t.when), -len(t.voices)))
        answers = self._answers(settled, contested)
        disputes = self._disputes(contested)
        told = [topic for _, topic in (*answers[:MOST_CASES], *disputes[:MOST_CASES])]
        named = {concept for topic in told for claim in topic.claims for concept in concepts_in(claim)}
        return Prompt(
            topics[0].parameter,
            tuple(answer for answer, _ in answers[:MOST_CASES]),
            tuple(dispute for dispute, _ in disputes[:MOST_CASES]),
            len(answers) + len(disputes) - len(told),
            tuple(self.vocabulary.cautions_for(named)),
        )

    def _settled(self, topic: Topic) -> bool:
        measured = topic.parameter.as_measured and topic.standing == "contested"
        return topic.ruling is not None or topic.standing == "agreed" or measured

    # what holds

    def _answers(self, settled: list[Topic], contested: list[Topic]) -> list[tuple[Answer, Topic]]:
        """The answers, the general case first: a special one only with what it adds, and cases that are answered alike
        together."""
        found: list[tuple[Answer, Topic]] = []
        for topic in settled:
            wider = [answer for answer, other in found if covers(other.when, topic.when, self.vocabulary)]
            answer = self._answer(topic, wider)
            if answer is None:
                continue
            disputed = topic.ruling is None and any(covers(topic.when, c.when, self.vocabulary) for c in contested)
            answer = replace(answer, disputed=disputed)
            alike = next((n for n, (other, _) in enumerate(found) if _answered_alike(other, answer)), None)
            if alike is None:
                found.append((answer, topic))
            else:
                found[alike] = (_joined(found[alike][0], answer), found[alike][1])
        return found

    def _answer(self, topic: Topic, wider: list[Answer]) -> Answer | None:
        """The answer to one topic; None where wider cases are answered so already."""
        records: Sequence[Claim | Ruling] = [topic.ruling] if topic.ruling is not None else list(topic.claims)
        basis, because = ("ruling", topic.ruling.because) if topic.ruling is not None else ("agreement", "")
        case = (self._case(topic.when),)
        if topic.parameter.kind == "set":
            return self._list(topic, records, wider, Answer(case, basis, "", because, ()))
        if topic.parameter.as_measured and topic.ruling is None:
            points = self._as_stated(topic, records, wider)
            return Answer(case, basis, "as each source gives it, measured or required:", "", points) if points else None
        if topic.ruling is not None:
            value = printed_text(topic.ruling, self.vocabulary)
        else:
            value = position_text(topic.positions[0], topic.parameter, self.vocabulary, topic.when)
        if any((other.value, other.basis) == (value, basis) for other in wider):
            return None
        if topic.ruling is None:
            records = self._saying(topic)
            if not records:  # each is compatible with the others, and none says what they share
                points = self._as_stated(topic, topic.claims, wider)
                return Answer(case, basis, "each compatible with the others:", "", points) if points else None
        point = self._point(value, records, MOST_CITED)
        if (
            not point.caveat
            and topic.ruling is None
            and len(voices_of(records, self.voice)) < len(voices_of(topic.claims, self.voice))
            and len(voices_of(records, self.voice)) == 1
        ):
            point = replace(point, caveat="only one source says so; the others are compatible with it")
        return Answer(case, basis, value, because, (point,))

    def _saying(self, topic: Topic) -> list[Claim]:
        """The claims that say what a topic comes to, less those that are merely compatible with it."""
        key, parameter = topic.positions[0].value, topic.parameter
        return [
            claim
            for claim in topic.claims
            if claim.value is not None
            and says(comparable(claim.value, parameter, self.vocabulary), key, parameter.tolerance)
        ]

    def _list(
        self, topic: Topic, records: Sequence[Claim | Ruling], wider: list[Answer], bare: Answer
    ) -> Answer | None:
        """The members of a set, those that most sources name first, less those told of a wider case and those that do
        not occur in this one."""
        told = {point.text for answer in wider for point in answer.points}
        before = told | {point.text for answer in wider for point in answer.also}
        named: dict[tuple[bool, str], list[Claim | Ruling]] = {}
        for record in records:
            if isinstance(record.value, Membership):
                for included, members in ((True, record.value.includes), (False, record.value.excludes)):
                    for member in members:
                        if occurs(member, topic.when, self.vocabulary, topic.parameter.scheme):
                            named.setdefault((included, member), []).append(record)
        concepts = self.vocabulary.concepts
        ordered = sorted(named.items(), key=lambda pair: (not pair[0][0], -len(pair[1]), concepts[pair[0][1]].order))
        points: list[Point] = []
        also: list[Point] = []
        for (included, member), behind in ordered:
            text = concepts[member].label if included else f"not {concepts[member].label}"
            shared = bare.basis == "ruling" or len({self._voice(record) for record in behind}) > 1
            if text not in (told if shared else before):
                (points if shared else also).append(self._point(text, behind, MOST_CITED_EACH))
        if not points and (before or not also):
            return None
        lead = "besides:" if before else "named:" if points else "named, each by one source alone:"
        exact = "these and no others:" if bare.basis == "ruling" else "on the lists that were read:"
        if any(isinstance(record.value, Membership) and record.value.exact for record in records):
            lead = lead if before or (points and also) else exact
        return replace(bare, value=lead, points=tuple(points or also), also=tuple(also if points else ()))

    def _as_stated(self, topic: Topic, records: Iterable[Claim | Ruling], wider: list[Answer]) -> tuple[Point, ...]:
        """What each source gives, less what is told of a wider case."""
        before = {point.text for answer in wider for point in answer.points}
        stated: dict[Comparable, list[Claim]] = {}
        for record in records:
            if isinstance(record, Claim) and record.value is not None:
                stated.setdefault(comparable(record.value, topic.parameter, self.vocabulary), []).append(record)
        shown = [
            (shown_text(value, behind, topic.parameter, self.vocabulary), behind) for value, behind in stated.items()
        ]
        told = [(text, behind) for text, behind in shown if text not in before]
        return tuple(self._point(text, behind, MOST_CITED_EACH) for text, behind in told)

    # what is disputed

    def _disputes(self, contested: list[Topic]) -> list[tuple[Dispute, Topic]]:
        """The disputes, without any whose positions another one shows already."""
        found: list[tuple[Dispute, Topic]] = []
        for topic in contested:
            dispute = self._dispute(topic)
            texts = {point.text for _, point in dispute.positions}
            if not any(texts <= {point.text for _, point in other.positions} for other, _ in found):
                found.append((dispute, topic))
        return found

    def _dispute(self, topic: Topic) -> Dispute:
        turned = both_ways(orders_of(topic.claims), self.vocabulary) if topic.parameter.kind == "order" else []
        steps = {step for pair in turned for step in pair}
        positions = tuple(
            (letter(number), self._point(self._position(position, topic, steps), position.claims, MOST_CITED))
            for number, position in enumerate(topic.positions)
        )
        return Dispute(self._case(topic.when), topic.firm, positions, tuple(self._settle(topic)))

    def _position(self, position: Position, topic: Topic, disputed: set[str]) -> str:
        """A position in words; of an order only the steps on whose place the sources differ."""
        value = position.value
        if isinstance(value, Steps) and disputed:
            value = Steps(tuple(step for step in value.steps if step in disputed))
            return comparable_text(value, topic.parameter, self.vocabulary)
        return position_text(position, topic.parameter, self.vocabulary, topic.when)

    def _settle(self, topic: Topic) -> list[str]:
        """What would settle a dispute: a condition that a source does not state, steps put both ways, or a test."""
        axes = self.vocabulary.axes
        published = [claim for claim in topic.claims if claim.obtained != PRACTICE]  # in practice nothing is looked up
        legal = JURISDICTION in topic.parameter.depends_on
        found = ["The law of your country governs; a course does not decide it."] if legal else []
        for axis in (*topic.parameter.depends_on, *(a for a in axes if a not in topic.parameter.depends_on)):
            silent = [claim for claim in published if axis not in dict(claim.when)]
            if 0 < len(silent) < len(published):
                works = sorted({name_of(self.store.sources, c.reported_by or c.source) for c in silent})
                asked = axes[axis].question.rstrip("?")
                found.append(f"Look up {asked} it is meant: {some_of(works, MOST_CITED)}.")
        labels = [
            f"{self.vocabulary.concepts[one].label} / {self.vocabulary.concepts[other].label}"
            for one, other in (both_ways(orders_of(topic.claims), self.vocabulary) if _has_orders(topic) else ())
        ]
        if labels:
            found.append(f"Put both ways round: {'; '.join(labels)}. Which order does a reason speak for?")
        recalled = sorted({name_of(self.store.sources, c.source) for c in topic.claims if c.obtained == "recalled"})
        if recalled:
            found.append(f"Check in the work itself what is recorded from memory: {some_of(recalled, MOST_CITED)}.")
        return found or ["Weigh the evidence behind each position, or let the course decide."]

    # words

    def _case(self, when: Scope) -> str:
        return scope_text(when, self.vocabulary) or "in general"

    def _point(self, text: str, records: Sequence[Claim | Ruling], most: int) -> Point:
        cited: dict[str, tuple[Claim | Ruling, str]] = {}
        for record in records:
            words = citation(record, self.store)
            cited.setdefault(words, (record, words))
        return Point(text, tuple(cited.values()), most, self._caveat(records))

    def _caveat(self, records: Sequence[Claim | Ruling]) -> str:
        """What a student is told where too little stands behind a point; nothing where the course has ruled."""
        claims = [record for record in records if isinstance(record, Claim)]
        if not claims or len(claims) < len(records):
            return ""
        if not any(claim.obtained in VERIFIED for claim in claims):
            return "not verified: recalled / common practice only"
        practice = any(claim.obtained == PRACTICE for claim in claims)
        return "one source beside common practice" if practice and len(voices_of(claims, self.voice)) == 1 else ""

    def _voice(self, record: Claim | Ruling) -> str:
        return self.voice(record.source) if isinstance(record, Claim) else record.id


def _has_orders(topic: Topic) -> bool:
    return any(isinstance(claim.value, Steps) for claim in topic.claims)


def _answered_alike(one: Answer, other: Answer) -> bool:
    """Whether two cases have one and the same answer, each a single point that no case within disputes."""
    single = len(one.points) == len(other.points) == 1 and not one.also and not other.also
    return (
        single
        and (one.value, one.basis, one.because) == (other.value, other.basis, other.because)
        and (one.points[0].text == other.points[0].text and one.disputed == other.disputed)
        and one.points[0].caveat == other.points[0].caveat
    )


def _joined(one: Answer, other: Answer) -> Answer:
    first, second = one.points[0], other.points[0]
    cited: dict[str, tuple[Claim | Ruling, str]] = {}
    for record, words in (*first.cited, *second.cited):
        cited.setdefault(words, (record, words))
    point = Point(first.text, tuple(cited.values()), MOST_CITED, first.caveat)
    return replace(one, cases=(*one.cases, *other.cases), points=(point,))
