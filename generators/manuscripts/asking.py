"""Asking the rules on behalf of a manuscript: which case is meant, what holds there, and how it may be shown.

A value that the course has ruled on, or on which the sources agree, is printed as it is. For anything else the author
has to say how it is to be shown, or the question is refused with what the sources say.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from trayconcord.generators.manuscripts.citations import Citations, marked
from trayconcord.generators.manuscripts.formats import Format
from trayconcord.kb.model import Claim, Ruling, Scope, comparable, concepts_in, in_order
from trayconcord.kb.store import Store
from trayconcord.kb.values import Interval, Membership
from trayconcord.kb.vocabulary import Concept, Parameter, Term
from trayconcord.shapes.answers import Casebook, contradictions, in_case
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.panel import Position
from trayconcord.shapes.positions import ValueTable
from trayconcord.shapes.wording import (
    citation,
    comparable_text,
    position_text,
    printed_text,
    scope_text,
    shown_text,
    some_of,
)

MOST_NAMES = 4
"""Sources that a refusal names for one position."""

CONTESTED = ("positions", "span")
SAY = ("say",)


class Refusal(Exception):
    """A question that is not answered as it was asked: why, and what to do; ``standing`` is that of its topic."""

    def __init__(self, message: str, fix: str, standing: str = "") -> None:
        super().__init__(message)
        self.message, self.fix, self.standing = message, fix, standing


@dataclass(frozen=True)
class Said:
    """What a function of a manuscript answers.

    ``text`` is in the notation of the manuscript, citations being marks; ``standing`` is "ruled", "agreed", "single",
    "contested" or "silent", for several answers the words that occur, in alphabetical order; ``claims`` are ids.
    """

    text: str
    standing: str = ""
    claims: tuple[str, ...] = ()
    figures: dict[str, bytes] = field(default_factory=dict)


@dataclass(frozen=True)
class Show:
    """How an author wants to see what does not simply hold, and how many sources are named at most."""

    contested: str | None = None
    single: str | None = None
    silent: str | None = None
    most: int | None = None

    def __post_init__(self) -> None:
        for name, known in (("contested", CONTESTED), ("single", SAY), ("silent", SAY)):
            chosen = getattr(self, name)
            if chosen is not None and chosen not in known:
                raise Refusal(f"{name} cannot be {chosen!r}", f"write {' or '.join(f'{name}={k!r}' for k in known)}")
        if self.most is not None and (not isinstance(self.most, int) or self.most < 1):
            raise Refusal(f"most cannot be {self.most!r}", "write how many sources to name at most, as in most=3")


class Asker:
    """Answers single questions, and remembers what was asked for citations, cautions and the glossary."""

    def __init__(self, store: Store, comparison: Comparison, case: Scope, form: Format) -> None:
        self.store, self.comparison, self.case, self.form = store, comparison, case, form
        self.vocabulary = store.vocabulary
        self.citations = Citations(store, form)
        self.casebook = Casebook(store, comparison)
        self.concepts: set[str] = set()
        self.cases: list[Scope] = []
        self.named: list[Term] = []

    # --- what is meant -------------------------------------------------------------------------------------------

    def known(self, word: object, what: str, among: Mapping[str, Term]) -> str:
        """An id of the vocabulary; any other word is refused with the nearest one."""
        if isinstance(word, str) and word in among:
            return str(word)
        near = self.vocabulary.nearest(word, among) if isinstance(word, str) else None
        fix = f"did you mean {near}?" if near else "see trayconcord terms"
        raise Refusal(f"no {what} is called {word!r}", fix)

    def parameter(self, word: object) -> Parameter:
        """A parameter by its id."""
        return self.vocabulary.parameters[self.known(word, "parameter", self.vocabulary.parameters)]

    def scope(self, case: object, conditions: Mapping[str, object]) -> Scope:
        """The conditions of a question: those of the case, and those that it adds or puts in their place."""
        when = dict(self._case(case))
        when |= self._conditions(conditions)
        scope = in_order(when, self.vocabulary)
        for clash in contradictions(scope, self.vocabulary):
            labels = self.vocabulary.concepts
            raise Refusal(
                f"{labels[clash.concept].label} does not go with {labels[clash.other].label}",
                f"it goes with: {', '.join(labels[concept].label for concept in clash.allowed)}",
            )
        if scope not in self.cases:
            self.cases.append(scope)
        return scope

    def _case(self, case: object) -> Scope:
        if case is None:
            return self.case
        if isinstance(case, Mapping):
            return tuple(self._conditions(case).items())
        taught = {known.id: known for known in self.store.cases}
        if isinstance(case, str) and case in taught:
            return taught[case].when
        if not taught:
            raise Refusal(
                f"no case is called {case!r}, for the store has none",
                "enter it under cases: in a form, or write the case as {'arch': 'maxillary', …}",
            )
        terms = {name: Term(name, known.label) for name, known in taught.items()}
        name = self.known(case, "case", terms)
        return taught[name].when

    def _conditions(self, words: Mapping[str, object]) -> dict[str, str]:
        found = {}
        for word, value in words.items():
            axis = self.vocabulary.axes[self.known(str(word).replace("_", "-"), "axis", self.vocabulary.axes)]
            found[axis.id] = self.concept(value, axis.scheme)
        return found

    def concept(self, word: object, scheme: str) -> str:
        """A concept of a scheme by its id."""
        among: dict[str, Concept] = {concept.id: concept for concept in self.vocabulary.in_scheme(scheme)}
        return self.known(word, self.vocabulary.schemes[scheme].label, among)

    def topic(self, parameter: Parameter, scope: Scope) -> Topic:
        """The topic that is asked for; what it names is remembered."""
        found = self.comparison.at(parameter.id, scope)
        self.concepts.update(concept for _, concept in scope)
        self.concepts.update(concept for claim in found.claims for concept in concepts_in(claim))
        return found

    # --- what is said --------------------------------------------------------------------------------------------

    def standing(self, topic: Topic) -> str:
        """How a topic stands: "ruled", or as the sources stand. Rulings that tie leave it contested."""
        if topic.ruling:
            return "ruled"
        return "contested" if topic.tied else topic.standing

    def told(self, topic: Topic, show: Show, cite: bool) -> str:
        """The value of a topic in a sentence. Raises `Refusal`."""
        standing = self.allowed(topic, show)
        if standing == "silent":
            return self.form.escape("(no source says)")
        if standing == "ruled" or standing == "agreed":
            return self.value_text(topic) + (self.behind(topic, show) if cite else "")
        if standing == "contested" and show.contested == "span":
            low, high = self.span(topic)
            text = self.form.escape(self.span_text(low, high, topic))
            return text + " (sources differ)" + (self.behind(topic, show) if cite else "")
        cite = cite or standing == "contested"
        positions = [
            self._position(position, topic) + (self.cited(list(position.claims), show.most) if cite else "")
            for position in topic.positions
        ]
        note = "sources differ" if standing == "contested" else "one source only"
        return f"{' or '.join(positions)} {self.form.escape(f'({note})')}"

    def allowed(self, topic: Topic, show: Show) -> str:
        """The standing, where it may be shown. Raises `Refusal` with the positions."""
        standing = self.standing(topic)
        parameter = topic.parameter
        about = parameter.label + (f", {scope_text(topic.when, self.vocabulary)}" if topic.when else "")
        if standing == "contested" and (show.contested is None or (show.contested == "span" and not _measured(topic))):
            how = " or ".join(f'contested="{way}"' for way in (CONTESTED if _measured(topic) else CONTESTED[:1]))
            lead = f"{about}: {len(topic.positions)} positions of {len(topic.voices)} voices"
            if topic.tied:
                lead += ", and the rulings on it differ"
            fix = f"say how to show it, {how}, or decide it with a ruling"
            raise Refusal(f"{lead}{self._positions(topic)}", fix, standing)
        if standing == "single" and show.single is None:
            lead = f"{about}: one voice only{self._positions(topic)}"
            raise Refusal(lead, 'say so in the text with single="say"', standing)
        if standing == "silent" and show.silent is None:
            raise Refusal(f"{about}: no source speaks of this case", self._missing(topic), standing)
        return standing

    def _positions(self, topic: Topic) -> str:
        lines = []
        for position in topic.positions:
            names = some_of((citation(claim, self.store) for claim in position.claims), MOST_NAMES)
            value = position_text(position, topic.parameter, self.vocabulary, topic.when)
            lines.append(f"\n    {value}: {names}")
        return "".join(lines)

    def _missing(self, topic: Topic) -> str:
        """What the author can add to a question that nobody answers as it stands."""
        axes: dict[str, dict[str, None]] = {}
        for scope in dict.fromkeys(claim.when for claim in self.store.claims if claim.parameter == topic.parameter.id):
            stated = dict(topic.when)
            if all(self._near(concept, stated.get(axis)) for axis, concept in scope):
                for axis, concept in scope:
                    if axis not in stated:
                        axes.setdefault(axis, {})[concept] = None
        ways = [
            f"{axis.replace('-', '_')}= {', '.join(concepts)}" if len(concepts) < 9 else axis.replace("-", "_") + "="
            for axis, concepts in sorted(axes.items(), key=lambda pair: self.vocabulary.axes[pair[0]].order)
        ]
        named = f"name {'; or '.join(ways)}; or " if ways else ""
        return f'{named}say so in the text with silent="say"'

    def _near(self, one: str, other: str | None) -> bool:
        return other is None or self.vocabulary.covers(one, other) or self.vocabulary.covers(other, one)

    def value_text(self, topic: Topic) -> str:
        """The value that holds: as the ruling was written, or what all voices share."""
        if topic.ruling:
            value = topic.ruling.value
            if isinstance(value, Membership):
                return self._set(value, topic)
            return self.form.escape(printed_text(topic.ruling, self.vocabulary))
        return self._position(topic.positions[0], topic)

    def _position(self, position: Position, topic: Topic) -> str:
        if isinstance(position.value, Membership):
            return self._set(position.value, topic)
        return self.form.escape(position_text(position, topic.parameter, self.vocabulary, topic.when))

    def _set(self, value: Membership, topic: Topic) -> str:
        """A set in a sentence, without what does not occur in the case."""
        here = in_case(value, topic.when, self.vocabulary)
        if not isinstance(here, Membership) or not (here.includes or here.excludes):
            return self.form.escape(comparable_text(value, topic.parameter, self.vocabulary))
        left_out = f"not {self._listed(here.excludes)}" if here.excludes else ""
        return self.form.escape(", ".join(part for part in (self._listed(here.includes), left_out) if part))

    def _listed(self, members: frozenset[str]) -> str:
        concepts = self.vocabulary.concepts
        labels = [concepts[member].label for member in sorted(members, key=lambda m: (concepts[m].order, m))]
        return " and ".join([", ".join(labels[:-1]), labels[-1]] if len(labels) > 1 else labels)

    def span(self, topic: Topic) -> tuple[Fraction | None, Fraction | None]:
        """The smallest and the largest value that a topic's claims state; None where an end is open."""
        values = [comparable(c.value, topic.parameter, self.vocabulary) for c in topic.claims if c.value is not None]
        ends = [(value.low, value.high) for value in values if isinstance(value, Interval)]
        lows, highs = [low for low, _ in ends], [high for _, high in ends]
        return (
            None if None in lows else min(low for low in lows if low is not None),
            None if None in highs else max(high for high in highs if high is not None),
        )

    def span_text(self, low: Fraction | None, high: Fraction | None, topic: Topic) -> str:
        """A range between ends that claims of a topic state, as a page shows it."""
        return shown_text(Interval(low, high), topic.claims, topic.parameter, self.vocabulary, beside=False)

    def behind(self, topic: Topic, show: Show) -> str:
        """The citation of what holds: of a ruling, itself and the sources that it agrees with."""
        if topic.ruling:
            return self.cited([topic.ruling, *self.strongest(self._in_line_with(topic.ruling, topic))], show.most)
        return self.cited(self.strongest(topic.claims), show.most)

    def _in_line_with(self, ruling: Ruling, topic: Topic) -> tuple[Claim, ...]:
        """The claims of a topic that can be right together with a ruling."""
        records: list[Claim | Ruling] = [ruling, *topic.claims]
        values = [comparable(r.value, topic.parameter, self.vocabulary) for r in records if r.value is not None]
        against = ValueTable(values, topic.parameter, self.vocabulary).conflicts[0]
        return tuple(claim for number, claim in enumerate(topic.claims, 1) if not against >> number & 1)

    def strongest(self, claims: tuple[Claim, ...]) -> list[Claim | Ruling]:
        """Claims with the strongest kind of evidence first, what was read before what was remembered."""
        kinds, sources, ways = self.vocabulary.kinds, self.store.sources, list(self.vocabulary.obtained)

        def rank(claim: Claim) -> tuple[int, int, str]:
            kind = sources[claim.source].kind if claim.source in sources else ""
            way = ways.index(claim.obtained) if claim.obtained in ways else len(ways)
            return (-kinds[kind].strength if kind in kinds else 0, way, claim.id)

        return [*sorted(claims, key=rank)]

    def cited(self, records: list[Claim] | list[Claim | Ruling], most: int | None) -> str:
        """A space and the citation of some records, of at most so many sources."""
        sources = list(dict.fromkeys(r.id if isinstance(r, Ruling) else r.source for r in records))
        shown = set(sources[:most])
        keys = [
            self.citations.key(record)
            for record in records
            if (record.id if isinstance(record, Ruling) else record.source) in shown
        ]
        mark = marked(list(dict.fromkeys(keys)), len(sources) - len(shown))
        return f" {mark}" if mark else ""


def _measured(topic: Topic) -> bool:
    return topic.parameter.kind in ("interval", "count")
