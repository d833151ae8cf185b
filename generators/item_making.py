"""How an item is put together, whatever its kind: stem, options, id; and the question turned round to ask the case."""

import re
from collections.abc import Callable, Iterable, Iterator

from trayconcord.generators.ground import Ground, Grounds, Members
from trayconcord.generators.items import Item, Option, choose, level_of, same_or_overlapping
from trayconcord.kb.model import Claim, Ruling, Scope, comparable, in_order
from trayconcord.kb.values import Choice, Comparable, Interval, Membership, Steps
from trayconcord.kb.vocabulary import Parameter
from trayconcord.shapes.wording import comparable_text, scope_text

STEMS = {
    "value": ("", "Answer as the course has decided."),
    "within": ("Choose the value that every source allows.", "Choose the value that the course allows."),
    "outside": ("Choose the value that no source allows.", "Choose the value that the course does not allow."),
    "statement": ("Which of these do the sources say?", "Which of these has the course decided?"),
    "choice": ("", "Answer as the course has decided."),
    "belongs": ("Choose the one that a source names.", "Choose the one that the course names."),
    "left-out": ("Choose the one that a source leaves out.", "Choose the one that the course leaves out."),
    "unnamed": ("Choose the one that no source names.", "Choose the one that the course does not name."),
    "first": ("Choose the one that comes before all the others.",) * 2,
    "last": ("Choose the one that comes after all the others.",) * 2,
    "between": ("Choose the one that comes after “{after}” and before “{before}”.",) * 2,
    "case": (
        "A source answers “{answer}” for just one of these. Choose the {axis}.",
        "The course has decided “{answer}” for just one of these. Choose the {axis}.",
    ),
}
"""What the stem adds to the parameter's question: where the sources agree, and where the course has ruled."""

KIND_LABELS = {
    "value": "the value",
    "within": "a value that fits",
    "outside": "a value that does not fit",
    "statement": "the statement that holds",
    "choice": "the term",
    "belongs": "a member of a set",
    "left-out": "what is left out",
    "unnamed": "what nobody names",
    "first": "the earliest step",
    "last": "the latest step",
    "between": "a step between two others",
    "case": "the case in which an answer holds",
}


class Workshop:
    """What the makers of all kinds share."""

    def __init__(self, grounds: Grounds, seed: int) -> None:
        self.grounds, self.seed = grounds, seed
        self.vocabulary = grounds.vocabulary
        self.overlapping = same_or_overlapping(self.vocabulary.above)

    def _key(self, ground: Ground) -> Comparable:
        ruling = ground.topic.ruling
        if ruling is not None and ruling.value is not None:
            return comparable(ruling.value, ground.parameter, self.vocabulary)
        return ground.topic.positions[0].value

    def _built(
        self,
        ground: Ground,
        kind: str,
        key: Option,
        distractors: list[Option],
        member: str = "",
        axis: str = "",
        asked: Comparable | None = None,
    ) -> Iterable[Item]:
        parameter, vocabulary = ground.parameter, self.vocabulary
        identifier = identifier_of(kind, parameter.id, ground.when, axis, member)
        chosen = choose(identifier, key, distractors, self.seed, self._clash(ground))
        if chosen is None:
            return []
        options, place = chosen
        ruled = bool(ground.topic.rulings)
        words = {"axis": vocabulary.axes[axis].label if axis else ""}
        if isinstance(asked, Steps):
            words |= zip(("after", "before"), (vocabulary.concepts[step].label for step in asked.steps), strict=True)
        elif isinstance(asked, Choice):
            words["answer"] = vocabulary.concepts[asked.concept].label
        elif asked is not None:
            words["answer"] = self._text(parameter, asked)
        addition = STEMS[kind][ruled].format_map(words)
        told = tuple(condition for condition in ground.when if condition[0] != axis and kind != "statement")
        voices = self._voices(ground.heard if kind in ("value", "choice", "within", "outside") else key.records)
        return [
            Item(
                identifier,
                kind,
                parameter,
                ground.when,
                ground.topic.id,
                "ruling" if ruled else "agreement",
                scope_text(told, vocabulary),
                addition if kind == "statement" else f"{parameter.question} {addition}".strip(),
                options,
                place,
                level_of(kind, ground.when, key, options, voices),
                voices,
                axis,
                asked,
            )
        ]

    def _clash(self, ground: Ground) -> Callable[[Option, Option], bool]:
        if ground.parameter.kind == "yes-no":
            return lambda one, other: one.about.partition("?")[0] == other.about.partition("?")[0]
        if ground.parameter.kind not in ("interval", "count"):
            return self.overlapping

        def clash(one: Option, other: Option) -> bool:
            if isinstance(one.value, Choice):
                return self.overlapping(one, other)
            return not ground.apart(one.value, other.value)

        return clash

    def _cases(self, ground: Ground, answer: Comparable, behind: tuple[Claim | Ruling, ...]) -> Iterator[Item]:
        """For one condition of the topic, other conditions of that axis under which nobody supports the answer."""
        for axis, concept in ground.when:
            distractors = [
                self._term(other, speaking, 1, self._said(there))
                for other, there, speaking in self._elsewhere(ground, axis, concept)
                if self._nobody_supports(there, answer)
            ]
            key = self._term(concept, behind)
            yield from self._built(
                ground, "case", key, distractors, self._asked(answer, ground.parameter), axis, answer
            )

    def _said(self, there: Ground) -> str:
        if there.parameter.kind == "set":
            return "no source names it there"
        texts = sorted({self._text(there.parameter, position.value) for position in there.topic.positions})
        return f"the sources say {' or '.join(texts)}"

    def _elsewhere(self, ground: Ground, axis: str, concept: str) -> Iterator[tuple[str, Ground, tuple[Claim, ...]]]:
        """The same case with another concept on one axis, where somebody speaks of that concept."""
        parameter = ground.parameter.id
        for other in sorted(
            {dict(c.when).get(axis, concept) for c in self.grounds.claims.get(parameter, ())} - {concept}
        ):
            case = in_order({**dict(ground.when), axis: other}, self.vocabulary)
            there = self.grounds.of(self.grounds.topic(parameter, case))
            speaking = tuple(claim for claim in there.heard if dict(claim.when).get(axis) == other)
            if speaking:
                yield other, there, speaking

    def _nobody_supports(self, there: Ground, answer: Comparable) -> bool:
        if there.parameter.kind == "set":
            assert isinstance(answer, Choice)
            return Members(there).unnamed(answer.concept)
        return bool(there.contradicting([answer]))

    def _asked(self, answer: Comparable, parameter: Parameter) -> str:
        if isinstance(answer, Choice):
            return answer.concept
        return re.sub(r"[^a-z0-9.]+", "-", self._text(parameter, answer).casefold().replace("–", "-")).strip("-")

    def _option(self, ground: Ground, value: Interval, behind: tuple[Claim | Ruling, ...]) -> Option:
        return Option(self._text(ground.parameter, value), value, behind)

    def _term(self, concept: str, records: tuple[Claim | Ruling, ...], tier: int = 0, origin: str = "") -> Option:
        return Option(self.vocabulary.concepts[concept].label, Choice(concept), records, tier, origin)

    def _text(self, parameter: Parameter, value: Comparable) -> str:
        return comparable_text(value, parameter, self.vocabulary)

    def _voices(self, records: Iterable[Claim | Ruling]) -> int:
        return len({self.grounds.comparison.voices.voice(r.source) for r in records if isinstance(r, Claim)})

    def _decided(self, records: Iterable[Claim | Ruling]) -> bool:
        return any(isinstance(record, Ruling) for record in records)

    def _taken(self, ground: Ground, claims: list[Claim]) -> str:
        """Where a distractor comes from."""
        if not claims and ground.parameter.kind in ("interval", "count"):
            return "half of it, or twice as much"
        if not claims:
            return "a neighbour in the vocabulary; no source names it for this case"
        first = min(claims, key=lambda claim: (claim.parameter != ground.parameter.id, claim.id))
        where = scope_text(first.when, self.vocabulary) or "in general"
        if first.parameter == ground.parameter.id:
            return f"stated for another case: {where}"
        return f"stated for another question: {self.vocabulary.parameters[first.parameter].label}, {where}"


def identifier_of(kind: str, parameter: str, when: Scope, axis: str = "", member: str = "") -> str:
    """The id of an item: what is asked, for which case, in which way. It outlives a change of its options."""
    conditions = "".join(f"--{name}-{concept}" for name, concept in when)
    return f"{parameter}{conditions}--{'-'.join(part for part in (kind, axis, member) if part)}"


def named_in(record: Claim | Ruling) -> frozenset[str]:
    """The terms that a record takes."""
    if isinstance(record.value, Choice):
        return frozenset({record.value.concept})
    return record.value.includes if isinstance(record.value, Membership) else frozenset()


def named_out(record: Claim | Ruling) -> frozenset[str]:
    """The terms that a record leaves out by name."""
    return record.value.excludes if isinstance(record.value, Membership) else frozenset()
