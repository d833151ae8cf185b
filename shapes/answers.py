"""Answers for a case: what holds for a tray that is described, what is disputed, and what the case leaves open.

A case states the axes of a patient and a way of working (arch, ridge, technique, materials, method). Other axes, as the
site of a border, belong to single statements: a question that is answered site by site has one answer for each site.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from trayconcord.kb.model import Claim, Ruling, Scope, comparable, in_order
from trayconcord.kb.store import Store
from trayconcord.kb.values import Comparable, Membership
from trayconcord.kb.vocabulary import Concept, Parameter, Vocabulary
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.scopes import covers, meet, reading_order


@dataclass(frozen=True, slots=True)
class Answer:
    """What holds for one parameter in a case, or at one site of it.

    ``basis`` is "ruling", "tied rulings", "agreement", "one voice", "contested", or "open" where nothing covers
    the case. ``asks`` are the axes that the case leaves open and on which the value depends, as some statement that
    meets the case shows.
    """

    topic: Topic
    basis: str
    asks: tuple[str, ...]

    @property
    def parameter(self) -> Parameter:
        """What the answer is about."""
        return self.topic.parameter


@dataclass(frozen=True, slots=True)
class Question:
    """An axis that a case leaves open: the concepts to choose from, and the parameters that wait for it."""

    axis: str
    choices: tuple[str, ...]
    parameters: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two conditions of a case that do not occur together: the second axis allows only ``allowed``."""

    concept: str
    axis: str
    other: str
    allowed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Answers:
    """All that is said of a case. ``elsewhere`` are planned parameters of which sources speak for other cases only,
    ``silent`` those of which no source speaks at all."""

    case: Scope
    answers: tuple[Answer, ...]
    questions: tuple[Question, ...]
    elsewhere: tuple[Parameter, ...]
    silent: tuple[Parameter, ...]


def contradictions(case: Scope, vocabulary: Vocabulary) -> list[Contradiction]:
    """The conditions of a case that exclude each other, by what the vocabulary says occurs only with what."""
    return [found for axis, concept in case for found in _against(concept, axis, case, vocabulary)]


def occurs(concept: str, case: Scope, vocabulary: Vocabulary, scheme: str | None = None) -> bool:
    """Whether what a concept names occurs in a case: a landmark of its arch, a step of its method.

    With the ``scheme`` of a question, whether the concept can answer that question in the case: the concept then stands
    in place of the case's own condition on the axis of the scheme, and must suit the others as they must suit it.
    """
    axis = next((axis.id for axis in vocabulary.axes.values() if axis.scheme == scheme), "answer")
    answered = tuple((dict(case) | {axis: concept}).items())
    return not any(found.concept == concept or found.axis == axis for found in contradictions(answered, vocabulary))


def in_case(value: Comparable, case: Scope, vocabulary: Vocabulary) -> Comparable:
    """A value as it reads in a case: a set without the members that do not occur there, unless none would be left."""
    if not isinstance(value, Membership):
        return value
    includes, excludes = (
        frozenset(member for member in side if occurs(member, case, vocabulary))
        for side in (value.includes, value.excludes)
    )
    return Membership(includes, excludes, value.exact) if includes or excludes else value


def _against(concept: str, axis: str, case: Scope, vocabulary: Vocabulary) -> Iterable[Contradiction]:
    needed: dict[str, list[str]] = {}
    for name in [concept, *sorted(vocabulary.above[concept] - {concept})]:
        for other in vocabulary.concepts[name].only_with:
            for other_axis in _axes_of(vocabulary.concepts[other], vocabulary):
                if other_axis != axis:
                    needed.setdefault(other_axis, []).append(other)
    for other_axis, allowed in needed.items():
        stated = dict(case).get(other_axis)
        if stated and not any(_comparable(stated, other, vocabulary) for other in allowed):
            yield Contradiction(concept, other_axis, stated, tuple(allowed))


def _axes_of(concept: Concept, vocabulary: Vocabulary) -> Iterable[str]:
    return (axis.id for axis in vocabulary.axes.values() if axis.of_case and axis.scheme in concept.schemes)


def _comparable(one: str, other: str, vocabulary: Vocabulary) -> bool:
    return vocabulary.covers(one, other) or vocabulary.covers(other, one)


class Casebook:
    """Answers cases from one comparison."""

    def __init__(self, store: Store, comparison: Comparison) -> None:
        self.vocabulary, self.comparison = store.vocabulary, comparison
        self._stated: dict[str, list[Scope]] = {}
        records: list[Claim | Ruling] = [*store.claims, *store.rulings]
        for record in records:
            if record.value is not None:
                self._stated.setdefault(record.parameter, []).append(record.when)

    def answers(self, case: Scope) -> Answers:
        """What the sources and the course say of a case, in the order of the vocabulary."""
        found: list[Answer] = []
        elsewhere, silent = [], []
        for parameter in self.planned():
            if parameter.id not in self._stated:
                silent.append(parameter)
                continue
            said = self.answer(parameter, case)
            found += said
            if not said:
                elsewhere.append(parameter)
        return Answers(case, tuple(found), self._questions(found, case), tuple(elsewhere), tuple(silent))

    def planned(self) -> list[Parameter]:
        """The parameters that a plan answers."""
        chapters = self.vocabulary.chapters
        return [p for p in self.vocabulary.parameters.values() if p.chapter in chapters and chapters[p.chapter].planned]

    def answer(self, parameter: Parameter, case: Scope) -> list[Answer]:
        """The answers to one parameter: for the case as a whole, then for each site or kind that statements name."""
        meeting = [scope for scope in dict.fromkeys(self._stated.get(parameter.id, ())) if self._meets(scope, case)]
        scopes: dict[Scope, None] = {}
        for scope in meeting:
            own = {axis: concept for axis, concept in scope if not self.vocabulary.axes[axis].of_case}
            scopes[in_order(dict(case) | own, self.vocabulary)] = None
        result = []
        for scope in sorted(scopes, key=lambda scope: (len(scope), reading_order(scope, self.vocabulary))):
            asks = self._asks(parameter, scope, meeting)
            topic = self.comparison.at(parameter.id, scope)
            if topic.claims or topic.rulings or asks:
                result.append(Answer(topic, basis_of(topic), asks))
        return result

    def _meets(self, scope: Scope, case: Scope) -> bool:
        common = meet(scope, case, self.vocabulary)
        return common is not None and not contradictions(common, self.vocabulary)

    def _asks(self, parameter: Parameter, scope: Scope, meeting: list[Scope]) -> tuple[str, ...]:
        open_axes = [axis for axis in parameter.depends_on if axis not in dict(scope)]
        named = {axis for other in meeting if self._meets(other, scope) for axis, _ in other}
        return tuple(axis for axis in open_axes if axis in named and self.vocabulary.axes[axis].of_case)

    def _questions(self, answers: list[Answer], case: Scope) -> tuple[Question, ...]:
        waiting: dict[str, dict[str, None]] = {}
        for answer in answers:
            for axis in answer.asks:
                waiting.setdefault(axis, {})[answer.parameter.id] = None
        order = self.vocabulary.concepts
        questions = []
        for axis in sorted(waiting, key=lambda name: self.vocabulary.axes[name].order):
            choices = {
                dict(scope)[axis]
                for parameter in waiting[axis]
                for scope in self._stated[parameter]
                if axis in dict(scope) and self._meets(scope, case)
            }
            ordered = tuple(sorted(choices, key=lambda concept: (order[concept].order, concept)))
            questions.append(Question(axis, ordered, tuple(waiting[axis])))
        return tuple(questions)


def basis_of(topic: Topic) -> str:
    """What an answer rests on: "ruling", "tied rulings", "agreement", "one voice", "contested" or "open"."""
    if topic.rulings:
        return "tied rulings" if topic.tied else "ruling"
    return {"agreed": "agreement", "single": "one voice", "contested": "contested", "silent": "open"}[topic.standing]


def says_the_same(topic: Topic, general: Topic, vocabulary: Vocabulary) -> bool:
    """Whether the answer to a case is that of a more general one, so that it need not be said again."""
    return (
        covers(general.when, topic.when, vocabulary)
        and (topic.standing, topic.ruling) == (general.standing, general.ruling)
        and [p.value for p in topic.positions] == [p.value for p in general.positions]
    )


def without_repeats(answers: list[Answer], case: Scope, vocabulary: Vocabulary) -> list[Answer]:
    """The answers to a parameter in a case, less those to a site that say what is said of the whole: the same ruling,
    or the same positions."""
    whole = [answer.topic for answer in answers if answer.topic.when == case]

    def told(topic: Topic) -> bool:
        return any(
            (topic.ruling is not None and topic.ruling == other.ruling) or says_the_same(topic, other, vocabulary)
            for other in whole
        )

    return [answer for answer in answers if answer.topic.when == case or not told(answer.topic)]


def governing_value(topic: Topic, vocabulary: Vocabulary) -> Comparable | None:
    """The value that holds for a topic: the ruling's, else what all voices share; none where rulings tie."""
    if topic.tied:
        return None
    if topic.ruling and topic.ruling.value is not None:
        return comparable(topic.ruling.value, topic.parameter, vocabulary)
    return topic.positions[0].value if topic.standing == "agreed" else None


# --- why -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a statement counts in a case or does not.

    ``fate`` is "applies", "overridden" (its own voice says something more specific: ``by`` names the claims),
    "superseded" (a newer edition speaks: ``by``), "repeats" (it says again what the works it is compiled from say:
    ``by``), "narrower" (it needs a condition that the case leaves open: ``by`` names the axes) or "other case".
    """

    claim: Claim
    fate: str
    by: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Why:
    """How an answer comes about: the topic, each statement on the parameter, and the rulings that cover the case."""

    topic: Topic
    reasons: tuple[Reason, ...]
    voices: dict[str, tuple[str, ...]]
    rulings: tuple[tuple[Ruling, str], ...]


_FATES = ("applies", "overridden", "repeats", "superseded", "narrower", "other case")


def why(parameter: str, case: Scope, store: Store, comparison: Comparison) -> Why:
    """The reasons behind the answer to a parameter in a case."""
    vocabulary, voices = store.vocabulary, comparison.voices
    topic = comparison.at(parameter, case)
    heard = {claim.id: claim for claim in topic.claims}
    newer = {claim.id: source for claim, source in comparison.superseded()}
    reasons = []
    for claim in store.claims:
        if claim.parameter != parameter or claim.value is None:
            continue
        common = meet(claim.when, case, vocabulary)
        if claim.id in heard:
            reasons.append(Reason(claim, "applies"))
        elif claim.id in newer:
            reasons.append(Reason(claim, "superseded", (newer[claim.id],)))
        elif common is None:
            reasons.append(Reason(claim, "other case"))
        elif common != case:
            missing = [axis for axis, concept in common if dict(case).get(axis) != concept]
            reasons.append(Reason(claim, "narrower", tuple(missing)))
        else:
            own = [other.id for other in topic.claims if voices.voice(other.source) == voices.voice(claim.source)]
            origins = sorted(voices.origins(claim.source))
            reasons.append(Reason(claim, "overridden", tuple(own)) if own else Reason(claim, "repeats", tuple(origins)))
    reasons.sort(key=lambda reason: (_FATES.index(reason.fate), reason.claim.id))
    by_voice: dict[str, set[str]] = {}
    for claim in topic.claims:
        by_voice.setdefault(voices.voice(claim.source), set()).add(claim.source)
    return Why(
        topic,
        tuple(reasons),
        {voice: tuple(sorted(sources)) for voice, sources in sorted(by_voice.items())},
        tuple(_rulings(parameter, case, store, comparison)),
    )


def _rulings(parameter: str, case: Scope, store: Store, comparison: Comparison) -> Iterable[tuple[Ruling, str]]:
    governing = comparison.governing(parameter, case)
    for ruling in store.rulings:
        if ruling.parameter == parameter and ruling.value is not None:
            common = meet(ruling.when, case, store.vocabulary)
            if ruling in governing:
                yield ruling, "governs" if len({other.value for other in governing}) == 1 else "ties"
            elif common == case:
                yield ruling, "a narrower ruling governs"
            elif common is not None:
                yield ruling, "is for a narrower case"
