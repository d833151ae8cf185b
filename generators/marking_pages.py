"""Pages on marking: a feedback sheet for each tray, and a sheet to mark one tray by hand. Each stands alone."""

from dataclasses import dataclass
from fractions import Fraction
from importlib.metadata import version
from itertools import groupby

from trayconcord.generators.marking_words import (
    RULE,
    SUPPORT,
    allowed_text,
    found_text,
    governing_text,
    item_label,
    limit_of,
    no_rule_text,
    off_text,
    pass_text,
    percent,
    policy_text,
    quantity_text,
    score_text,
)
from trayconcord.generators.references import ReferenceList
from trayconcord.generators.rendering import render, template_text
from trayconcord.kb.marking import ZERO, MarkingPolicy
from trayconcord.kb.marking_form import number_text
from trayconcord.kb.measured_file import Tray
from trayconcord.kb.model import Ruling, Scope
from trayconcord.kb.store import Store
from trayconcord.kb.values import decimal_text
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.judgement import BORDERLINE, NOT_MARKED, OUTSIDE
from trayconcord.shapes.marking import Criterion, Mark, Marks, TrayMarks, mark
from trayconcord.shapes.wording import letter, name_of, ruling_text, scope_text

MOST_CITED = 3
"""Claims that a line of a sheet cites before it counts the rest."""


@dataclass(frozen=True, slots=True)
class Basis:
    """Why a value holds: in words, with the numbers of references and how many sources more there are."""

    text: str
    references: tuple[int, ...] = ()
    more: int = 0


@dataclass(frozen=True, slots=True)
class Line:
    """An item on a page: label, governing value, limits, basis and weight; what is known of the measurement.

    ``uncertainty`` and ``borderline`` are the policy's, where its item states them.
    """

    label: str
    governing: str
    allowed: str
    basis: Basis
    weight: str
    found: str
    verdict: str
    off: str
    note: str
    uncertainty: str
    borderline: str


Chapters = list[tuple[str, list[Line]]]


class _Grounds:
    """What the lines of a page rest on: rulings by letter, sources by number, each told once at its end."""

    def __init__(self, store: Store) -> None:
        self.store, self.references = store, ReferenceList(store)
        self.rulings: dict[str, Ruling] = {}

    def basis(self, criterion: Criterion) -> Basis:
        """The ruling, or the voices that agree."""
        topic = criterion.topic
        if topic.ruling:
            self.rulings[topic.ruling.id] = topic.ruling
            return Basis(f"Decision {letter(list(self.rulings).index(topic.ruling.id))} of the course")
        return Basis(f"{len(topic.voices)} voices agree", *self.references.cited(topic.claims, MOST_CITED))

    def decisions(self) -> list[str]:
        """The rulings in the order of their letters."""
        vocabulary = self.store.vocabulary
        told = []
        for ruling in self.rulings.values():
            scope = scope_text(ruling.when, vocabulary)
            name = vocabulary.parameters[ruling.parameter].label + (f" ({scope})" if scope else "")
            told.append(f"{name} {ruling_text(ruling, vocabulary)}")
        return told


def feedback_page(marks: Marks, store: Store, label: str = "") -> str:
    """A feedback sheet for each tray, one after the other; printed, each begins a page of its own."""
    return render(
        "marking-feedback.html.j2",
        title=label or "Feedback",
        case=scope_text(marks.case, store.vocabulary) or "any tray",
        trays=[_feedback(tray, marks, store) for tray in marks.trays],
        policy=policy_text(marks.policy),
        rule=RULE,
        support=SUPPORT,
        style=template_text("style.css") + template_text("marking.css"),
        version=version("trayconcord"),
    )


def _feedback(tray: TrayMarks, marks: Marks, store: Store) -> dict[str, object]:
    grounds, limit = _Grounds(store), limit_of(marks)
    off = [one for one in tray.marks if one.verdict in (OUTSIDE, BORDERLINE)]
    rest = [one for one in tray.marks if one.verdict not in (OUTSIDE, BORDERLINE, NOT_MARKED)]
    return {
        "id": tray.tray.id,
        "note": tray.tray.note,
        "score": score_text(tray.score, limit),
        "passing": pass_text(tray, limit),
        "off": _chapters(off, store, grounds),
        "rest": _chapters(rest, store, grounds),
        "unruled": _unruled(tray, store),
        "decisions": grounds.decisions(),
        "references": grounds.references.entries(),
    }


def marking_sheet(store: Store, comparison: Comparison, case: Scope, label: str = "") -> str:
    """A sheet on which an examiner writes what was measured on one tray, and ticks the verdicts."""
    vocabulary, grounds = store.vocabulary, _Grounds(store)
    marks = mark(store, comparison, case, [Tray("")])  # nothing measured: every item that a tray is held against
    (tray,) = marks.trays
    policy = store.marking or MarkingPolicy()
    return render(
        "marking-sheet.html.j2",
        title=label or "Marking sheet",
        case=scope_text(case, vocabulary) or "any tray",
        chapters=_chapters([one for one in tray.marks if one.verdict != NOT_MARKED], store, grounds),
        unruled=_unruled(tray, store),
        policy=policy_text(store.marking),
        limit=percent(policy.pass_mark) if policy.pass_mark is not None else "",
        all_count=policy.unmeasured == ZERO,
        total=decimal_text(sum((one.weight for one in tray.marks), Fraction(0)), 2),
        rule=RULE,
        support=SUPPORT,
        cautions=vocabulary.cautions_for(concept for _, concept in case),
        alone=True,
        name_of=name_of,
        decisions=grounds.decisions(),
        references=grounds.references.entries(),
        store=store,
        style=template_text("style.css") + template_text("marking.css"),
        version=version("trayconcord"),
    )


def _chapters(marks: list[Mark], store: Store, grounds: _Grounds) -> Chapters:
    chapters = store.vocabulary.chapters
    groups = groupby(marks, key=lambda one: one.criterion.parameter.chapter)
    return [(chapters[name].label, [_line(one, store, grounds) for one in group]) for name, group in groups]


def _line(one: Mark, store: Store, grounds: _Grounds) -> Line:
    vocabulary, criterion = store.vocabulary, one.criterion
    parameter, item = criterion.parameter, criterion.item
    expected, credit = (item.uncertainty, item.borderline) if item else (None, None)
    return Line(
        label=item_label(criterion, vocabulary),
        governing=governing_text(criterion, vocabulary),
        allowed=allowed_text(criterion, vocabulary),
        basis=grounds.basis(criterion),
        weight=decimal_text(one.weight, 2),
        found=found_text(one, vocabulary),
        verdict=one.verdict,
        off=off_text(one, vocabulary),
        note=one.measurement.note if one.measurement else "",
        uncertainty="" if expected is None else quantity_text(expected, parameter, vocabulary),
        borderline="" if credit is None else number_text(credit),
    )


def _unruled(tray: TrayMarks, store: Store) -> list[tuple[str, str]]:
    """The items that are not marked, each with the reason and the positions."""
    return [
        (item_label(one.criterion, store.vocabulary), no_rule_text(one.criterion, store))
        for one in tray.marks
        if one.verdict == NOT_MARKED
    ]
