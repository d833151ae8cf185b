"""How an item is put together, whatever its kind: stem, options, id; and the question turned round to ask the case."""

import re
from collections.abc import Callable, Iterable, Iterator

from trayconcord.generators.ground import Ground, Grounds, Members, voices_of, well_founded
from trayconcord.generators.items import Item, Option, choose, level_of, same_or_overlapping, too_near
from trayconcord.kb.model import Claim, Ruling, Scope, comparable, in_order
from trayconcord.kb.values import Choice, Comparable, Interval, Membership, Steps
from trayconcord.kb.vocabulary import Parameter
from trayconcord.shapes.answers import occurs
from trayconcord.shapes.wording import comparable_text, scope_text

STEMS = {
    "value": ("stem", "", "Answer as the course has decided."),
    "within": ("stem", "Choose the value that every source allows.", "Choose the value that the course allows."),
    "outside": ("stem_not", "Choose the value that NO source allows.", "Choose the value that the course rules OUT."),
    "statement": ("stem", "Choose what the sources say.", "Choose what the course has decided."),
    "choice": ("stem", "", "Answer as the course has decided."),
    "belongs": ("stem", "Choose the one that sources name.", "Choose the one that the course names."),
    "left-out": ("stem_not", "Choose the one that sources leave OUT.", "Choose the one that the course leaves OUT."),
    "unnamed": ("stem_not", "Choose the one that NO source names.", "Choose the one that the course does NOT name."),
    "first": ("stem", "Choose the one that comes before all the others.", ""),
    "last": ("stem", "Choose the one that comes after all the others.", ""),
    "between": ("stem", "Choose the one that comes after “{after}” and before “{before}”.", ""),
    "case": (
        "stem_case",
        "The sources answer “{answer}” for just one of these. Choose the {axis}.",
        "The course has decided “{answer}” for just one of these. Choose the {axis}.",
    ),
}
"""Which wording of the parameter an item takes; what is added to the parameter's question where it has no such wording,
where the sources agree; and where the course has ruled."""

PLACES = {"first": "comes first", "last": "comes last", "between": "comes after “{after}” and before “{before}”"}

NONE = "none"
"""The word for a quantity that stands for no such thing at all."""

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
        parameter = ground.parameter
        identifier = identifier_of(kind, parameter.id, ground.when, axis, member)
        ascending = isinstance(key.value, Interval) and kind != "outside"  # there the key would mostly be the first
        chosen = choose(identifier, key, distractors, self.seed, self._clash(ground, kind), ascending)
        if chosen is None:
            return []
        options, place = chosen
        told = tuple(condition for condition in ground.when if condition[0] != axis)
        voices = self._voices(key.records or ground.heard)
        return [
            Item(
                identifier,
                kind,
                parameter,
                ground.when,
                ground.topic.id,
                "ruling" if ground.topic.rulings else "agreement",
                scope_text(told, self.vocabulary),
                self._stem(ground, kind, axis, asked),
                options,
                place,
                level_of(kind, ground.when, key, options, voices),
                voices,
                axis,
                asked,
            )
        ]

    def _stem(self, ground: Ground, kind: str, axis: str, asked: Comparable | None) -> str:
        """What an item asks: in the parameter's own words for such an item, else its question with an addition."""
        parameter, ruled = ground.parameter, bool(ground.topic.rulings)
        wording, agreed, decided = STEMS[kind]
        words = {"axis": self.vocabulary.axes[axis].label if axis else ""}
        if isinstance(asked, Steps):
            labels = [self.vocabulary.concepts[step].label for step in asked.steps]
            words |= zip(("after", "before"), labels, strict=True)
        elif asked is not None:
            words["answer"] = self._text(parameter, asked)
        words["place"] = PLACES.get(kind, "").format_map(words)
        if kind == "outside" and ruled:
            about = parameter.label[0].upper() + parameter.label[1:]
            return f"{about}: which of these lies OUTSIDE what the course allows?"
        own = str(getattr(parameter, wording)).format_map(words)
        if kind == "case" and words["answer"] == NONE and parameter.stem_none:
            own = parameter.stem_none
        if not own:
            return f"{parameter.question} {(decided if ruled and decided else agreed).format_map(words)}".strip()
        return f"{own} Answer as the course has decided." if ruled else own

    def _clash(self, ground: Ground, kind: str) -> Callable[[Option, Option], bool]:
        def clash(one: Option, other: Option) -> bool:
            if isinstance(one.value, Interval) and isinstance(other.value, Interval):
                near = kind != "outside" and too_near(one.value, other.value)  # what is allowed may lie as it will
                return near or not ground.apart(one.value, other.value)
            if ground.parameter.kind == "order" and self._share_a_word(one, other):
                return True
            return self._contrary(one, other) or self._contrary(other, one) or self.overlapping(one, other)

        return clash

    def _contrary(self, error: Option, other: Option) -> bool:
        known = self.vocabulary.wrong_answers.get(error.error)
        return known is not None and isinstance(other.value, Choice) and other.value.concept in known.contrary_to

    def _share_a_word(self, one: Option, other: Option) -> bool:
        """Whether two steps name the same thing, such as the handle that is formed and the one that is attached: that
        gives their order away. A word that all steps of a scheme share tells nothing."""
        common = shared_words(one.text, other.text)
        assert isinstance(one.value, Choice)
        scheme = self.vocabulary.concepts[one.value.concept].schemes[0]
        return any(any(word not in step.label for step in self.vocabulary.in_scheme(scheme)) for word in common)

    def _cases(self, ground: Ground, answer: Comparable, behind: tuple[Claim | Ruling, ...]) -> Iterator[Item]:
        """For one condition of the topic, other conditions of that axis under which everybody contradicts the answer.

        Only where the parameter has its own words for such a question: in general ones it is hard to read.
        """
        for axis, concept in ground.when if ground.parameter.stem_case else ():
            distractors = [
                self._term(other, speaking, 1, self._said(there))
                for other, there, speaking in self._elsewhere(ground, axis, concept)
                if self._contradicted(there, answer)
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

    def _contradicted(self, there: Ground, answer: Comparable) -> bool:
        if there.parameter.kind == "set":
            assert isinstance(answer, Choice)
            members = Members(there)
            return members.unnamed(answer.concept) if there.parameter.closed_list else members.excluded(answer.concept)
        return bool(there.contradicting([answer]))

    def _asked(self, answer: Comparable, parameter: Parameter) -> str:
        if isinstance(answer, Choice):
            return answer.concept
        return re.sub(r"[^a-z0-9.]+", "-", self._text(parameter, answer).casefold().replace("–", "-")).strip("-")

    def _term(self, concept: str, records: tuple[Claim | Ruling, ...], tier: int = 0, origin: str = "") -> Option:
        return Option(self.vocabulary.concepts[concept].label, Choice(concept), records, tier, origin)

    def _errors(self, ground: Ground) -> list[Option]:
        """The errors that the vocabulary records for a question, less those that somebody takes for right."""
        found = []
        for error in self.vocabulary.wrong_answers.values():
            if ground.parameter.id not in error.parameters:
                continue
            near = self.vocabulary.above.get(error.concept, frozenset()) | self.vocabulary.below.get(
                error.concept, frozenset()
            )
            if near and (self._taken_anywhere(ground) & near or not self._fits(error.concept, ground)):
                continue
            found.append(Option(error.label, Choice(error.concept or error.id), (), 1, error.definition, error.id))
        return found

    def _taken_anywhere(self, ground: Ground) -> set[str]:
        """The terms that anybody takes for a question, in whatever case."""
        records = [*self.grounds.claims.get(ground.parameter.id, ()), *ground.everybody]
        return {term for record in records for term in named_in(record)}

    def _fits(self, concept: str, ground: Ground) -> bool:
        """Whether a term can be an option at all: no landmark of the other jaw, no resin for a printer."""
        return occurs(concept, ground.when, self.vocabulary, ground.parameter.scheme)

    def _text(self, parameter: Parameter, value: Comparable) -> str:
        """A value as an option: exact, since options are told apart by it and have as many decimals each."""
        return comparable_text(value, parameter, self.vocabulary)

    def _voices(self, records: Iterable[Claim | Ruling]) -> int:
        return len(voices_of(records, self.grounds.comparison.voices.voice))

    def _enough(self, ground: Ground, records: Iterable[Claim | Ruling]) -> bool:
        """Whether what records say may be asked for: the course has ruled so, or two voices say it, one of them read
        or reported."""
        if ground.topic.rulings:
            return any(isinstance(record, Ruling) for record in records)
        return well_founded(records, self.grounds.comparison.voices.voice)

    def _taken(self, ground: Ground, claims: list[Claim]) -> str:
        """Where a distractor comes from."""
        if not claims and ground.parameter.kind in ("interval", "count"):
            return "stated by no source"
        if not claims:
            return "no source names it for this case"
        first = min(claims, key=lambda claim: (claim.parameter != ground.parameter.id, claim.id))
        where = scope_text(first.when, self.vocabulary) or "in general"
        if first.parameter == ground.parameter.id:
            return f"stated for another case: {where}"
        return f"stated for another question: {self.vocabulary.parameters[first.parameter].label}, {where}"


def shared_words(one: str, other: str) -> set[str]:
    """The words of four letters and more that two labels share."""
    words = [set(re.findall(r"[a-z-]{4,}", text.casefold())) for text in (one, other)]
    return words[0] & words[1]


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
