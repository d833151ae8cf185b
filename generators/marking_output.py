"""Marks as text, as JSON and as CSV, each verdict with the ruling or the sources behind it."""

from collections import Counter
from fractions import Fraction
from typing import Any

from trayconcord.generators.csv_text import csv_text
from trayconcord.generators.marking_words import (
    RULE,
    SUPPORT,
    allowed_text,
    basis_text,
    found_text,
    item_label,
    limit_of,
    no_rule_text,
    off_text,
    pass_text,
    percent,
    policy_text,
    score_text,
)
from trayconcord.generators.value_json import dump, number_json, scope_json, value_json
from trayconcord.kb.model import Ruling
from trayconcord.kb.store import Store
from trayconcord.kb.values import Comparable, Interval, decimal_text
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.judgement import BORDERLINE, NOT_MARKED, NOT_MEASURED, OUTSIDE, VERDICTS, WITHIN
from trayconcord.shapes.marking import Criterion, Mark, Marks, Score, TrayMarks
from trayconcord.shapes.wording import citation, scope_text


def tallies(marks: Marks, vocabulary: Vocabulary) -> list[tuple[Criterion, Counter[str]]]:
    """How the trays did, item by item: each criterion with its verdicts, in the order of the vocabulary."""
    found: dict[tuple[int, int], tuple[Criterion, Counter[str]]] = {}
    for tray in marks.trays:
        for mark in tray.marks:
            site = mark.criterion.site
            key = mark.criterion.parameter.order, vocabulary.concepts[site].order if site else -1
            found.setdefault(key, (mark.criterion, Counter()))[1][mark.verdict] += 1
    return [found[key] for key in sorted(found)]


# --- text ------------------------------------------------------------------------------------------------------------


def text_marks(marks: Marks, store: Store, label: str = "") -> str:
    """Marks to read: the class first where there are several trays, then what is off with each tray."""
    vocabulary = store.vocabulary
    lines = [f"{label or 'Marks'}: {scope_text(marks.case, vocabulary) or 'any tray'}", policy_text(marks.policy)]
    if len(marks.trays) > 1:
        lines += ["", *_class_lines(marks, vocabulary)]
    for tray in marks.trays:
        lines += ["", *_tray_lines(tray, marks, store)]
    unruled = {
        item_label(mark.criterion, vocabulary): mark.criterion
        for tray in marks.trays
        for mark in tray.marks
        if mark.verdict == NOT_MARKED
    }
    if unruled:
        lines += ["", "Not marked: no rule of the course"]
        lines += [f"  {name}: {no_rule_text(criterion, store)}" for name, criterion in unruled.items()]
    return "\n".join([*lines, "", RULE, SUPPORT])


def _class_lines(marks: Marks, vocabulary: Vocabulary) -> list[str]:
    limit = limit_of(marks)
    width = max(len(tray.tray.id) for tray in marks.trays)
    lines = [f"The class: {len(marks.trays)} trays" + (f", pass mark {percent(limit)}" if limit is not None else "")]
    for tray in marks.trays:
        counts = Counter(mark.verdict for mark in tray.marks)
        verdict = "" if tray.passed is None else "passed" if tray.passed else "not passed"
        verdict += ", borderline items decide" if tray.depends else ""
        told = ", ".join(f"{counts[word]} {word}" for word in VERDICTS[:4] if counts[word])
        score = percent(tray.score.counted, limit)
        lines.append(f"  {tray.tray.id.ljust(width)}  {score.rjust(7)}  {told}{f'; {verdict}' if verdict else ''}")
    judged = [(criterion, counts) for criterion, counts in tallies(marks, vocabulary) if not counts[NOT_MARKED]]
    names = [item_label(criterion, vocabulary) for criterion, _ in judged]
    width = max((len(name) for name in names), default=0)
    lines += ["", f"  {'item'.ljust(width)}  outside  borderline  within  not measured"]
    for name, (_, counts) in zip(names, judged, strict=True):
        cells = (counts[OUTSIDE], 9), (counts[BORDERLINE], 12), (counts[WITHIN], 8), (counts[NOT_MEASURED], 14)
        lines.append(f"  {name.ljust(width)}" + "".join(str(number).rjust(space) for number, space in cells))
    return lines


def _tray_lines(tray: TrayMarks, marks: Marks, store: Store) -> list[str]:
    vocabulary, limit = store.vocabulary, limit_of(marks)
    lines = [f"{tray.tray.id}: {score_text(tray.score, limit)}"]
    if passing := pass_text(tray, limit):
        lines.append(f"  {passing}")
    if tray.tray.note:
        lines.append(f"  note: {tray.tray.note}")
    chapter, said = "", ""
    for mark in tray.marks:
        if mark.verdict not in (OUTSIDE, BORDERLINE):
            continue
        criterion = mark.criterion
        if criterion.parameter.chapter != chapter:
            chapter = criterion.parameter.chapter
            lines.append(f"  {vocabulary.chapters[chapter].label}")
        off = off_text(mark, vocabulary)
        lines.append(
            f"    {mark.verdict}: {item_label(criterion, vocabulary)} {found_text(mark, vocabulary)}; "
            f"allowed {allowed_text(criterion, vocabulary)}{f'; {off}' if off else ''}"
        )
        reason = basis_text(criterion, store)
        lines += [f"        {reason}"] if reason != said else []
        said = reason
        if mark.measurement is not None and mark.measurement.note:
            lines.append(f"        note: {mark.measurement.note}")
    for verdict in (NOT_MEASURED, WITHIN):
        names = [item_label(mark.criterion, vocabulary) for mark in tray.marks if mark.verdict == verdict]
        lines += [f"  {verdict}: {'; '.join(names)}"] if names else []
    return lines


# --- JSON ------------------------------------------------------------------------------------------------------------


def json_marks(marks: Marks, store: Store, label: str = "") -> str:
    """Marks as JSON. Scores, weights and credits stand as numbers, and exactly as fractions beside them."""
    return dump(
        {
            "case": scope_json(marks.case),
            "label": label,
            "policy": _policy_json(marks),
            "note": f"{RULE} {SUPPORT}",
            "trays": [_tray_json(tray, store) for tray in marks.trays],
            "items": [
                {
                    "parameter": criterion.parameter.id,
                    "site": criterion.site,
                    **{verdict: counts[verdict] for verdict in VERDICTS},
                }
                for criterion, counts in tallies(marks, store.vocabulary)
            ],
        }
    )


def _policy_json(marks: Marks) -> dict[str, Any] | None:
    policy = marks.policy
    if policy is None:
        return None
    return {
        "borderline": number_json(policy.borderline),
        "pass": number_json(policy.pass_mark),
        "not-measured": policy.unmeasured,
        "decided-on": policy.decided_on,
        "decided-by": policy.decided_by,
    }


def _tray_json(tray: TrayMarks, store: Store) -> dict[str, Any]:
    return {
        "tray": tray.tray.id,
        "note": tray.tray.note,
        "score": _score_json(tray.score),
        "passed": tray.passed,
        "depends-on-borderline": tray.depends,
        "items": [_mark_json(mark, store) for mark in tray.marks],
    }


def _score_json(score: Score) -> dict[str, Any]:
    names = ("measured", "overall", "counted", "least", "most")
    parts = {name: getattr(score, name) for name in names}
    told: dict[str, Any] = {name: number_json(part) for name, part in parts.items()}
    return told | {"exact": {name: None if part is None else str(part) for name, part in parts.items()}}


def _mark_json(mark: Mark, store: Store) -> dict[str, Any]:
    criterion, found, vocabulary = mark.criterion, mark.measurement, store.vocabulary
    topic, parameter = criterion.topic, criterion.parameter

    def value(known: Comparable | None) -> dict[str, Any] | None:
        return None if known is None else value_json(known, parameter, vocabulary)

    measured = value(found.value if found else None)
    if found is not None and measured is not None:
        measured |= {
            "uncertainty": number_json(mark.uncertainty),
            "uncertainty-from": mark.uncertainty_from,
            "unsure": found.unsure,
            "note": found.note,
        }
    return {
        "topic": topic.id,
        "parameter": parameter.id,
        "site": criterion.site,
        "verdict": mark.verdict,
        "measured": measured,
        "governing": value(criterion.value),
        "allowed": value(criterion.allowed),
        "basis": criterion.basis,
        "ruling": topic.ruling.id if topic.ruling else None,
        "positions": [
            {"value": value(position.value), "claims": [claim.id for claim in position.claims]}
            for position in topic.positions
        ],
        "off": number_json(mark.judgement.off) if isinstance(criterion.allowed, Interval) else None,
        "missing": list(mark.judgement.missing),
        "extra": list(mark.judgement.extra),
        "turned": [list(pair) for pair in mark.judgement.turned],
        "weight": number_json(mark.weight),
        "credit": number_json(mark.credit),
        "exact": {"weight": str(mark.weight), "credit": None if mark.credit is None else str(mark.credit)},
    }


# --- CSV -------------------------------------------------------------------------------------------------------------

COLUMNS = (
    "tray", "score %", "of measured %", "of everything %", "passed", "borderline decides", "chapter", "parameter",
    "item", "site", "verdict", "found", "uncertainty", "unit", "allowed", "off", "what is off", "weight", "credit",
    "basis", "says so", "note",
)  # fmt: skip


def csv_marks(marks: Marks, store: Store) -> str:
    """One line for each item of each tray, the scores of the tray before it. Numbers are in the parameter's unit."""
    return csv_text(COLUMNS, (_row(tray, mark, store) for tray in marks.trays for mark in tray.marks))


def _row(tray: TrayMarks, mark: Mark, store: Store) -> list[str]:
    vocabulary, criterion, found = store.vocabulary, mark.criterion, mark.measurement
    parameter, records = criterion.parameter, criterion.topic.claims
    number = found.value.low if found is not None and isinstance(found.value, Interval) else None
    text = found_text(mark, vocabulary) if found is not None else ""
    ruling: list[Ruling] = [criterion.topic.ruling] if criterion.topic.ruling else []
    return [
        tray.tray.id,
        *(_per_cent(part) for part in (tray.score.counted, tray.score.measured, tray.score.overall)),
        "" if tray.passed is None else "yes" if tray.passed else "no",
        "" if tray.passed is None else "yes" if tray.depends else "no",
        parameter.chapter,
        parameter.id,
        item_label(criterion, vocabulary),
        criterion.site,
        mark.verdict,
        text if number is None else decimal_text(number),
        "" if mark.uncertainty is None else decimal_text(mark.uncertainty),
        vocabulary.units[parameter.unit].symbol if parameter.unit else "",
        allowed_text(criterion, vocabulary) if criterion.allowed is not None else no_rule_text(criterion, store),
        decimal_text(mark.judgement.off) if mark.judgement.off else "",
        off_text(mark, vocabulary),
        decimal_text(mark.weight),
        "" if mark.credit is None else decimal_text(mark.credit),
        criterion.basis,
        "; ".join(dict.fromkeys(citation(record, store) for record in (ruling or records))),
        found.note if found is not None else "",
    ]


def _per_cent(part: Fraction | None) -> str:
    return "" if part is None else decimal_text(part * 100, 4)
