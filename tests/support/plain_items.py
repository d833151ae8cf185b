"""Question items proved again, kind by kind, straight from the claims: written apart from the code that makes them.

It shares with the project only the records and the vocabulary, and with the plain reading of the comparison who is
heard where. Every function fails with an assertion that says what is wrong with an item.
"""

import re
from fractions import Fraction

from plain_reading import PlainReading, values_compatible

from trayconcord.generators.items import Item, Option
from trayconcord.kb.model import Claim, Ruling, Scope, comparable, in_order
from trayconcord.kb.store import Store
from trayconcord.kb.values import Choice, Interval, Membership, Steps, YesNo


class PlainItems:
    """Proves the items of one store."""

    def __init__(self, store: Store) -> None:
        self.store, self.vocabulary = store, store.vocabulary
        self.readings: dict[str, PlainReading] = {}
        self.heard_at: dict[tuple[str, Scope], list[Claim]] = {}

    # who is heard

    def reading(self, parameter: str) -> PlainReading:
        return self.readings.setdefault(parameter, PlainReading(self.store, parameter))

    def heard(self, parameter: str, cell: Scope) -> list[Claim]:
        key = (parameter, cell)
        if key not in self.heard_at:
            self.heard_at[key] = self.reading(parameter).heard(cell)
        return self.heard_at[key]

    def within(self, parameter: str, cell: Scope) -> list[Claim]:
        """Everyone who is heard at the cell, or where it meets what anyone speaks of."""
        reading = self.reading(parameter)
        cells = {reading.meet(cell, claim.when) for claim in reading.claims} - {None} | {cell}
        found = {
            claim.id: claim for meeting in cells if meeting is not None for claim in self.heard(parameter, meeting)
        }
        return list(found.values())

    def ruling(self, parameter: str, cell: Scope) -> list[Ruling]:
        """The closest rulings over a cell."""
        reading = self.reading(parameter)
        over = [r for r in self.store.rulings if r.parameter == parameter and reading.covers(r.when, cell)]
        return [r for r in over if not any(o.when != r.when and reading.covers(r.when, o.when) for o in over)]

    def rulings_within(self, parameter: str, cell: Scope) -> list[Ruling]:
        """The rulings that govern the cell, or any case where it meets what the course has ruled on."""
        reading = self.reading(parameter)
        cells = {reading.meet(cell, r.when) for r in self.store.rulings if r.parameter == parameter} - {None} | {cell}
        found = {r.id: r for meeting in cells if meeting is not None for r in self.ruling(parameter, meeting)}
        return list(found.values())

    def value(self, record: Claim | Ruling):
        assert record.value is not None
        return comparable(record.value, self.vocabulary.parameters[record.parameter], self.vocabulary)

    # values

    def compatible(self, parameter: str, one, other) -> bool:
        return values_compatible(one, other, self.vocabulary.parameters[parameter].tolerance, self.vocabulary)

    def holds(self, parameter: str, record: Claim | Ruling, key) -> bool:
        """Whether a record supports the whole key."""
        said = self.value(record)
        if isinstance(key, Interval):
            slack = self.vocabulary.parameters[parameter].tolerance
            inside = said.low is None or (key.low is not None and key.low + slack >= said.low)
            return inside and (said.high is None or (key.high is not None and key.high - slack <= said.high))
        if isinstance(key, Choice):
            return self.reading(parameter).concept_covers(key.concept, said.concept)
        return said == key

    def _nearest(self, said: Membership, concept: str) -> str | None:
        here: str | None = concept
        while here is not None and here not in said.includes | said.excludes:
            here = self.vocabulary.concepts[here].broader
        return here

    def puts_in(self, record: Claim | Ruling, concept: str) -> bool:
        said = self.value(record)
        return self._nearest(said, concept) in said.includes

    def puts_out(self, record: Claim | Ruling, concept: str) -> bool:
        said, covers = self.value(record), self.reading(record.parameter).concept_covers
        if self._nearest(said, concept) in said.excludes:
            return True
        touched = any(covers(member, concept) or covers(concept, member) for member in said.includes)
        return said.exact and not touched

    def names(self, record: Claim | Ruling, concept: str) -> bool:
        """Whether a record puts in a concept, or any that covers it or lies below it."""
        covers = self.reading(record.parameter).concept_covers
        near = [c for c in self.vocabulary.concepts if covers(c, concept) or covers(concept, c)]
        return any(self.puts_in(record, c) for c in near)

    def out_of_place(self, parameter: str, cell: Scope, concept: str) -> bool:
        """Whether a term does not occur in a case: the vocabulary has it, or something in the case, only with what the
        case rules out."""
        covers = self.reading(parameter).concept_covers
        scheme = self.vocabulary.parameters[parameter].scheme
        ours = [axis.id for axis in self.vocabulary.axes.values() if axis.scheme == scheme][:1] or ["answer"]
        case = {**dict(cell), ours[0]: concept}
        for axis, here in case.items():
            needs = {n for c in self.vocabulary.concepts.values() if covers(c.id, here) for n in c.only_with}
            for other in self.vocabulary.axes.values():
                wanted = [n for n in needs if other.scheme in self.vocabulary.concepts[n].schemes]
                there = case.get(other.id)
                concerned = other.of_case and other.id != axis and ours[0] in (axis, other.id) and there is not None
                if concerned and wanted and not any(covers(n, there) or covers(there, n) for n in wanted):
                    return True
        return False

    def known_error(self, parameter: str, option: Option, within: list[Claim | Ruling]) -> bool:
        """Whether an option is an error of the vocabulary to this question that nobody takes for right."""
        if not option.error:
            return False
        error = self.vocabulary.wrong_answers[option.error]
        assert parameter in error.parameters and option.text == error.label and option.origin == error.definition
        if error.concept:
            assert (
                option.value.concept == error.concept and error.label == self.vocabulary.concepts[error.concept].label
            )
            everybody = [c for c in self.store.claims if c.parameter == parameter and c.value is not None]
            for record in [*everybody, *within]:
                assert not self.names(record, error.concept), f"{record.id} takes {error.label} for right"
        return True

    def no_member(self, item: Item, option: Option, within: list[Claim | Ruling]) -> None:
        """A term is wrong in a set only where somebody leaves it out and nobody names it, where the vocabulary has it
        for an error, or where the list is closed and nobody names it."""
        parameter = item.parameter
        if self.known_error(parameter.id, option, within):
            return
        concept = option.value.concept
        for record in within:
            assert not self.names(record, concept), f"{record.id} names {option.text}"
        assert parameter.closed_list or any(self.puts_out(record, concept) for record in within), (
            f"nobody leaves {option.text} out"
        )

    def enough(self, item: Item, concept: str, deciding: list[Claim | Ruling]) -> None:
        """Two voices name a member, or the course does."""
        named = [record for record in deciding if concept in self.value(record).includes]
        self.founded(item, named, f"name {concept}")

    def founded(self, item: Item, records: list[Claim | Ruling], what: str) -> None:
        """The course has ruled, or two voices say it, and somebody saw one of them."""
        if any(isinstance(record, Ruling) for record in records):
            return
        claims = list(records)
        voices = {self.reading(item.parameter.id).voice(claim.source) for claim in claims}
        assert len(voices) > 1, f"not two voices {what}"
        assert any(claim.obtained in ("read", "reported") for claim in claims), f"nobody was read to {what}"

    # the proof

    def prove(self, item: Item) -> None:
        """Exactly one option is right under every recorded voice, and nothing in the form gives it away."""
        self.form(item)
        parameter = item.parameter.id
        heard, within = self.heard(parameter, item.when), self.within(parameter, item.when)
        rulings, inner = self.ruling(parameter, item.when), self.rulings_within(parameter, item.when)
        if item.basis == "ruling":
            assert rulings and len({ruling.value for ruling in rulings}) == 1, "no ruling stands behind it"
            deciding: list[Claim | Ruling] = [*rulings]
            binding: list[Claim | Ruling] = [*inner]
        else:
            assert not rulings, "a ruling governs it"
            self.founded(item, [*heard], "speak of it")
            values = [self.value(claim) for claim in heard]
            assert all(self.compatible(parameter, one, other) for one in values for other in values), "contested"
            deciding, binding = [*heard], [*within, *inner]
        within = [*within, *inner]
        proof = {"value": self.quantity, "within": self.quantity, "choice": self.quantity}.get(item.kind)
        (proof or getattr(self, item.kind.replace("-", "_")))(item, deciding, within, binding)

    def form(self, item: Item) -> None:
        texts = [option.text for option in item.options]
        assert 3 <= len(texts) <= 4 and len(set(texts)) == len(texts)
        assert item.options[item.key] is item.answer and item.letter == "ABCD"[item.key]
        whole = f"{item.case} {item.stem}"
        for axis, concept in item.when:
            if axis != item.axis:
                assert self.vocabulary.concepts[concept].label in whole, f"the stem does not name {concept}"
        for text in texts:
            short, long = sorted((len(text), len(item.answer.text)))
            quantities = isinstance(item.answer.value, Interval)
            assert long <= (short + 3 if quantities else 2 * short + 11), f"the length of {text} tells"
        if isinstance(item.answer.value, Interval):
            shapes = {re.sub(r"\d+", "0", text.removeprefix("1 in ")) for text in texts}
            assert len({re.sub(r"\.0", "", shape) for shape in shapes}) == 1, f"units {shapes}"
            decimals = {len((re.search(r"\.(\d+)", text) or [".", ""])[1]) for text in texts}
            assert len(decimals) == 1 and max(decimals) <= 2, f"decimals {decimals}"
            places = [option.value.low for option in item.options]
            assert item.kind == "outside" or places == sorted(places), "the quantities are not in order"
        for option in item.options:
            if item.parameter.scheme and item.kind != "case" and not option.error:
                assert not self.out_of_place(item.parameter.id, item.when, option.value.concept), f"{option.text} here?"
            for other in item.options:
                contrary = self.vocabulary.wrong_answers[option.error].contrary_to if option.error else ()
                assert getattr(other.value, "concept", "") not in contrary, (
                    f"{option.text} and {other.text} are opposites"
                )

    def _wrong(self, item: Item):
        return [option for option in item.options if option is not item.answer]

    def quantity(self, item: Item, deciding, within, binding) -> None:
        parameter, key = item.parameter.id, item.answer.value
        assert not item.parameter.as_measured, "what studies measured has no right value"
        assert not item.parameter.needs_beside, "a value alone says nothing"
        if isinstance(key, Interval) and item.basis == "agreement":
            spoken = [self.value(record) for record in deciding]
            low = max((v.low for v in spoken if v.low is not None), default=None)
            high = min((v.high for v in spoken if v.high is not None), default=None)
            whole = Interval(low, high)
            saying = [r for r, v in zip(deciding, spoken, strict=True) if None not in (v.low, v.high) or v == whole]
            self.founded(item, saying, "say the key")
            assert set(item.answer.records) <= set(saying), "a source is cited that is merely compatible"
        for record in binding:
            assert self.holds(parameter, record, key), f"{record.id} does not support the key"
        for option in self._wrong(item):
            if self.known_error(parameter, option, within):
                continue
            self._far(option, within)
            for record in within:
                assert not self.compatible(parameter, option.value, self.value(record)), (
                    f"{record.id} allows {option.text}"
                )
        stated = [option for option in item.options if not option.error]
        for n, one in enumerate(stated):
            for other in stated[n + 1 :]:
                assert not self.compatible(parameter, one.value, other.value), f"{one.text} overlaps {other.text}"

    def _far(self, option: Option, within) -> None:
        """A wrong quantity lies a quarter of what is supported away from it at least."""
        if isinstance(option.value, Interval):
            for record in within:
                said = self.value(record)
                for end in {said.low, said.high} - {None}:
                    assert abs(option.value.low - end) >= Fraction(1, 4) * abs(end), (
                        f"{option.text} is near {record.id}"
                    )

    def outside(self, item: Item, deciding, within, binding) -> None:
        parameter = item.parameter.id
        self._far(item.answer, within)
        for record in within:
            assert not self.compatible(parameter, item.answer.value, self.value(record)), f"{record.id} allows the key"
        for option in self._wrong(item):
            assert any(self.holds(parameter, record, option.value) for record in deciding), (
                f"nobody allows {option.text}"
            )

    def belongs(self, item: Item, deciding, within, binding) -> None:
        key = item.answer.value.concept
        self.enough(item, key, deciding)
        for record in binding:
            assert not self.puts_out(record, key), f"{record.id} leaves the key out"
            assert not self.value(record).exact or self.puts_in(record, key), f"{record.id} lists all but the key"
        for option in self._wrong(item):
            self.no_member(item, option, within)

    def unnamed(self, item: Item, deciding, within, binding) -> None:
        self.no_member(item, item.answer, within)
        for option in self._wrong(item):
            concept = option.value.concept
            self.enough(item, concept, deciding)
            assert not any(self.puts_out(record, concept) for record in binding), f"{option.text} is left out"

    def left_out(self, item: Item, deciding, within, binding) -> None:
        key = item.answer.value.concept
        named = [record for record in deciding if key in self.value(record).excludes]
        voices = {self.reading(item.parameter.id).voice(r.source) for r in named if isinstance(r, Claim)}
        assert len(voices) > 1 or any(isinstance(record, Ruling) for record in named), "not two voices leave it out"
        self.unnamed(item, deciding, within, binding)

    def _puts_before(self, item: Item, within, one: str, other: str) -> None:
        labels = [
            set(re.findall("[a-z-]{4,}", self.vocabulary.concepts[step].label.casefold())) for step in (one, other)
        ]
        assert item.kind == "between" or labels[0] & labels[1] <= {"stage"}, f"{one} and {other} name the same thing"
        orders = [
            (r, r.value.steps) for r in within if isinstance(r.value, Steps) and {one, other} <= set(r.value.steps)
        ]
        for record, steps in orders:
            assert steps.index(one) < steps.index(other), f"{record.id} puts {other} before {one}"
        voices = {self.reading(item.parameter.id).voice(r.source) for r, _ in orders if isinstance(r, Claim)}
        assert len(voices) > 1 or any(isinstance(r, Ruling) for r, _ in orders), (
            f"not two voices put {one} before {other}"
        )

    def first(self, item: Item, deciding, within, binding) -> None:
        for option in self._wrong(item):
            self._puts_before(item, within, item.answer.value.concept, option.value.concept)

    def last(self, item: Item, deciding, within, binding) -> None:
        for option in self._wrong(item):
            self._puts_before(item, within, option.value.concept, item.answer.value.concept)

    def between(self, item: Item, deciding, within, binding) -> None:
        after, before = item.asked.steps
        self._puts_before(item, within, after, item.answer.value.concept)
        self._puts_before(item, within, item.answer.value.concept, before)
        for option in self._wrong(item):
            step = option.value.concept
            try:
                self._puts_before(item, within, step, after)
            except AssertionError:
                self._puts_before(item, within, before, step)

    def case(self, item: Item, deciding, within, binding) -> None:
        parameter, asked = item.parameter.id, item.asked
        assert dict(item.when)[item.axis] == item.answer.value.concept
        members = item.parameter.kind == "set"
        for record in binding:
            if members:
                assert not self.puts_out(record, asked.concept), f"{record.id} leaves the answer out"
            else:
                assert self.holds(parameter, record, asked), f"{record.id} does not support the answer"
        if members:
            self.enough(item, asked.concept, deciding)
        for option in self._wrong(item):
            elsewhere = in_order({**dict(item.when), item.axis: option.value.concept}, self.vocabulary)
            there = [*self.within(parameter, elsewhere), *self.rulings_within(parameter, elsewhere)]
            assert self.heard(parameter, elsewhere), f"nobody speaks of {option.text}"
            for record in there:
                if members:
                    assert not self.names(record, asked.concept), f"{record.id} names the answer for {option.text}"
                    out = any(self.puts_out(other, asked.concept) for other in there)
                    assert item.parameter.closed_list or out, f"nobody leaves the answer out for {option.text}"
                else:
                    assert not self.compatible(parameter, asked, self.value(record)), f"{record.id} allows it there"
        covers = self.reading(parameter).concept_covers
        concepts = [option.value.concept for option in item.options]
        assert not any(a != b and covers(a, b) for a in concepts for b in concepts), "one case lies in another"

    def statement(self, item: Item, deciding, within, binding) -> None:
        assert item.answer.text == item.parameter.affirms
        for record in binding:
            assert self.value(record) == item.answer.value == YesNo(True), f"{record.id} contradicts the key"
        for option in self._wrong(item):
            assert self.known_error(item.parameter.id, option, within), f"{option.text} is no known error"
