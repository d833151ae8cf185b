"""The comparison: what the voices say of each topic, and whether they can all be right.

The meaning is that of the design; a plain reading of it, written without any of the shortcuts taken here, stands in
the tests and is held against this one on random stores.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

from trayconcord.kb.errors import UnusableInput, unusable
from trayconcord.kb.model import Claim, Ruling, Scope, comparable, topic_id
from trayconcord.kb.store import Store
from trayconcord.kb.turtle import bulk
from trayconcord.kb.vocabulary import Parameter
from trayconcord.shapes.panel import Panel, Position, Statement
from trayconcord.shapes.positions import MOST_POSITIONS, TooManyPositions, ValueTable
from trayconcord.shapes.scopes import bits, covers, meet, reading_order
from trayconcord.shapes.voices import Voices


@dataclass(frozen=True)
class Topic:
    """A parameter at a cell. ``firm`` is meant for contested topics only; elsewhere it is False."""

    parameter: Parameter
    when: Scope
    standing: str
    firm: bool
    rulings: tuple[Ruling, ...]
    positions: tuple[Position, ...]
    _panel: Panel
    _heard: int

    @property
    def id(self) -> str:
        """The public id: parameter, and the conditions as a query."""
        return topic_id(self.parameter.id, self.when)

    @property
    def ruling(self) -> Ruling | None:
        """The ruling that governs: none where several tie that adopt different values."""
        return self.rulings[0] if len({ruling.value for ruling in self.rulings}) == 1 else None

    @property
    def tied(self) -> bool:
        """Whether rulings tie that adopt different values: nothing holds then, whatever the voices say."""
        return bool(self.rulings) and self.ruling is None

    @cached_property
    def claims(self) -> tuple[Claim, ...]:
        """What the voices say here, by id."""
        return tuple(self._panel.claims[index] for index in bits(self._heard))

    @property
    def obtained(self) -> set[str]:
        """How the claims of the voices here were obtained."""
        return {way for way, claims in self._panel.obtained.items() if claims & self._heard}

    @cached_property
    def voices(self) -> tuple[str, ...]:
        """The voices that speak here, by id."""
        return tuple(sorted({self._panel.voice_of[index] for index in bits(self._heard)}))


class Comparison:
    """The comparison of a whole store, parameter by parameter."""

    def __init__(self, store: Store) -> None:
        self.vocabulary = store.vocabulary
        self.voices = Voices(store.sources)
        by_parameter: dict[str, list[Claim]] = {}
        for claim in store.claims:
            if claim.value is not None:
                by_parameter.setdefault(claim.parameter, []).append(claim)
        self._rulings: dict[str, list[Ruling]] = {}
        for ruling in store.rulings:
            if ruling.value is not None:
                self._rulings.setdefault(ruling.parameter, []).append(ruling)
        with bulk():
            self._panels = {
                parameter.id: Panel(parameter, by_parameter[parameter.id], self.voices, self.vocabulary)
                for parameter in self.vocabulary.parameters.values()
                if parameter.id in by_parameter
            }

    @cached_property
    def topics(self) -> list[Topic]:
        """Every topic, in the order of the vocabulary, the general before the special."""
        with bulk():
            return [
                self._topic(panel, cell)
                for panel in self._panels.values()
                for cell in sorted(panel.cells(), key=lambda cell: reading_order(cell, self.vocabulary))
            ]

    @cached_property
    def answered(self) -> list[Topic]:
        """The topics, and those at the scope of a ruling where no claims make one: what a course can look up."""
        cells = {(topic.parameter.id, topic.when) for topic in self.topics}
        extra = [
            self.at(ruling.parameter, ruling.when)
            for rulings in self._rulings.values()
            for ruling in rulings
            if (ruling.parameter, ruling.when) not in cells
        ]
        return sorted(
            [*self.topics, *extra],
            key=lambda topic: (topic.parameter.order, reading_order(topic.when, self.vocabulary)),
        )

    def at(self, parameter: str, when: Scope) -> Topic:
        """The topic of a parameter at any scope, whether or not it is a cell of its own."""
        panel = self._panels.get(parameter)
        if panel is None:  # nobody speaks of it
            panel = Panel(self.vocabulary.parameters[parameter], [], self.voices, self.vocabulary)
        return self._topic(panel, when)

    def statements(self) -> list[Statement]:
        """Where a voice speaks more than once of one parameter in one scope."""
        found: list[Statement] = []
        for panel in self._panels.values():
            try:
                found += panel.statements()
            except TooManyPositions:
                raise _too_many(panel.parameter.id) from None
        return found

    def superseded(self) -> list[tuple[Claim, str]]:
        """The claims of older editions, each with the edition that speaks instead."""
        return sorted(
            (pair for panel in self._panels.values() for pair in panel.superseded), key=lambda pair: pair[0].id
        )

    def governing(self, parameter: str, when: Scope) -> tuple[Ruling, ...]:
        """The most specific rulings that cover a scope: none, one, or several that tie."""
        over = [r for r in self._rulings.get(parameter, ()) if covers(r.when, when, self.vocabulary)]
        return tuple(
            ruling
            for ruling in over
            if not any(other.when != ruling.when and covers(ruling.when, other.when, self.vocabulary) for other in over)
        )

    def ties(self) -> list[tuple[Ruling, Ruling]]:
        """The pairs of rulings that adopt different values and govern, equally closely, what they have in common."""
        found = []
        for rulings in self._rulings.values():
            for one, other in combinations(rulings, 2):
                common = meet(one.when, other.when, self.vocabulary) if one.value != other.value else None
                if common is not None and {one, other} <= set(self.governing(one.parameter, common)):
                    found.append((one, other))
        return found

    def supporters(self, ruling: Ruling) -> tuple[Claim, ...]:
        """The claims of the positions that a ruling agrees with: with each claim of theirs, so with what they share."""
        assert ruling.value is not None
        parameter = self.vocabulary.parameters[ruling.parameter]
        adopted = comparable(ruling.value, parameter, self.vocabulary)
        found: dict[str, Claim] = {}
        for position in self.at(ruling.parameter, ruling.when).positions:
            values = [comparable(c.value, parameter, self.vocabulary) for c in position.claims if c.value is not None]
            if not ValueTable([adopted, *values], parameter, self.vocabulary).conflicts[0]:
                found |= {claim.id: claim for claim in position.claims}
        return tuple(found[claim] for claim in sorted(found))

    def _topic(self, panel: Panel, cell: Scope) -> Topic:
        try:
            standing, firm, positions, heard = panel.judge(cell)
        except TooManyPositions:
            raise _too_many(topic_id(panel.parameter.id, cell)) from None
        rulings = self.governing(panel.parameter.id, cell) if self._rulings else ()
        return Topic(panel.parameter, cell, standing, firm, rulings, positions, panel, heard)


def _too_many(topic: str) -> UnusableInput:
    return unusable(
        topic,
        f"the sources take more than {MOST_POSITIONS} positions on it",
        "split the sets that they state into smaller claims",
    )
