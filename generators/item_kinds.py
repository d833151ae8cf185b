"""The kinds of question items, and how each finds its key and its distractors in what the sources say."""

import re
from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction

from trayconcord.generators.ground import Ground, Grounds, Members, precedences
from trayconcord.generators.items import Item, Option, choose, level_of, pick, same_or_overlapping
from trayconcord.kb.model import Claim, Ruling, Scope, comparable, in_order
from trayconcord.kb.values import Choice, Comparable, Interval, Membership, Steps, YesNo
from trayconcord.kb.vocabulary import Parameter
from trayconcord.shapes.scopes import meet
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
    "case": ("The sources answer “{answer}” for one of these. Choose the {axis}.",) * 2,
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


COMPARED, LENGTH = "compared-with", "MilliM"
CONTRAST, ELSEWHERE, OTHERWISE, NEIGHBOUR = range(4)
"""Where a term that serves as a distractor comes from, the most telling first."""
SLIP = 3
"""The tier of a quantity that nobody states: a slip of the kind that people make."""
COMMON_WORDS = {"tray", "impression", "in", "use", "the", "by", "of"}
"""Words that parameters share without being alike."""


Sides = dict[str, list[Claim | Ruling]]
Pairs = dict[tuple[str, str], list[Claim | Ruling]]


class Maker:
    """Makes the items of a store, topic by topic."""

    def __init__(self, grounds: Grounds, seed: int) -> None:
        self.grounds, self.seed = grounds, seed
        self.vocabulary = grounds.vocabulary
        self.overlapping = same_or_overlapping(self.vocabulary.above)

    def items(self, ground: Ground) -> Iterator[Item]:
        """The items of one topic on which the sources agree or the course has ruled."""
        kind = ground.parameter.kind
        if kind in ("interval", "count"):
            yield from self._quantities(ground)
        elif kind == "choice":
            yield from self._choices(ground)
        elif kind == "set":
            yield from self._members(ground)
        elif kind == "order":
            yield from self._steps(ground)
        elif kind == "yes-no" and ground.supported(key := self._key(ground)):
            yield from self._statements(ground, key)
            yield from self._cases(ground, key, ground.deciding)

    # --- quantities ---------------------------------------------------------------------------------------------------

    def _quantities(self, ground: Ground) -> Iterator[Item]:
        key = self._key(ground)
        if not isinstance(key, Interval) or not ground.supported(key):
            return
        behind = ground.deciding
        item = None
        if key.low is not None and key.high is not None:
            item = self._value_item(ground, key, behind)
            if item:
                yield item
        if not item and key.low != key.high:
            point = next(Interval(end, end) for end in (key.low, key.high) if end is not None)
            yield from self._built(ground, "within", self._option(ground, point, behind), self._wrong(ground, point))
        yield from self._outside(ground)
        yield from self._cases(ground, key, behind)

    def _key(self, ground: Ground) -> Comparable:
        ruling = ground.topic.ruling
        if ruling is not None and ruling.value is not None:
            return comparable(ruling.value, ground.parameter, self.vocabulary)
        return ground.topic.positions[0].value

    def _value_item(self, ground: Ground, key: Interval, behind: tuple[Claim | Ruling, ...]) -> Item | None:
        found = self._built(ground, "value", self._option(ground, key, behind), self._wrong(ground, key))
        return next(iter(found), None)

    def _outside(self, ground: Ground) -> Iterator[Item]:
        """Which value no source allows: the key contradicts everybody, and somebody states each of the others."""
        stated: dict[Interval, list[Claim | Ruling]] = {}
        for record in ground.deciding:
            assert record.value is not None
            value = comparable(record.value, ground.parameter, self.vocabulary)
            assert isinstance(value, Interval)
            for end in {value.low, value.high} - {None}:
                stated.setdefault(Interval(end, end), []).append(record)
        allowed = [
            Option(self._text(ground.parameter, point), point, tuple(records), -len(records), "allowed for this case")
            for point, records in sorted(stated.items(), key=lambda pair: pair[0].low or 0)
        ]
        if len(allowed) > 1:
            for option in self._wrong(ground, _interval(allowed[0].value)):
                built = self._built(ground, "outside", option, allowed)
                if built:
                    yield from built
                    return

    def _wrong(self, ground: Ground, shape: Interval) -> list[Option]:
        """Quantities of a shape that contradict everybody, taken from other cases and like questions."""
        point = shape.low == shape.high
        found: dict[Interval, tuple[int, list[Claim]]] = {}
        for value, tier, claim in self._stated(ground):
            if point:
                values = [Interval(end, end) for end in dict.fromkeys((value.low, value.high)) if end is not None]
            elif None in (value.low, value.high) or value.low == value.high:
                values = []
            else:
                values = [value]
            for each in values:
                before, claims = found.get(each, (tier, []))
                found[each] = (min(before, tier), [*claims, claim])
        for slip in self._slips(ground, shape):
            found.setdefault(slip, (SLIP, []))
        candidates: list[Comparable] = sorted(found, key=lambda v: (v.low or 0, v.high or 0))
        wrong = [candidates[n] for n in ground.contradicting(candidates)]
        options = []
        for value in wrong:
            assert isinstance(value, Interval) and value.low is not None
            tier, claims = found[value]
            text = self._text(ground.parameter, value)
            if value.low <= 0 and not _plausible(value, ground.parameter):
                continue
            if _unit(text) == _unit(self._text(ground.parameter, shape)):
                options.append(
                    Option(text, value, tuple(claims), 3 * tier + _distance(shape, value), self._taken(ground, claims))
                )
        return options

    def _slips(self, ground: Ground, shape: Interval) -> Iterator[Interval]:
        """Half and twice a quantity: one sheet taken for two, a radius for a diameter."""
        for factor in (Fraction(1, 2), Fraction(2)):
            ends = [end * factor for end in (shape.low, shape.high) if end is not None]
            slip = Interval(ends[0], ends[-1])
            whole = ground.parameter.kind != "count" or all(end.denominator == 1 for end in ends)
            if whole and ends[0] > 0 and _plausible(slip, ground.parameter):
                yield slip

    def _stated(self, ground: Ground) -> Iterator[tuple[Interval, int, Claim]]:
        """What is stated for the same question, then for questions that go by a common word (another time, another
        density), then other lengths of a tray that are plausible here."""
        ours = ground.parameter
        for parameter in self.vocabulary.parameters.values():
            alike = akin(parameter.id, ours.id)
            if (parameter.unit, parameter.kind) != (ours.unit, ours.kind) or not (alike or ours.unit == LENGTH):
                continue
            for claim in self.grounds.claims.get(parameter.id, ()):
                assert claim.value is not None
                value = comparable(claim.value, parameter, self.vocabulary)
                assert isinstance(value, Interval)
                if parameter.id == ours.id:
                    yield value, 0, claim
                elif alike or _plausible(value, ours):
                    yield value, 1 if alike else 2, claim

    # --- terms --------------------------------------------------------------------------------------------------------

    def _choices(self, ground: Ground) -> Iterator[Item]:
        """The key is the widest term that a voice takes: what a narrower one says implies it."""
        terms = [value.concept for value in ground.binding if isinstance(value, Choice)]
        key = Choice(min(terms, key=lambda term: (len(self.vocabulary.above[term]), term)))
        if not ground.supported(key):
            return
        candidates: dict[str, tuple[int, list[Claim]]] = {}
        for tier, concept, claim in self._terms_elsewhere(ground):
            if self._answers(concept, ground):
                before, claims = candidates.get(concept, (tier, []))
                candidates[concept] = (min(before, tier), [*claims, claim] if claim else claims)
        concepts = sorted(candidates)
        distractors = [
            self._term(
                concepts[n],
                tuple(candidates[concepts[n]][1]),
                candidates[concepts[n]][0],
                self._taken(ground, candidates[concepts[n]][1]),
            )
            for n in ground.contradicting([Choice(concept) for concept in concepts])
        ]
        behind = ground.deciding
        yield from self._built(ground, "choice", self._term(key.concept, behind), distractors)
        yield from self._cases(ground, key, behind)

    def _answers(self, concept: str, ground: Ground) -> bool:
        """Whether a term answers the question at all: a comparison is won by one of the two compared, or by none."""
        sides = self._sides(ground.when)
        return not sides or concept in sides or self.vocabulary.concepts[concept].schemes == (ground.parameter.scheme,)

    def _sides(self, when: Scope) -> set[str]:
        """The two that a comparison compares; empty where nothing is compared."""
        compared = dict(when).get(COMPARED)
        if compared is None:
            return set()
        kinds = set(self.vocabulary.concepts[compared].schemes)
        return {c for axis, c in when if axis == COMPARED or self.vocabulary.axes[axis].scheme in kinds}

    def _members(self, ground: Ground) -> Iterator[Item]:
        members = Members(ground)
        ruled = bool(ground.topic.rulings)
        candidates: dict[str, tuple[int, list[Claim]]] = {}
        for tier, concept, claim in self._terms_elsewhere(ground):
            if members.unnamed(concept):
                before, claims = candidates.get(concept, (tier, []))
                candidates[concept] = (min(before, tier), [*claims, claim] if claim else claims)
        for concept, records in members.outside.items():
            if members.unnamed(concept) and any(concept in _named_out(r) for r in records):
                candidates[concept] = (0, [r for r in records if isinstance(r, Claim)])
        wrong = [
            self._term(concept, tuple(claims), tier, self._taken(ground, claims))
            for concept, (tier, claims) in sorted(candidates.items())
        ]
        for concept, records in sorted(members.inside.items()):
            named = [r for r in records if concept in _named_in(r) and r in ground.deciding]
            if not any(r.when == ground.when for r in named):
                continue
            if (ruled and not self._decided(named)) or not members.undisputed(concept):
                continue
            key = self._term(concept, tuple(named))
            yield from self._built(ground, "belongs", key, wrong, concept)
            yield from self._cases(ground, Choice(concept), tuple(named))
        yield from self._left_out(ground, members, wrong)

    def _left_out(self, ground: Ground, members: Members, wrong: list[Option]) -> Iterator[Item]:
        """Which term is left out: by name, or because nobody names it here while a voice that is heard here names it
        for another case. Somebody names each of the others and nobody leaves it out."""
        inside = []
        for concept, records in sorted(members.inside.items()):
            named = tuple(r for r in records if concept in _named_in(r) and r in ground.deciding)
            if named and members.undisputed(concept):
                inside.append(self._term(concept, named, -self._voices(named), "named for this case"))
        for concept, records in sorted(members.outside.items()):
            named = tuple(r for r in records if concept in _named_out(r) and r in ground.deciding)
            if members.unnamed(concept) and named:
                yield from self._built(ground, "left-out", self._term(concept, named), inside, concept)
        for option in sorted(wrong, key=lambda o: (o.tier, pick(self.seed, ground.topic.id, o.text))):
            if option.tier == CONTRAST and option.value.concept not in members.outside:  # type: ignore[union-attr]
                yield from self._built(ground, "unnamed", option, inside, option.value.concept)  # type: ignore[union-attr]

    def _terms_elsewhere(self, ground: Ground) -> Iterator[tuple[int, str, Claim | None]]:
        """Terms of the same scheme, the most telling first: what a voice that is heard here names in another case and
        not in this one; what others name in other cases; what like questions take in this case; neighbours in the
        tree. Terms of another scheme might mean the same in other words, so they are never taken."""
        concepts, ours = self.vocabulary.concepts, ground.parameter
        voice = self.grounds.comparison.voices.voice
        here = {voice(claim.source) for claim in ground.heard}
        named: set[str] = set()
        for parameter in self.vocabulary.parameters.values():
            if parameter.scheme != ours.scheme:
                continue
            for claim in self.grounds.claims.get(parameter.id, ()):
                terms = sorted(_named_in(claim))
                if parameter.id == ours.id:
                    named.update(terms)
                    yield from ((CONTRAST if voice(claim.source) in here else ELSEWHERE, term, claim) for term in terms)
                elif meet(ground.when, claim.when, self.vocabulary) is not None:
                    yield from ((OTHERWISE, term, claim) for term in terms)
        sides = self._sides(ground.when)
        for concept in self.vocabulary.in_scheme(ours.scheme or ""):
            near = any(concepts[term].broader == concept.broader for term in named)
            if near or concept.id in sides or (sides and concept.schemes == (ours.scheme,)):
                yield NEIGHBOUR, concept.id, None

    # --- yes or no ----------------------------------------------------------------------------------------------------

    def _statements(self, ground: Ground, key: Comparable) -> Iterator[Item]:
        """Which of several statements holds: the others answer a question of yes or no against all who speak of it."""
        distractors = []
        for topic in self.grounds.comparison.answered:
            there = self.grounds.of(topic)
            if topic.parameter.kind != "yes-no" or topic.parameter == ground.parameter or not there.stated_here:
                continue
            for value in (YesNo(True), YesNo(False)):
                if there.spoken and there.contradicting([value]):
                    distractors.append(self._statement(there, value, "everybody who speaks of it says the opposite"))
        alike = [option for option in distractors if option.value == key]  # or the one "yes" would stand out
        others = sorted(
            (o for o in distractors if o.value != key), key=lambda o: pick(self.seed, ground.topic.id, o.text)
        )
        if alike:
            yield from self._built(ground, "statement", self._statement(ground, key), alike + others[:2])

    def _statement(self, ground: Ground, value: Comparable, origin: str = "") -> Option:
        case = scope_text(ground.when, self.vocabulary)
        answer = self._text(ground.parameter, value).capitalize()
        text = f"{ground.parameter.question} {answer}{f' ({case})' if case else ''}"
        near = CONTRAST if origin and ground.topic.standing == "agreed" else ELSEWHERE
        return Option(text, value, ground.deciding, near, origin, ground.topic.id)

    # --- steps --------------------------------------------------------------------------------------------------------

    def _steps(self, ground: Ground) -> Iterator[Item]:
        """A step that two voices or more, and none the other way round, put before (after) each of the others."""
        ruled = bool(ground.topic.rulings)
        pairs = {
            pair: records
            for pair, records in precedences(ground).items()
            if (self._decided(records) if ruled else self._voices(records) > 1)
        }
        steps = sorted({step for pair in pairs for step in pair})
        for step in steps:
            later = {other: pairs[step, other] for other in steps if (step, other) in pairs}
            earlier = {other: pairs[other, step] for other in steps if (other, step) in pairs}
            yield from self._built(ground, "first", *self._placed(step, later, "later in the order"), step)
            yield from self._built(ground, "last", *self._placed(step, earlier, "earlier in the order"), step)
        for before, after in sorted(pairs):
            yield from self._between(ground, pairs, before, after)

    def _placed(self, step: str, others: Sides, where: str) -> tuple[Option, list[Option]]:
        behind = tuple(dict.fromkeys(record for records in others.values() for record in records))
        distractors = [self._term(other, tuple(records), 1, where) for other, records in others.items()]
        return self._term(step, behind), distractors

    def _between(self, ground: Ground, pairs: Pairs, before: str, after: str) -> Iterator[Item]:
        """The one step that comes between two others, among steps that come before both or after both."""
        steps = sorted({step for pair in pairs for step in pair} - {before, after})
        inside = [step for step in steps if (before, step) in pairs and (step, after) in pairs]
        if len(inside) != 1:
            return
        beyond = {step: pairs[step, before] for step in steps if (step, before) in pairs}
        beyond |= {step: pairs[after, step] for step in steps if (after, step) in pairs}
        behind = tuple(dict.fromkeys((*pairs[before, inside[0]], *pairs[inside[0], after])))
        _, distractors = self._placed(inside[0], beyond, "not between the two")
        yield from self._built(
            ground, "between", self._term(inside[0], behind), distractors, inside[0], asked=Steps((before, after))
        )

    # --- the case in which an answer holds ----------------------------------------------------------------------------

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
        for other in sorted({dict(c.when).get(axis, concept) for c in self.grounds.claims[parameter]} - {concept}):
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

    # --- building -----------------------------------------------------------------------------------------------------

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


def _named_in(record: Claim | Ruling) -> frozenset[str]:
    """The terms that a record takes."""
    if isinstance(record.value, Choice):
        return frozenset({record.value.concept})
    return record.value.includes if isinstance(record.value, Membership) else frozenset()


def _named_out(record: Claim | Ruling) -> frozenset[str]:
    """The terms that a record leaves out by name."""
    return record.value.excludes if isinstance(record.value, Membership) else frozenset()


def akin(one: str, other: str) -> bool:
    """Whether two parameters go by a common word, such as two densities or two purposes."""
    words = [{word.removesuffix("s") for word in name.split("-")} - COMMON_WORDS for name in (one, other)]
    return bool(words[0] & words[1])


def _plausible(value: Interval, parameter: Parameter) -> bool:
    """Whether a quantity lies within what the vocabulary holds plausible for a parameter."""
    if parameter.plausible is None:
        return False
    least, most = parameter.plausible
    return all(end is None or least <= end <= most for end in (value.low, value.high))


def _interval(value: Comparable) -> Interval:
    assert isinstance(value, Interval)
    return value


def _unit(text: str) -> str:
    """What stands after the number of a quantity: two quantities in different units would give the key away."""
    return re.sub(r"^[\d.,–\- ]+(to [\d.,\-]+)?", "", text).strip()


def _distance(one: Interval, other: Interval) -> int:
    """How far apart two quantities lie, in steps of their ratio; the nearest make the best distractors."""
    first, second = (value.low if value.low is not None else value.high for value in (one, other))
    assert first is not None and second is not None
    small, large = sorted((first, second))
    if small <= 0:
        return 4
    return sum(large > small * step for step in (Fraction(3, 2), 2, 3, 5, 10))
