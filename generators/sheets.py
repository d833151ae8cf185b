"""Study sheets: for one arch, chapter by chapter, what holds and where the sources differ, with figures and tables."""

from collections import Counter
from dataclasses import dataclass
from itertools import groupby

from trayconcord.generators.charts import range_chart, scale_of
from trayconcord.generators.figures.chapters import figures_of
from trayconcord.generators.figures.drawing import Figure, KeyLine
from trayconcord.generators.plans import Plan, PlannedTable
from trayconcord.generators.references import Reference, ReferenceList
from trayconcord.generators.sheet_orders import MergedOrder, merged_order
from trayconcord.kb.model import Claim, Ruling, Scope, concepts_in, in_order, subjects_of
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Caution, Parameter, Term
from trayconcord.shapes.answers import says_the_same
from trayconcord.shapes.compare import Comparison, Topic
from trayconcord.shapes.scopes import meet, reading_order
from trayconcord.shapes.wording import letter, position_text, printed_text, scope_text


@dataclass(frozen=True)
class Answer:
    """What holds in a case, with the numbers of the references. ``standing`` is `ruled` or that of the topic."""

    case: str
    standing: str
    value: str
    because: str
    choices: list[tuple[str, str, list[int]]]
    references: list[int]
    order: MergedOrder | None = None
    """For a contested order of steps what the sheet prints instead of the choices."""


@dataclass(frozen=True)
class Entry:
    """A parameter of a sheet with its answers, and the other names of what it mentions first on the sheet."""

    parameter: Parameter
    answers: list[Answer]
    other_names: list[tuple[str, tuple[str, ...]]]
    left_out: int
    """How many narrower cases a brief sheet does not give."""
    chart: tuple[str, str] | None
    """A range chart, as SVG, of the first case on which the sources differ, and what it shows."""


KeyEntry = tuple[str, str, str, list[int]]
"""A line of a key: sign, label, text and references."""


@dataclass(frozen=True)
class ShownFigure:
    """A figure with the references of each line of its key."""

    figure: Figure
    key: list[KeyEntry]
    notes: list[str]


@dataclass(frozen=True)
class FigureGroup:
    """Figures that stand together; of a series the lines of the key and the notes that most of its figures share."""

    series: bool
    figures: list[ShownFigure]
    key: list[KeyEntry]
    notes: list[str]


@dataclass(frozen=True)
class Chapter:
    """A chapter of a sheet."""

    title: str
    figures: list[FigureGroup]
    entries: list[Entry]


@dataclass(frozen=True)
class Table:
    """Answers by the concepts of an axis: the columns, and for each row its case and its cells."""

    title: str
    columns: list[Parameter]
    rows: list[tuple[str, list[Answer]]]


@dataclass(frozen=True)
class Sheet:
    """A study sheet for one arch."""

    title: str
    arch: Term
    depth: str
    chapters: list[Chapter]
    tables: list[Table]
    cautions: list[Caution]
    references: list[Reference]

    @property
    def heading(self) -> str:
        """The title with the arch."""
        return f"{self.title}: {self.arch.label} arch"


def claims_about(arch: str, store: Store) -> list[Claim]:
    """The claims that bear on an edentulous arch."""
    here = in_order({"arch": arch, "dentition": "edentulous"}, store.vocabulary)
    return [c for c in store.claims if c.value is not None and meet(here, c.when, store.vocabulary) is not None]


def study_sheet(comparison: Comparison, store: Store, arch: str, plan: Plan) -> Sheet:
    """The sheet of an edentulous arch. A case whose answer is that of a more general line is left out."""
    return _Writer(comparison, store, arch, plan).sheet()


class _Writer:
    """Writes one sheet from top to bottom: references are numbered, and other names told, where they first come up."""

    def __init__(self, comparison: Comparison, store: Store, arch: str, plan: Plan) -> None:
        self.comparison, self.store, self.plan, self.arch = comparison, store, plan, arch
        self.vocabulary = store.vocabulary
        self.here = in_order({"arch": arch, "dentition": "edentulous"}, store.vocabulary)
        self.references = ReferenceList(store)
        self.claims = claims_about(arch, store)
        self._named: set[str] = set()
        self._order: MergedOrder | None = None

    def sheet(self) -> Sheet:
        scopes: dict[str, set[Scope]] = {}
        records: list[Claim | Ruling] = [*self.claims]
        records += [ruling for ruling in self.store.rulings if ruling.value is not None]  # also where no source speaks
        for record in records:
            common = meet(self.here, record.when, self.vocabulary)
            if common is not None:
                scopes.setdefault(record.parameter, set()).add(common)
        chapters = []
        for planned in self.plan.chapters:
            figures = [
                self._group(list(group))
                for name in planned.of
                if self.plan.figures
                for _, group in groupby(figures_of(name, self.comparison, self.here), key=_stands_with)
            ]
            entries = [
                entry
                for name in planned.of
                for parameter in self.vocabulary.parameters.values()
                if parameter.chapter == name and parameter.id in scopes
                if (entry := self._entry(parameter, scopes[parameter.id])) is not None
            ]
            if entries:
                chapters.append(Chapter(planned.title, figures, entries))
        tables = [table for planned in self.plan.tables if (table := self._table(planned)) is not None]
        taken = {name for planned in self.plan.chapters for name in planned.of}
        columns = {name for planned in self.plan.tables for name in planned.of}
        parameters = self.vocabulary.parameters
        about = [c for c in self.claims if parameters[c.parameter].chapter in taken or c.parameter in columns]
        return Sheet(
            title=self.plan.title,
            arch=self.vocabulary.concepts[self.arch],
            depth=self.plan.depth,
            chapters=chapters,
            tables=tables,
            cautions=self.vocabulary.cautions_for(subject for claim in about for subject in subjects_of(claim)),
            references=self.references.entries(),
        )

    def _group(self, figures: list[Figure]) -> FigureGroup:
        """Figures with their references. What most figures of a series say is said once for all of them."""
        if len(figures) == 1 or not figures[0].series:
            shown = [ShownFigure(f, [self._line(line) for line in f.key], f.notes) for f in figures]
            return FigureGroup(False, shown, [], [])
        lines = Counter((line.sign, line.label, line.text) for figure in figures for line in figure.key)
        notes = Counter(note for figure in figures for note in figure.notes)
        most = len(figures) / 2
        shown = [
            ShownFigure(
                figure,
                [self._line(line) for line in figure.key if lines[line.sign, line.label, line.text] <= most],
                [note for note in figure.notes if notes[note] <= most],
            )
            for figure in figures
        ]
        claims: dict[tuple[str, str, str], tuple[Claim, ...]] = {}
        for line in (line for figure in figures for line in figure.key):
            about = (line.sign, line.label, line.text)
            claims[about] = claims.get(about, ()) + line.claims
        shared = [self._line(KeyLine(*about, found)) for about, found in claims.items() if lines[about] > most]
        return FigureGroup(True, shown, shared, [note for note, count in notes.items() if count > most])

    def _line(self, line: KeyLine) -> KeyEntry:
        return line.sign, line.label, line.text, self._cite(line.claims)

    def _entry(self, parameter: Parameter, scopes: set[Scope]) -> Entry | None:
        ordered = sorted(scopes, key=lambda scope: (len(scope), reading_order(scope, self.vocabulary)))
        topics: list[Topic] = []
        for scope in ordered:
            topic = self.comparison.at(parameter.id, scope)
            if (topic.claims or topic.ruling) and not any(
                says_the_same(topic, other, self.vocabulary) for other in topics
            ):
                topics.append(topic)
        if not topics:
            return None
        shown = topics[:1] if self.plan.depth == "brief" else topics
        self._order = None
        answers = [self._answer(topic, self._case(topic)) for topic in shown]
        left_out = len(topics) - len(shown)
        return Entry(parameter, answers, self._other_names(parameter, shown), left_out, self._chart(parameter, shown))

    def _chart(self, parameter: Parameter, topics: list[Topic]) -> tuple[str, str] | None:
        contested = [topic for topic in topics if topic.standing == "contested"]
        if not self.plan.charts or parameter.kind not in ("interval", "count") or not contested:
            return None
        topic = contested[0]
        chart = range_chart(topic, self.store, scale_of([topic], self.store))
        return chart, f"{parameter.label}, {self._case(topic)}"

    def _case(self, topic: Topic) -> str:
        left = tuple(condition for condition in topic.when if condition not in self.here)
        return scope_text(left, self.vocabulary) or "in general"

    def _other_names(self, parameter: Parameter, topics: list[Topic]) -> list[tuple[str, tuple[str, ...]]]:
        """The other names of the parameter and of the concepts that come up here for the first time on the sheet."""
        found: list[tuple[str, tuple[str, ...]]] = [("", parameter.alt)] if parameter.alt else []
        concepts = self.vocabulary.concepts
        mentioned = {concept for topic in topics for claim in topic.claims for concept in concepts_in(claim)}
        mentioned |= {concept for topic in topics for _, concept in topic.when}
        for concept in sorted(mentioned - self._named, key=lambda name: (concepts[name].order, name)):
            if concepts[concept].alt:
                found.append((concepts[concept].label, concepts[concept].alt))
        self._named |= mentioned
        return found

    def _table(self, planned: PlannedTable) -> Table | None:
        """A table whose rows are the cases on the axis that claims name, with the consistency where they name it."""
        axes = (planned.by, *(("consistency",) if planned.by == "impression-material" else ()))
        cases: set[Scope] = set()
        records: list[Claim | Ruling] = [*self.claims, *self.store.rulings]
        for record in records:
            common = meet(self.here, record.when, self.vocabulary) if record.parameter in planned.of else None
            named = {axis: concept for axis, concept in common or () if axis in axes}
            if planned.by in named:
                cases.add(in_order(named, self.vocabulary))
        columns = [self.vocabulary.parameters[name] for name in planned.of]
        rows = []
        for case in sorted(cases, key=lambda case: reading_order(case, self.vocabulary)):
            when = in_order(dict(self.here) | dict(case), self.vocabulary)
            topics = [self.comparison.at(parameter.id, when) for parameter in columns]
            if any(topic.claims or topic.ruling for topic in topics):
                rows.append((scope_text(case, self.vocabulary), [self._answer(topic, "") for topic in topics]))
        return Table(f"By {self.vocabulary.axes[planned.by].label}", columns, rows) if rows else None

    def _answer(self, topic: Topic, case: str) -> Answer:
        choices = [
            (
                letter(number),
                position_text(position, topic.parameter, self.vocabulary, topic.when),
                self._cite(position.claims),
            )
            for number, position in enumerate(topic.positions)
        ]
        ruling = topic.ruling
        order = None
        if topic.parameter.kind == "order" and topic.standing == "contested" and not ruling:
            order = merged_order(topic, case, self._order, self._cite, self.vocabulary)
            self._order = self._order or order
        value = choices[0][1] if choices else ""
        return Answer(
            case=case,
            standing="ruled" if ruling else topic.standing,
            value=printed_text(ruling, self.vocabulary) if ruling else value,
            because=ruling.because if ruling else "",
            choices=choices,
            references=sorted({number for _, _, numbers in choices for number in numbers}),
            order=order,
        )

    def _cite(self, claims: tuple[Claim, ...]) -> list[int]:
        """The numbers of the references behind some claims, one for each source."""
        return sorted({self.references.cite(claim) for claim in claims})


BROAD = 360
"""User units above which a figure needs the width of the sheet: beside another its labels would become too small."""


def _stands_with(figure: Figure) -> str:
    """What figures have in common that may stand beside one another."""
    left, _, right, _ = figure.drawing.box
    return figure.series or (figure.name if right - left > BROAD else "")
