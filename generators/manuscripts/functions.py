"""The functions that a manuscript may call, each with an example that is run as a test.

Common to them: ``case`` is a case of the store by its id, or conditions such as ``{"arch": "maxillary"}``; without one
it is the case that the manuscript is rendered for. Further conditions follow by name, with ``_`` for ``-``. Where the
course has not ruled and the sources do not agree, ``contested="positions"`` prints every position with its citations,
``contested="span"`` the smallest and largest value, ``single="say"`` the word of one source, and ``silent="say"`` that
no source speaks. ``most=3`` names three sources at most, the strongest first.
"""

from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import Any

from trayconcord.generators.figures.chapters import figures_of
from trayconcord.generators.figures.drawing import Figure
from trayconcord.generators.manuscripts.apparatus import Apparatus
from trayconcord.generators.manuscripts.asking import Refusal, Said, Show
from trayconcord.generators.work_order import work_order
from trayconcord.kb.model import Claim, Ruling, Scope, in_order
from trayconcord.kb.values import Interval
from trayconcord.kb.vocabulary import Parameter, Term
from trayconcord.shapes.answers import governing_value, without_repeats
from trayconcord.shapes.compare import Topic
from trayconcord.shapes.scopes import meet
from trayconcord.shapes.wording import scope_text

NAMES = (
    "value", "both", "cite", "lowest", "highest", "range_of", "reason", "table", "steps", "figure", "cautions",
    "term", "glossary", "references", "store_hash",
)  # fmt: skip
"""The functions by name, in the order in which they are explained."""


class Functions(Apparatus):
    """The functions, answering in one pass over a manuscript."""

    def ask(self, name: str, arguments: Sequence[Any], keywords: dict[str, Any]) -> Said:
        """What a function answers. Raises `Refusal`, also for arguments that do not fit."""
        function: Callable[..., Said] = getattr(self, name)
        try:
            return function(*arguments, **keywords)
        except TypeError as error:
            if error.__traceback__ is not None and error.__traceback__.tb_next is None:  # the call itself did not fit
                message = str(error).replace("Functions.", "").replace("positional ", "")
                raise Refusal(message, f"trayconcord render --functions explains {name}") from None
            raise

    # --- values --------------------------------------------------------------------------------------------------

    def value(
        self, parameter: str, case: Any = None, *, contested: str | None = None, single: str | None = None,
        silent: str | None = None, most: int | None = None, **conditions: str,
    ) -> Said:  # fmt: skip
        """The value that holds, as printed, with its unit: what the course has ruled, else what all sources share.

        The border ends {{ value("border-clearance", arch="maxillary") }} short of the sulcus.
        """
        show = Show(contested, single, silent, most)
        topic = self._topic(parameter, case, conditions)
        return self._said(topic, self.told(topic, show, cite=False))

    def both(
        self, parameter: str, case: Any = None, *, contested: str | None = None, single: str | None = None,
        silent: str | None = None, most: int | None = None, **conditions: str,
    ) -> Said:  # fmt: skip
        """The value with its citation behind it.

        Make the wall {{ both("wall-thickness", tray_material="light-cured-resin", contested="positions", most=2) }}.
        """
        show = Show(contested, single, silent, most)
        topic = self._topic(parameter, case, conditions)
        return self._said(topic, self.told(topic, show, cite=True))

    def cite(self, parameter: str, case: Any = None, *, most: int | None = None, **conditions: str) -> Said:
        """The citation alone, numbered in the order of first use: of a ruling itself and the sources that support it.

        Stops keep the space even {{ cite("stop-purpose", most=2) }}.
        """
        topic = self._topic(parameter, case, conditions)
        if self.standing(topic) == "silent":
            self.allowed(topic, Show())
        return self._said(topic, self.behind(topic, Show(most=most)).lstrip())

    def lowest(
        self, parameter: str, case: Any = None, *, contested: str | None = None, single: str | None = None,
        **conditions: str,
    ) -> Said:  # fmt: skip
        """The lower end of a quantity that holds (of what is stated, with contested="span").

        Never less than {{ lowest("spacer-thickness", impression_material="irreversible-hydrocolloid") }} of wax.
        """
        return self._end(0, parameter, case, Show(contested, single), conditions)

    def highest(
        self, parameter: str, case: Any = None, *, contested: str | None = None, single: str | None = None,
        **conditions: str,
    ) -> Said:  # fmt: skip
        """The upper end of a quantity that holds (of what is stated, with contested="span").

        No more than {{ highest("border-clearance", region="labial-sulcus") }} short.
        """
        return self._end(1, parameter, case, Show(contested, single), conditions)

    def range_of(self, parameter: str, case: Any = None, *, most: int | None = None, **conditions: str) -> Said:
        """All that the sources state, from the smallest to the largest value, whatever the course has ruled.

        Books give {{ range_of("border-clearance") }}.
        """
        topic = self._topic(parameter, case, conditions)
        self._quantity(topic.parameter)
        if not topic.claims:
            self.allowed(topic, Show(contested="span", single="say"))
        low, high = self.span(topic)
        text = self.form.escape(self.span_text(low, high, topic))
        cited = self.cited(self.strongest(topic.claims), most) if most else ""
        return Said(text + cited, "", tuple(claim.id for claim in topic.claims))

    def reason(self, parameter: str, case: Any = None, **conditions: str) -> Said:
        """Why the course has ruled as it has.

        We lay no spacer: {{ reason("spacer-thickness", "upper-paste-wash") }}
        """
        topic = self._topic(parameter, case, conditions)
        if not topic.ruling:
            about = f"{topic.parameter.label}{', ' if topic.when else ''}{scope_text(topic.when, self.vocabulary)}"
            raise Refusal(f"{about}: the course has not ruled on it", "use both(), or decide it with a ruling")
        return self._said(topic, self.form.escape(topic.ruling.because))

    def _topic(self, parameter: object, case: object, conditions: dict[str, str]) -> Topic:
        known = self.parameter(parameter)
        return self.topic(known, self.scope(case, conditions))

    def _said(self, topic: Topic, text: str) -> Said:
        return Said(text, self.standing(topic), tuple(claim.id for claim in topic.claims))

    def _quantity(self, parameter: Parameter) -> None:
        if parameter.kind not in ("interval", "count"):
            raise Refusal(f"{parameter.label} is no quantity", "use value()")

    def _end(self, end: int, parameter: str, case: object, show: Show, conditions: dict[str, str]) -> Said:
        topic = self._topic(parameter, case, conditions)
        self._quantity(topic.parameter)
        standing = self.allowed(topic, show)
        if standing == "contested" and show.contested != "span":
            raise Refusal("several positions have no one end", 'write contested="span"')
        held = governing_value(topic, self.vocabulary)
        ends = (held.low, held.high) if isinstance(held, Interval) else self.span(topic)
        found: Fraction | None = ends[end]
        if found is None:
            raise Refusal(f"{topic.parameter.label} has no such end: {self.value_text(topic)}", "use value()")
        return self._said(topic, self.form.escape(self.span_text(found, found, topic)))

    # --- several at once -----------------------------------------------------------------------------------------

    def table(
        self, by: str, parameters: Sequence[str], case: Any = None, *, rows: Sequence[str] | None = None,
        contested: str | None = None, single: str | None = None, silent: str | None = None, most: int | None = None,
        **conditions: str,
    ) -> Said:  # fmt: skip
        """Several parameters by the concepts of an axis: those in ``rows``, or all that a source or ruling names.

        {{ table("impression-material", ["tray-fit", "spacer-thickness"], rows=["polyether", "impression-plaster"],
                 contested="positions", single="say", silent="say", most=2) }}
        """
        axis = self.vocabulary.axes[self.known(by, "axis", self.vocabulary.axes)]
        columns = [self.parameter(name) for name in self._words(parameters, "parameters")]
        here = self.scope(case, {name: value for name, value in conditions.items() if name.replace("_", "-") != by})
        here = tuple(condition for condition in here if condition[0] != axis.id)
        show = Show(contested, single, silent, most)
        chosen = (
            [self.concept(row, axis.scheme) for row in self._words(rows, "rows")]
            if rows is not None
            else self._named_on(axis.id, columns, here)
        )
        topics, lines = [], []
        for concept in chosen:
            found = [self.topic(column, self.scope(dict(here), {axis.id: concept})) for column in columns]
            topics += found
            unsaid = [bool(show.silent) and self.standing(topic) == "silent" for topic in found]
            cells = [
                "–" if none else self.told(topic, show, cite=True) for topic, none in zip(found, unsaid, strict=True)
            ]
            lines.append([self.form.escape(self.vocabulary.concepts[concept].label), *cells])
        head = [self.form.escape(text) for text in (axis.label, *(column.label for column in columns))]
        return self._said_together(topics, self.form.table(head, lines))

    def _words(self, words: object, what: str) -> list[str]:
        if isinstance(words, (list, tuple)) and words and all(isinstance(word, str) for word in words):
            return [str(word) for word in words]
        raise Refusal(f"{what} must be a list of names", f"write {what}=['…', '…']")

    def _named_on(self, axis: str, columns: list[Parameter], here: Scope) -> list[str]:
        names = {column.id for column in columns}
        records: list[Claim | Ruling] = [*self.store.claims, *self.store.rulings]
        found = set()
        for record in records:
            common = meet(here, record.when, self.vocabulary) if record.parameter in names else None
            if common is not None and axis in dict(common):
                found.add(dict(common)[axis])
        if not found:
            raise Refusal(f"no source names {self.vocabulary.axes[axis].label} for these", "name rows=[…]")
        return sorted(found, key=lambda concept: (self.vocabulary.concepts[concept].order, concept))

    def steps(
        self, case: Any = None, *, order: str | None = None, only: Sequence[str] | None = None,
        leave_out: Sequence[str] = (), contested: str | None = None, single: str | None = None, most: int | None = 2,
        **conditions: str,
    ) -> Said:  # fmt: skip
        """The steps of the work in order, with the numbers in place and where to stop and ask. Where the sources put
        steps both ways round, order="merged" keeps what can be kept of each. Only the parameters in ``only`` are
        printed, where it is given; the steps in ``leave_out`` are not.

        {{ steps("upper-paste-wash", order="merged", only=["border-clearance"], leave_out=["adapt-spacer"]) }}
        """
        if order not in (None, "merged"):
            raise Refusal(f"order cannot be {order!r}", 'write order="merged"')
        procedure = self.vocabulary.parameters["procedure"]
        kept = None if only is None else {self.parameter(name).id for name in self._words(only, "only")}
        steps = self._words(leave_out, "leave_out") if leave_out else []
        dropped = {self.concept(step, procedure.scheme or "") for step in steps}
        when = self.scope(case, conditions)
        topic = self.topic(procedure, when)
        how = Show(contested, single, most=most)
        self.allowed(topic, Show("positions" if order else None, single))
        work = work_order(when, self.comparison)
        ordered = tuple(step for step in work.steps if step not in dropped)
        shown, items, topics = set[str](), [], [topic]
        self.concepts.update(ordered)
        for step in ordered:
            concept = self.vocabulary.concepts[step]
            wanted = [name for name in concept.shows if name not in shown and (kept is None or name in kept)]
            shown.update(wanted)
            found = [answer for name in wanted for answer in self._numbers(self.vocabulary.parameters[name], when)]
            topics += found
            lines = [f"{self._label(answer, when)}: {self.told(answer, how, cite=True)}" for answer in found]
            others = [o for pair in work.both_ways if step in pair for o in pair if o != step and o in ordered]
            if others:
                labels = ", ".join(self.vocabulary.concepts[other].label for other in others)
                lines.append(self.form.escape(f"Sources differ, before or after: {labels}"))
            if concept.hold_point:
                lines.append(f"{self.form.strong('Stop')}: {self.form.escape(concept.hold_point)}")
            items.append((self.form.escape(concept.label[0].upper() + concept.label[1:]), lines))
        return self._said_together(topics, self.form.steps(items))

    def _said_together(self, topics: Sequence[Topic], text: str) -> Said:
        standings = sorted({self.standing(topic) for topic in topics})
        claims = dict.fromkeys(claim.id for topic in topics for claim in topic.claims)
        return Said(text, " ".join(standings), tuple(claims))

    def _label(self, topic: Topic, when: Scope) -> str:
        own = scope_text(tuple(condition for condition in topic.when if condition not in when), self.vocabulary)
        return self.form.escape(topic.parameter.label + (f", {own}" if own else ""))

    def _numbers(self, parameter: Parameter, when: Scope) -> list[Topic]:
        """What is said of a parameter in a case; a site is left out where the value of the whole tray holds."""
        found = [answer for answer in self.casebook.answer(parameter, when) if answer.basis != "open"]
        kept = without_repeats(found, when, self.vocabulary)
        return [self.topic(parameter, answer.topic.when) for answer in kept]

    def figure(self, name: str, case: Any = None, **conditions: str) -> Said:
        """A figure drawn to scale from the rules, with its key: in HTML in the text, else a file beside it. Where the
        sources differ it shows both ends and says so.

        {{ figure("maxillary-outline", {"arch": "maxillary", "dentition": "edentulous"}) }}
        """
        found = self._figures(self.scope(case, conditions))
        if not isinstance(name, str) or name not in found:
            terms = {known: Term(known, figure.title) for known, figure in found.items()}
            near = self.vocabulary.nearest(name, terms) if isinstance(name, str) else None
            fix = f"did you mean {near}?" if near else f"there are: {', '.join(found) or 'none for this case'}"
            raise Refusal(f"no figure is called {name!r}", fix)
        drawn = found[name]
        claims: dict[str, None] = {}
        key = []
        for line in drawn.key:
            claims.update(dict.fromkeys(claim.id for claim in line.claims))
            words = f"{line.label}{': ' if line.label and line.text else ''}{line.text}"
            sign = f"{self.form.strong(self.form.escape(line.sign))} " if line.sign else ""
            key.append(sign + self.form.escape(words) + self.cited(self.strongest(line.claims), 2))
        key += [self.form.escape(f"{note}.") for note in drawn.notes]
        path = f"{self.folder}/{drawn.name}.svg"
        text = self.form.figure(path, drawn.svg(alone=True), self.form.escape(drawn.title), key)
        files = {path: drawn.svg(alone=True).encode()} if self.form.figure_files else {}
        return Said(text, "", tuple(claims), files)

    def _figures(self, when: Scope) -> dict[str, Figure]:
        """The figures of a case by name, drawn once; of both arches where it names none."""
        if when not in self.drawn:
            arches = [dict(when)["arch"]] if "arch" in dict(when) else ["maxillary", "mandibular"]
            cases = [in_order(dict(when) | {"arch": arch}, self.vocabulary) for arch in arches]
            self.drawn[when] = {
                figure.name: figure
                for here in cases
                for chapter in self.vocabulary.chapters
                for figure in figures_of(chapter, self.comparison, here)
            }
        return self.drawn[when]

    def store_hash(self) -> Said:
        """What identifies the rules that the manuscript was rendered from; it is no passage that can go stale.

        Rules: {{ store_hash()[:12] }}
        """
        return Said(self.store.hash)
