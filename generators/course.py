"""The Python interface: a store as a course uses it, asked from another program.

>>> from trayconcord.generators.course import Course
>>> course = Course()                              # the shipped store; Course("our/kb") lays a department's over it
>>> case = course.case(arch="maxillary", impression_material="zinc-oxide-eugenol-paste")

A plan answers every question about the tray of a case. Each answer says what it rests on; a value stands only where the
course has ruled or the voices agree, and every position names its claims:

>>> plan = course.plan(case)
>>> answers = {answer.parameter.id: answer for answer in plan.found.answers}
>>> answers["setting-time"].basis, course.value(answers["setting-time"])
('agreement', '4.75–5 min')
>>> answers["tray-fit"].basis, course.value(answers["tray-fit"])
('contested', None)
>>> [course.text(position.value, answers["tray-fit"]) for position in answers["tray-fit"].topic.positions]
['close-fitting', 'spaced']
>>> answers["setting-time"].topic.positions[0].claims[0].source
'vanaja-zoe'

Every problem with what is handed in is an `UnusableInput`, whose text says what is wrong and what to do:

>>> course.case(arch="upper")
Traceback (most recent call last):
trayconcord.kb.errors.UnusableInput: arguments: arch: unknown term upper
    fix: did you mean maxillary?

These names, their arguments and their results stay as they are within a major version; everything else in the package
may change. Nothing here writes a file or opens the network.
"""

from collections.abc import Iterable
from functools import cached_property
from pathlib import Path

from trayconcord.generators.manuscripts.checking import Verdict, stale
from trayconcord.generators.manuscripts.passages import Record
from trayconcord.generators.manuscripts.rendering import Rendered, render
from trayconcord.generators.plan import Plan, plan, refuse_contradictions
from trayconcord.generators.quantities import Derived, derived
from trayconcord.kb.case_file import CaseFile, case_of_words, read_case
from trayconcord.kb.measured_file import Tray, read_measured
from trayconcord.kb.store import Store, load
from trayconcord.kb.values import Comparable
from trayconcord.shapes.answers import Answer, Why, governing_value, why
from trayconcord.shapes.check import Report, check
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.marking import Marks, mark, sites_of
from trayconcord.shapes.wording import comparable_text

__all__ = ["Course"]


class Course:
    """The shipped store with a department's own laid over it; ``only`` leaves the shipped sources and rulings out.

    The store is read once, when it is first needed. Raises `UnusableInput` where it cannot be.
    """

    def __init__(self, *layers: str | Path, only: bool = False) -> None:
        self._layers, self._only = [Path(layer) for layer in layers], only

    @cached_property
    def store(self) -> Store:
        """All records: sources, claims, rulings, cases and the vocabulary."""
        return load(self._layers, self._only)

    @cached_property
    def comparison(self) -> Comparison:
        """What the sources say, laid side by side."""
        return Comparison(self.store)

    def check(self) -> Report:
        """The findings of the shipped rules.

        >>> Course().check().exit_status
        0
        """
        return check(self.store)

    def case(self, area: str = "", **conditions: str) -> CaseFile:
        """A case from conditions, with ``_`` for ``-`` in the names of axes; ``area`` is that of the fitting surface.

        >>> Course().case(arch="mandibular", area="14.5 cm2").when
        (('arch', 'mandibular'),)
        """
        words = [f"{axis.replace('_', '-')}={concept}" for axis, concept in conditions.items()]
        return case_of_words([*words, *([f"area={area}"] if area else [])], self.store.vocabulary)

    def case_file(self, path: str | Path) -> CaseFile:
        """A case from its file."""
        return read_case(Path(path), self.store.vocabulary)

    def plan(self, case: CaseFile) -> Plan:
        """Every question about the tray of a case, answered; what it leaves open, and what no source speaks of.

        >>> course = Course()
        >>> made = course.plan(course.case(arch="maxillary"))
        >>> [question.axis for question in made.found.questions][:3]
        ['ridge-condition', 'impression-technique', 'impression-material']
        """
        return plan(self.store, self.comparison, case)

    def value(self, answer: Answer) -> str | None:
        """The value that governs an answer, as printed; None where the sources differ, or only one or none speaks."""
        value = governing_value(answer.topic, self.store.vocabulary)
        return None if value is None else self.text(value, answer)

    def text(self, value: Comparable, answer: Answer) -> str:
        """A value of an answer's parameter as printed, with its unit."""
        return comparable_text(value, answer.parameter, self.store.vocabulary)

    def why(self, parameter: str, case: CaseFile) -> Why:
        """Why a parameter is answered so: each statement on it, and whether it applies.

        >>> course = Course()
        >>> found = course.why("tray-fit", course.case(impression_material="zinc-oxide-eugenol-paste"))
        >>> found.topic.standing, len(found.voices)
        ('contested', 6)
        """
        refuse_contradictions(case, self.store.vocabulary, "the case")
        return why(parameter, case.when, self.store, self.comparison)

    def quantities(self, case: CaseFile) -> list[Derived]:
        """What follows from the plan of a case, computed: sheets of wax, resin, powder and liquid, impression material.

        >>> course = Course()
        >>> course.quantities(course.case(arch="maxillary"))[0].label
        'sheets for the spacer'
        """
        return derived(self.plan(case))

    def card(self, case: CaseFile) -> str:
        """The bench card of a case, as one page of HTML that needs no other file."""
        from trayconcord.generators.bench_card import bench_card

        return bench_card(self.plan(case))

    def measured(self, path: str | Path, case: CaseFile) -> list[Tray]:
        """The trays of a file of measurements, made for a case."""
        return list(read_measured(Path(path), self.store.vocabulary, sites_of(case.when, self.store.vocabulary)).trays)

    def mark(self, trays: Iterable[Tray], case: CaseFile) -> Marks:
        """Trays held against the rules of a case, after the course's marking policy: a verdict for each item, a score
        for each tray. What no value governs is not marked.

        >>> import tempfile
        >>> course = Course()
        >>> case = course.case(arch="mandibular")
        >>> with tempfile.TemporaryDirectory() as folder:
        ...     path = Path(folder, "measured.yaml")
        ...     done = path.write_text("trays: [{id: T-01, measured: {finger-rest-count: 1}}]")
        ...     marks = course.mark(course.measured(path, case), case)
        >>> [(one.criterion.parameter.id, one.verdict) for one in marks.trays[0].marks if one.measurement]
        [('finger-rest-count', 'outside')]
        """
        refuse_contradictions(case, self.store.vocabulary, "the case")
        return mark(self.store, self.comparison, case.when, trays)

    def render(self, manuscript: str | Path, case: CaseFile | None = None) -> Rendered:
        """A manuscript filled from the rules: a path, or a text in Markdown. ``case`` holds where it names none.

        >>> course = Course()
        >>> done = course.render("Keep the border {{ value('border-clearance', region='labial-sulcus') }} short.")
        >>> done.text, len(done.passages)
        ('Keep the border 2 mm short.', 1)
        """
        return render(manuscript, self.store, self.comparison, case.when if case else ())

    def stale(self, text: str, record: Record) -> Verdict:
        """Which passages of a rendered text, as it stands now, no longer hold; ``record`` is what rendering it gave.

        >>> course = Course()
        >>> record = course.render("{{ value('finger-rest-count', arch='mandibular') }} rests").record
        >>> [(found.line, found.kind) for found in course.stale("Three rests", record).stale]
        [(1, 'edited')]
        """
        return stale(text, record, self.store, self.comparison)
