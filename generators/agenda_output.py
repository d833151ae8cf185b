"""The agenda as text, as JSON, and as a form of rulings to fill in."""

import json
from typing import Any

from trayconcord.generators.value_json import dump, number_json, scope_json, value_json
from trayconcord.kb.form_text import value_form
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.agenda import Agenda, Entry
from trayconcord.shapes.compare import Topic
from trayconcord.shapes.panel import Position
from trayconcord.shapes.wording import letter, lookups, name_of, position_text, scope_text


def text_agenda(agenda: Agenda, store: Store) -> str:
    """The agenda as a committee reads it."""
    lines = [summary(agenda)]
    if agenda.again:
        lines += ["", "Decisions to look at again"]
        for finding in agenda.again:
            lines += [f"  {finding.message}  [{finding.rule}]", f"      {finding.help}"]
    if agenda.entries:
        lines += ["", "To decide, in order of consequence"]
    for number, entry in enumerate(agenda.entries, start=1):
        lines += ["", *_entry_lines(number, entry, store)]
    if agenda.entries:
        lines += [
            "",
            "one of them side by side: trayconcord compare TOPIC; a form to fill in: trayconcord agenda --format form",
        ]
    return "\n".join(lines)


def summary(agenda: Agenda) -> str:
    """How much there is to decide, in one line."""
    settled = len({topic.id for entry in agenda.entries for topic in (entry.topic, *entry.narrower)})
    decisions = f"{len(agenda.entries)} decision{'s' * (len(agenda.entries) != 1)} to take"
    covering = f", which settle {settled} contested topics" if settled > len(agenda.entries) else ""
    again = f"; {len(agenda.again)} to look at again" if agenda.again else ""
    return decisions + covering + again


def _entry_lines(number: int, entry: Entry, store: Store) -> list[str]:
    topic, vocabulary = entry.topic, store.vocabulary
    conditions = scope_text(topic.when, vocabulary) or "in general"
    lines = [f"{number:>3}. {topic.parameter.label}, {conditions}: {weight_text(entry)}", f"     {topic.id}"]
    for index, position in enumerate(topic.positions):
        value = said_text(position, topic, vocabulary)
        lines.append(f"     {letter(index)}  {value}: {_speakers(position, store)}")
    return lines + [f"     {note}" for note in entry_notes(entry, store)]


def said_text(position: Position, topic: Topic, vocabulary: Vocabulary) -> str:
    """What a position says; one that no plausible value fits is marked."""
    return position_text(position, topic.parameter, vocabulary, topic.when, "implausible: see check")


def entry_notes(entry: Entry, store: Store) -> list[str]:
    """What else is to be known of a decision: what it settles, where it is taught, what to look up first."""
    notes = []
    if entry.narrower:
        count = len(entry.narrower)
        notes.append(f"Settles {count} narrower case{'s' * (count != 1)} too.")
    if entry.ruled:
        notes.append(f"Decided already: {len(entry.ruled)} narrower case{'s' * (len(entry.ruled) != 1)}.")
    if entry.cases:
        notes.append(f"Taught in: {', '.join(case.label or case.id for case in entry.cases)}.")
    if not entry.topic.firm and (asked := lookups(entry.topic, store)):
        notes.append(f"First look up: {asked}")
    return notes


def weight_text(entry: Entry) -> str:
    """The consequence in words: what it is made of."""
    weight = entry.consequence
    evidence = ("no published source", "weak", "middling", "strong")[weight.evidence]
    parts = [f"{weight.voices} voices", f"{round(float(weight.apart) * 100)} % apart", f"evidence {evidence}"]
    if weight.cases:
        parts.append(f"{weight.cases} taught case{'s' * (weight.cases != 1)}")
    return ", ".join(parts)


def _speakers(position: Position, store: Store) -> str:
    return "; ".join(name_of(store.sources, source) for source in position.sources)


def json_agenda(agenda: Agenda, store: Store) -> str:
    """The agenda as JSON."""
    return dump(
        {
            "decide": [_entry_json(entry, store) for entry in agenda.entries],
            "again": [
                {
                    "rule": f.rule,
                    "message": f.message,
                    "help": f.help,
                    "parameter": f.parameter,
                    "when": scope_json(f.when),
                }
                for f in agenda.again
            ],
        }
    )


def _entry_json(entry: Entry, store: Store) -> dict[str, Any]:
    topic, weight = entry.topic, entry.consequence
    return {
        "topic": topic.id,
        "parameter": topic.parameter.id,
        "when": scope_json(topic.when),
        "firm": topic.firm,
        "consequence": {
            "total": number_json(weight.total.limit_denominator(10**6)),
            "voices": weight.voices,
            "apart": number_json(weight.apart.limit_denominator(10**6)),
            "evidence": weight.evidence,
            "cases": [case.id for case in entry.cases],
        },
        "positions": [
            {
                "value": value_json(position.value, topic.parameter, store.vocabulary),
                "form": value_form(position.value, topic.parameter, store.vocabulary),
                "claims": [claim.id for claim in position.claims],
                "sources": list(position.sources),
            }
            for position in topic.positions
        ],
        "settles": [other.id for other in entry.narrower],
        "decided": [other.id for other in entry.ruled],
        "lookUp": "" if topic.firm else lookups(topic, store),
    }


FORM_HEAD = """\
# Decisions to take, in order of consequence. For each one that is taken, remove the "# " from its lines under
# "rulings", choose a value, and say why; then enter this file with: trayconcord add --kb YOUR-STORE FILE
rulings: []
"""


def form_agenda(agenda: Agenda, store: Store) -> str:
    """A form of rulings, every entry commented out, with the positions to choose from."""
    vocabulary = store.vocabulary
    blocks = [FORM_HEAD]
    for number, entry in enumerate(agenda.entries, start=1):
        topic = entry.topic
        conditions = scope_text(topic.when, vocabulary) or "in general"
        lines = [f"## {number}. {topic.parameter.label}, {conditions}: {weight_text(entry)}"]
        for index, position in enumerate(topic.positions):
            notation = value_form(position.value, topic.parameter, vocabulary)
            lines.append(f"##   {letter(index)}: value: {notation}    # {_speakers(position, store)}")
        when = json.dumps(scope_json(topic.when)).replace('"', "")
        lines.append(f"# - parameter: {topic.parameter.id}")
        lines += [f"#   when: {when}"] if topic.when else []
        lines += ["#   value: ", "#   because: ", "#   decided-on: ", "#   decided-by: "]
        blocks.append("\n".join(lines) + "\n")
    return "\n".join(blocks)
