"""Question items proved again, kind by kind, straight from the claims: written apart from the code that makes them.

It shares with the project only the records and the vocabulary, and with the plain reading of the comparison who is
heard where. Every function fails with an assertion that says what is wrong with an item.
"""

import re

from plain_reading import PlainReading, values_compatible

from trayconcord.generators.items import Item
from trayconcord.kb.model import Claim, Ruling, Scope, comparable, in_order
from trayconcord.kb.store import Store
from trayconcord.kb.values import Choice, Interval, Membership, Steps


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
            assert len({self.reading(parameter).voice(claim.source) for claim in heard}) > 1, "not two voices"
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
        whole = f"{item.case} {item.stem} {item.answer.text if item.kind == 'statement' else ''}"
        for axis, concept in item.when:
            if axis != item.axis:
                assert self.vocabulary.concepts[concept].label in whole, f"the stem does not name {concept}"
        for text in texts:
            short, long = sorted((len(text), len(item.answer.text)))
            quantities = isinstance(item.answer.value, Interval)
            assert long <= (short + 3 if quantities else 2 * short + 6), f"the length of {text} tells"
        if isinstance(item.answer.value, Interval):
            units = {re.sub(r"^[\d.,–\- ]+", "", text).replace("to ", "") for text in texts}
            assert len(units) == 1, f"units {units}"
            places = [option.value.low for option in item.options]
            assert places == sorted(places), "the quantities are not in order"

    def _wrong(self, item: Item):
        return [option for option in item.options if option is not item.answer]

    def quantity(self, item: Item, deciding, within, binding) -> None:
        parameter, key = item.parameter.id, item.answer.value
        for record in binding:
            assert self.holds(parameter, record, key), f"{record.id} does not support the key"
        for option in self._wrong(item):
            for record in within:
                assert not self.compatible(parameter, option.value, self.value(record)), (
                    f"{record.id} allows {option.text}"
                )
        for n, one in enumerate(item.options):
            for other in item.options[n + 1 :]:
                assert not self.compatible(parameter, one.value, other.value), f"{one.text} overlaps {other.text}"

    def outside(self, item: Item, deciding, within, binding) -> None:
        parameter = item.parameter.id
        for record in within:
            assert not self.compatible(parameter, item.answer.value, self.value(record)), f"{record.id} allows the key"
        for option in self._wrong(item):
            assert any(self.holds(parameter, record, option.value) for record in deciding), (
                f"nobody allows {option.text}"
            )

    def belongs(self, item: Item, deciding, within, binding) -> None:
        key = item.answer.value.concept
        assert any(key in self.value(record).includes for record in deciding), "nobody names the key"
        for record in binding:
            assert not self.puts_out(record, key), f"{record.id} leaves the key out"
            assert not self.value(record).exact or self.puts_in(record, key), f"{record.id} lists all but the key"
        for option in self._wrong(item):
            for record in within:
                assert not self.names(record, option.value.concept), f"{record.id} names {option.text}"

    def unnamed(self, item: Item, deciding, within, binding) -> None:
        for record in within:
            assert not self.names(record, item.answer.value.concept), f"{record.id} names the key"
        for option in self._wrong(item):
            concept = option.value.concept
            assert any(concept in self.value(record).includes for record in deciding), f"nobody names {option.text}"
            assert not any(self.puts_out(record, concept) for record in binding), f"{option.text} is left out"

    def left_out(self, item: Item, deciding, within, binding) -> None:
        key = item.answer.value.concept
        assert any(key in self.value(record).excludes for record in deciding), "nobody leaves the key out"
        self.unnamed(item, deciding, within, binding)

    def _puts_before(self, item: Item, within, one: str, other: str) -> None:
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
        assert not members or any(asked.concept in self.value(record).includes for record in deciding)
        for option in self._wrong(item):
            elsewhere = in_order({**dict(item.when), item.axis: option.value.concept}, self.vocabulary)
            there = [*self.within(parameter, elsewhere), *self.rulings_within(parameter, elsewhere)]
            assert self.heard(parameter, elsewhere), f"nobody speaks of {option.text}"
            for record in there:
                if members:
                    assert not self.names(record, asked.concept), f"{record.id} names the answer for {option.text}"
                else:
                    assert not self.compatible(parameter, asked, self.value(record)), f"{record.id} allows it there"
        covers = self.reading(parameter).concept_covers
        concepts = [option.value.concept for option in item.options]
        assert not any(a != b and covers(a, b) for a in concepts for b in concepts), "one case lies in another"

    def statement(self, item: Item, deciding, within, binding) -> None:
        for record in binding:
            assert self.value(record) == item.answer.value, f"{record.id} contradicts the key"
        for option in self._wrong(item):
            parameter, _, query = option.about.partition("?")
            when = in_order(dict(pair.split("=") for pair in query.split("&") if pair), self.vocabulary)
            records = [*self.within(parameter, when), *self.rulings_within(parameter, when)]
            assert records and all(self.value(record) != option.value for record in records), (
                f"{option.text} is supported"
            )
