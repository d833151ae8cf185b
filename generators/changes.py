"""What changed between two states of a store: sources, claims, topics and rulings, question by question; taught cases
and the marking policy.

Both states are taken as rule exports, whether they come as a folder of a store, as a built site or as an export file,
so that today's store can be held against the file that a course kept from last year.
"""

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trayconcord.generators.export import FORMAT, rules_document
from trayconcord.kb.errors import Complaint, Place, UnusableInput, unusable
from trayconcord.kb.files import read_given
from trayconcord.kb.store import FOLDERS, load
from trayconcord.shapes.compare import Comparison

Record = dict[str, Any]
"""A source, claim, rule, ruling, case or marking item of an export."""

LONGEST_NAME = 60
"""Characters of a reference that stand for a source in running text."""
EXPORT = Path("export") / "rules.json"


@dataclass(frozen=True, slots=True)
class Change:
    """One record that differs: ``before`` is None where it is new, ``after`` where it is gone. ``fields`` differ."""

    id: str
    before: Record | None
    after: Record | None
    fields: tuple[str, ...] = ()
    narrower: tuple[str, ...] = ()

    @property
    def present(self) -> Record:
        """The record as it is now, or as it last was."""
        found = self.after if self.after is not None else self.before
        assert found is not None
        return found


@dataclass(slots=True)
class Question:
    """What changed on one question."""

    id: str
    label: str
    claims: list[Change] = field(default_factory=list)
    topics: list[Change] = field(default_factory=list)
    rulings: list[Change] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Changes:
    """All that changed: sources, the questions in the order of the vocabulary, taught cases, and the marking policy
    with its items; ``names`` names every source."""

    sources: list[Change]
    questions: list[Question]
    names: dict[str, str]
    labels: "Labels"
    cases: list[Change] = field(default_factory=list)
    marking: list[Change] = field(default_factory=list)
    course: bool = True
    """Whether both exports tell cases and marking policy: those of former releases do not."""
    elsewhere: bool = False
    """Whether the stores differ in what an export does not hold."""


class Labels:
    """The words for ids of two exports, those of the newer before those of the older."""

    def __init__(self, old: Record, new: Record) -> None:
        self._words = {
            table: {record["id"]: str(record.get(word) or "") for document in (old, new) for record in document[table]}
            for table, word in (("parameters", "label"), ("concepts", "label"), ("units", "symbol"))
        }

    def of(self, table: str, identifier: str) -> str:
        """The label of a parameter or concept, or the symbol of a unit; the id itself where it is unknown."""
        return self._words[table].get(identifier, identifier)

    def all(self, table: str, identifiers: list[str]) -> str:
        """The labels of several, in their order."""
        return ", ".join(self.of(table, identifier) for identifier in identifiers)


def changes(old: Record, new: Record) -> Changes:
    """Compare two exports."""
    known = (*new["parameters"], *old["parameters"])
    questions = {parameter["id"]: Question(parameter["id"], parameter["label"]) for parameter in known}

    def question(change: Change) -> Question:
        name = change.present["parameter"]
        return questions.setdefault(name, Question(name, name))

    for change in differences(old, new, "claims"):
        question(change).claims.append(change)
    for change in differences(old, new, "rulings"):
        question(change).rulings.append(change)
    before, after = ({rule["id"]: _standing(rule) for rule in document["rules"]} for document in (old, new))
    for change in _differences(before, after):
        question(change).topics.append(change)
    for found in questions.values():
        found.topics = _folded(found.topics)
    touched = [q for q in questions.values() if q.claims or q.topics or q.rulings]
    sources = {record["id"]: record for document in (old, new) for record in document["sources"]}
    names = {name: _short_name(record) for name, record in sources.items()}
    course = "cases" in old and "cases" in new
    return Changes(
        list(differences(old, new, "sources")),
        touched,
        names,
        Labels(old, new),
        cases=list(differences(old, new, "cases")) if course else [],
        marking=list(_differences(marking_records(old), marking_records(new))) if course else [],
        course=course,
        elsewhere=old["store"]["hash"] != new["store"]["hash"],
    )


def marking_records(document: Record) -> dict[str, Record]:
    """The marking policy of an export as records: itself without its items, then each item; none without a policy."""
    if "marking" not in document:
        return {}
    policy: Record = document["marking"]
    items = {item["id"]: item for item in policy["items"]}
    return {policy["id"]: {key: part for key, part in policy.items() if key != "items"}} | items


def _short_name(source: Record) -> str:
    """A source as running text names it: what its reference begins with, authors or title, and the year."""
    first = str(source["reference"]).split(". ")[0].rstrip(".")
    short = first if len(first) <= LONGEST_NAME else first[: LONGEST_NAME - 2].rsplit(" ", 1)[0] + " …"
    year = str(source.get("year") or "")
    return short if not year or year in short else f"{short} {year}"


def differences(old: Record, new: Record, table: str) -> Iterable[Change]:
    """The records of a table that differ between two exports in more than their wording."""
    return _differences(*({record["id"]: record for record in document[table]} for document in (old, new)))


def _standing(rule: Record) -> Record:
    """A rule without what its claims and rulings say for themselves."""
    return {key: part for key, part in rule.items() if key not in ("id", "ruling", "value", "basis")}


def _differences(old: dict[str, Record], new: dict[str, Record]) -> Iterable[Change]:
    for name in [*new, *(gone for gone in old if gone not in new)]:
        before, after = old.get(name), new.get(name)
        was, is_now = _unworded(before), _unworded(after)
        if was == is_now:
            continue
        keys = dict.fromkeys([*(was or {}), *(is_now or {})])
        differ = [key for key in keys if was and is_now and was.get(key) != is_now.get(key)]
        yield Change(name, before, after, tuple(differ))


def _unworded(part: Any) -> Any:
    """A record without the words that tell its terms: a label that is put better changes nothing that is said."""
    if isinstance(part, dict):
        return {key: _unworded(value) for key, value in part.items() if key not in ("text", "conditions")}
    return [_unworded(value) for value in part] if isinstance(part, list) else part


def _folded(topics: list[Change]) -> list[Change]:
    """Topics that change the way a wider one does are told with it."""
    result: list[Change] = []
    for topic in sorted(topics, key=lambda change: len(change.present["when"])):
        wider = next((other for other in result if _same_way(topic, other) and _narrows(topic, other)), None)
        if wider is None:
            result.append(topic)
        else:
            result[result.index(wider)] = Change(
                wider.id, wider.before, wider.after, wider.fields, (*wider.narrower, topic.id)
            )
    return result


def _same_way(one: Change, other: Change) -> bool:
    return standings(one) == standings(other)


def _narrows(one: Change, other: Change) -> bool:
    conditions: dict[str, str] = one.present["when"]
    return all(conditions.get(axis) == concept for axis, concept in other.present["when"].items())


def standings(topic: Change) -> tuple[str, str]:
    """The standing of a topic before and after; a topic that does not exist is silent."""
    return (topic.before or {}).get("standing", "silent"), (topic.after or {}).get("standing", "silent")


def document_of(path: Path, only: bool) -> Record:
    """The export that a path stands for: an export file, a built site, or the folder of a store.

    A store is laid over the shipped one unless ``only``. Raises `UnusableInput`.
    """
    if path.is_dir() and (path / EXPORT).is_file():
        path = path / EXPORT
    if not path.is_dir():
        return _read(path)
    if not any((path / folder).is_dir() for folder in FOLDERS):
        raise unusable(path, "is neither a store nor a built site", f"a store holds one of: {', '.join(FOLDERS)}")
    store = load([path], only)
    return rules_document(store, Comparison(store))


def _read(path: Path) -> Record:
    try:
        document = json.loads(read_given(path).decode())
    except FileNotFoundError:
        raise unusable(
            path, "does not exist", "name the folder of a store, a built site, or its export/rules.json"
        ) from None
    except OSError as error:
        raise unusable(
            path, f"cannot be read: {error.strerror}", "name an export/rules.json that build has written"
        ) from None
    except UnicodeDecodeError:
        raise unusable(path, "is not UTF-8 text", "name an export/rules.json that build has written") from None
    except json.JSONDecodeError as error:
        place = Place(str(path), error.lineno, error.colno)
        raise UnusableInput([Complaint(place, f"JSON syntax: {error.msg}", "build the export again")]) from None
    except (RecursionError, ValueError):  # ValueError: a number of thousands of digits
        raise unusable(
            path, "is nested too deeply or holds an endless number", "name an export/rules.json that build has written"
        ) from None
    if not _is_export(document):
        raise unusable(path, "is no rule export of this format", "name an export/rules.json that build has written")
    found: Record = document
    return found


_TEXTS = {
    "claims": ("id", "parameter", "source", "stated"),
    "rulings": ("id", "parameter", "stated", "because", "decided-on", "decided-by"),
    "sources": ("id", "reference"),
    "rules": ("id", "parameter", "standing"),
    "parameters": ("id", "label"),
    "axes": ("id",),
    "concepts": ("id",),
    "units": ("id",),
    "cautions": ("id",),
    "deprecated": ("id", "because"),
}


def _is_export(document: Any) -> bool:
    """Whether everything that a comparison looks at is there and of the right type."""
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        return False
    if not isinstance(document.get("version"), str):
        return False
    tables = [(name, texts, document.get(name)) for name, texts in _TEXTS.items()]
    return (
        all(
            isinstance(table, list) and all(_is_record(record, name, texts) for record in table)
            for name, texts, table in tables
        )
        and all(_is_record(case, "cases", ("id",)) for case in _list(document.get("cases", [])))
        and _is_policy(document.get("marking"))
    )


def _is_policy(marking: Any) -> bool:
    """Whether there is no marking policy, or one with all that is looked at."""
    if marking is None:
        return True
    if not _is_record(marking, "marking", ("id", "type", "unmeasured")):
        return False
    items = _list(marking.get("items"))
    return (
        _is_number(marking.get("borderline-credit"))
        and _is_number(marking.get("pass-mark", "0.0"))
        and all(_is_record(item, "items", ("id", "type", "parameter")) and "weight" in item for item in items)
        and all(_is_number(item[key]) for item in items for key in _QUANTITIES if key in item)
    )


def _list(part: Any) -> list[Any]:
    """A list as it is; what is none becomes one that holds no record."""
    return part if isinstance(part, list) else [None]


_QUANTITIES = ("weight", "tolerance-quantity", "tolerance-share", "uncertainty", "borderline-credit")
_DECIMAL = re.compile(r"-?\d{1,100}\.\d{1,100}")
_RATIONAL = re.compile(r"-?\d{1,100}/[1-9]\d{0,99}")


def _is_number(part: Any) -> bool:
    text, pattern = (part.get("@value"), _RATIONAL) if isinstance(part, dict) else (part, _DECIMAL)
    return isinstance(text, str) and pattern.fullmatch(text) is not None


def _is_record(record: Any, table: str, texts: tuple[str, ...]) -> bool:
    if not isinstance(record, dict) or not all(isinstance(record.get(text), str) for text in texts):
        return False
    when = record.get("when", None if table in ("claims", "rulings", "rules", "cases", "items") else {})
    lists = [
        record.get(key, None if table == wanted else []) for key, wanted in (("asks", "cases"), ("sites", "items"))
    ]
    positions = record.get("positions", None if table == "rules" else [])
    return (
        isinstance(when, dict)
        and all(isinstance(concept, str) for concept in when.values())
        and isinstance(positions, list)
        and all(_is_value(position) for position in positions)
        and _is_value(record.get("value", {"text": ""}))
        and isinstance(record.get("replaced-by", ""), str)
        and all(isinstance(members, list) and all(isinstance(name, str) for name in members) for members in lists)
    )


def _is_value(part: Any) -> bool:
    return isinstance(part, dict) and isinstance(part.get("text"), str)
