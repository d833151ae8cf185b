"""What changed, as text, as JSON and as a page."""

from functools import partial
from typing import Any

from trayconcord.generators.changes import Change, Changes, Question, standings
from trayconcord.generators.course_changes import case_line, marking_line
from trayconcord.generators.rendering import render, template_text
from trayconcord.generators.value_json import dump

LONG = 240
"""Signs that the positions of a topic may take on a line before they are only counted."""

OLDER = "An export of a former release holds no cases and no marking policy, so these are not compared."

_SINGULAR = {"entries of the marking policy": "entry of the marking policy"}
_FIELDS = {
    "when": "the conditions",
    "stated": "the value",
    "at": "the place",
    "obtained": "how it was obtained",
    "reported-by": "who reports it",
    "source": "the source",
    "superseded-by": "whether a newer edition speaks instead",
    "voice": "the voice it counts for",
    "reference": "the reference",
    "because": "the reason",
    "decided-on": "the date",
    "decided-by": "who decided",
    "review-by": "the date of review",
    "without-source": "the reason for having no source",
}


def text_changes(found: Changes) -> str:
    """The changes as a lecturer reads them; + is new, - is gone, ~ is altered."""
    lines = [summary(found)]
    if found.sources:
        lines += ["", "Sources", *(f"  {line}" for line in map(source_line, found.sources))]
    for question in found.questions:
        lines += ["", f"{question.label}  [{question.id}]"]
        lines += [f"  {line}" for line in question_lines(question, found.names)]
    for heading, entries in course_lines(found):
        lines += ["", heading, *(f"  {mark} {line}" for mark, line in entries)]
    if not found.course:
        lines += ["", OLDER]
    return "\n".join(lines)


def course_lines(found: Changes) -> list[tuple[str, list[tuple[str, str]]]]:
    """What changed in taught cases and marking, under its headings: the sign of each change, and it in words."""
    parts = (("Taught cases", found.cases, case_line), ("Marking policy", found.marking, marking_line))
    return [
        (heading, [(sign(change), line(change, found.labels)) for change in part])
        for heading, part, line in parts
        if part
    ]


def summary(found: Changes) -> str:
    """How much changed, in one line."""
    counts = {
        "sources": len(found.sources),
        "claims": sum(len(question.claims) for question in found.questions),
        "topics": sum(1 + len(topic.narrower) for question in found.questions for topic in question.topics),
        "rulings": sum(len(question.rulings) for question in found.questions),
        "taught cases": len(found.cases),
        "entries of the marking policy": len(found.marking),
    }
    told = [
        f"{count} {what if count != 1 else _SINGULAR.get(what, what[:-1])}" for what, count in counts.items() if count
    ]
    if told:
        return f"changed: {', '.join(told)}"
    if not found.elsewhere:
        return "nothing changed"
    what = "notes or history" if found.course else "cases, the marking policy, notes or history"
    return f"nothing changed but what an export does not hold: {what}"


def question_lines(question: Question, names: dict[str, str]) -> list[str]:
    """Every change on a question, a line each: rulings, topics, claims."""
    return [
        *map(ruling_line, question.rulings),
        *map(topic_line, question.topics),
        *(claim_line(change, names) for change in question.claims),
    ]


def source_line(change: Change) -> str:
    """A source that is new, gone or altered."""
    return f"{sign(change)} {change.present['reference']}{_altered(change)}"


def claim_line(change: Change, names: dict[str, str]) -> str:
    """A claim that is new, gone or altered; ``names`` names its source."""
    record, value = change.present, _value(change)
    place = f", {record['at']}" if record.get("at") else ""
    source = names.get(record["source"], record["source"]) or "an unnamed source"
    return f"{sign(change)} {source}{place}: {value}{_conditions(record)}{_altered(change)}"


def ruling_line(change: Change) -> str:
    """A decision of the course that is new, gone or altered."""
    record, value = change.present, _value(change)
    decided = f"{record['decided-by']}, {record['decided-on']}: {record['because']}"
    return f"{sign(change)} the course adopts {value}{_conditions(record)} ({decided}){_altered(change)}"


def topic_line(change: Change) -> str:
    """A topic whose standing or positions differ."""
    before, after = standings(change)
    where = _conditions(change.present, " ").strip() or "in general"
    narrower = f", and {len(change.narrower)} narrower" if change.narrower else ""
    if before != after:
        return f"~ {where}: {before} → {after}{_positions(change.after)}{narrower}"
    was, now = _positions(change.before).strip(), _positions(change.after).strip()
    if was == now:
        return f"~ {where}: still {after}, other voices{_positions(change.after)}{narrower}"
    return f"~ {where}: still {after}, {was} → {now}{narrower}"


def sign(change: Change) -> str:
    """``+`` for what is new, ``-`` for what is gone, ``~`` for what is altered."""
    return "+" if change.before is None else "-" if change.after is None else "~"


def _value(change: Change) -> str:
    """What a claim or ruling states, and what it stated before where that differs."""
    value = str(change.present["stated"])
    return f"{change.before['stated']} → {value}" if change.before and "stated" in change.fields else value


def _altered(change: Change) -> str:
    names = [_FIELDS[name] for name in change.fields if name in _FIELDS]
    return f" [altered: {', '.join(names)}]" if names else ""


def _conditions(record: dict[str, Any], before: str = " for ") -> str:
    told = record.get("conditions") or ", ".join(str(concept) for concept in record["when"].values())
    return f"{before}{told}" if told else ""


def _positions(record: dict[str, Any] | None) -> str:
    texts = [position["text"] for position in (record or {}).get("positions", [])]
    if sum(map(len, texts)) > LONG:  # orders of work
        return f" ({len(texts)} positions)" if len(texts) > 1 else ""
    return f" ({' | '.join(texts)})" if texts else ""


def json_changes(found: Changes) -> str:
    """The changes as JSON: for every record that differs what it was and what it is."""
    return dump(
        {
            "sources": [_change_json(change) for change in found.sources],
            "questions": [
                {
                    "parameter": question.id,
                    "label": question.label,
                    "rulings": [_change_json(change) for change in question.rulings],
                    "topics": [_change_json(change) for change in question.topics],
                    "claims": [_change_json(change) for change in question.claims],
                }
                for question in found.questions
            ],
            "cases": [_change_json(change) for change in found.cases],
            "marking": [_change_json(change) for change in found.marking],
            "course-compared": found.course,
        }
    )


def _change_json(change: Change) -> dict[str, Any]:
    told = {"id": change.id, "before": change.before, "after": change.after, "fields": list(change.fields)}
    return told | ({"narrower": list(change.narrower)} if change.narrower else {})


def page_of_changes(found: Changes, old: str, new: str) -> str:
    """The changes as one page that needs no other file."""
    return render(
        "changes.html.j2",
        summary=summary(found),
        old=old,
        new=new,
        sources=[(sign(change), source_line(change)[2:]) for change in found.sources],
        questions=[
            (
                question,
                [
                    (heading, [(sign(change), line(change)[2:]) for change in part])
                    for heading, part, line in (
                        ("Decisions", question.rulings, ruling_line),
                        ("Standing", question.topics, topic_line),
                        ("Statements", question.claims, partial(claim_line, names=found.names)),
                    )
                    if part
                ],
            )
            for question in found.questions
        ],
        course=course_lines(found),
        older="" if found.course else OLDER,
        style=template_text("style.css"),
    )
