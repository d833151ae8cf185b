"""Release notes for the programs that read the export: what differs id by id, and how much a reader has to do."""

import re
from collections.abc import Callable
from typing import Any

from trayconcord.generators.changes import Change, Record, changes, differences
from trayconcord.generators.changes_output import LONG, course_lines, sign

FAMILIES = {
    "claims": "claim",
    "sources": "source",
    "parameters": "parameter",
    "axes": "axis",
    "concepts": "concept",
    "units": "unit",
    "cautions": "caution",
}
"""The tables whose ids stay or are deprecated, and the family of their ids. Topics are computed and may come and go."""

WORDS = frozenset({"because", "conditions", "definition", "label", "question", "reference", "stated", "symbol", "text"})
"""The keys that only put things into words."""

_MARKS = re.compile(r"[\\`*_\[\]<>#|&]")


def release_notes(old: Record, new: Record) -> str:
    """The notes in Markdown."""
    sections = [section for section in _sections(old, new) if section[1]]
    lines = [f"# Rules {old['version']} → {new['version']}", "", _verdict(old, new)]
    if not sections:
        lines += ["", "No id, value or standing differs."]
    for heading, entries in sections:
        lines += ["", f"## {heading}", "", *(f"- {entry}" for entry in entries)]
    return "\n".join(lines) + "\n"


def bump(old: Record, new: Record) -> str:
    """What a release is by the contract: "major" if it breaks a reader, "minor" if it tells something else, "patch" if
    it puts the same in other words, "none" if the two are one."""
    if old["format"] != new["format"] or lost(old, new):
        return "major"
    tables = ("rules", "rulings", "deprecated", *FAMILIES)
    if any(_meant(old[table]) != _meant(new[table]) for table in tables):
        return "minor"
    if any(_wordless(old.get(table)) != _wordless(new.get(table)) for table in ("cases", "marking")):
        return "minor"
    return "none" if {**old, "version": ""} == {**new, "version": ""} else "patch"


def lost(old: Record, new: Record) -> list[str]:
    """The ids, with their families, that went without being deprecated."""
    told = {record["id"] for record in new["deprecated"]}
    gone = []
    for table, family in FAMILIES.items():
        present = {record["id"] for record in new[table]}
        gone += [f"{family}/{record['id']}" for record in old[table] if record["id"] not in present]
    gone += [record["id"] for record in old["deprecated"]]
    return [identifier for identifier in gone if identifier not in told]


def _verdict(old: Record, new: Record) -> str:
    found = bump(old, new)
    gone = len(lost(old, new))
    return {
        "major": "**Major: breaking.** "
        + ("The format is another." if old["format"] != new["format"] else f"{gone} ids went without a deprecation."),
        "minor": "**Minor: not breaking.** Every id of before is there or deprecated; what is said has changed.",
        "patch": "**Patch: not breaking.** Only words differ.",
        "none": "**No change.**",
    }[found]


def _sections(old: Record, new: Record) -> list[tuple[str, list[str]]]:
    deprecated = {record["id"]: record for record in new["deprecated"]}
    before = {record["id"] for record in old["deprecated"]}
    rules = list(differences(_settled(old), _settled(new), "rules"))
    rulings = list(differences(old, new, "rulings"))
    altered = [c for c in differences(old, new, "claims") if c.before and c.after]
    return [
        ("Gone without a deprecation", [_code(identifier) for identifier in lost(old, new)]),
        ("Deprecated", [_replaced(record) for name, record in deprecated.items() if name not in before]),
        (
            "Changed values",
            _topics(rules, lambda was, now: None not in (_held(was), _held(now)) and _held(was) != _held(now)),
        ),
        ("No longer with a value", _topics(rules, lambda was, now: _held(was) is not None and _held(now) is None)),
        ("Newly with a value", _topics(rules, lambda was, now: _held(was) is None and _held(now) is not None)),
        ("Newly contested", _topics(rules, lambda was, now: _turned(was, now, "contested"), _standing)),
        ("Newly agreed", _topics(rules, lambda was, now: _turned(was, now, "agreed"), _standing)),
        ("Decisions", [f"{_how(change)} {_code(change.id)}: {_stated(change)}" for change in rulings]),
        ("Corrected claims", [f"{_code(change.id)}: {', '.join(change.fields)}" for change in altered]),
        *(
            (heading, [f"{_HOW[mark]} {_escaped(line)}" for mark, line in entries])
            for heading, entries in course_lines(changes(old, new))
        ),
        *((f"New {table}", _added(old, new, table)) for table in FAMILIES),
    ]


def _settled(document: Record) -> Record:
    """The rules less the numbers of their positions, which shift."""
    rules = [{**rule, "positions": [position["text"] for position in rule["positions"]]} for rule in document["rules"]]
    return {"rules": rules}


def _standing(rule: Record | None) -> str:
    """The standing of a rule and its positions, which are counted where they are long."""
    if rule is None:
        return "not a rule of its own"
    positions = " | ".join(_escaped(text) for text in rule["positions"])
    if len(positions) > LONG:
        positions = f"{len(rule['positions'])} positions"
    return f"{rule['standing']}{f' ({positions})' if positions else ''}"


def _value(rule: Record | None) -> str:
    """The value of a rule in words, else its standing and positions."""
    return _escaped(rule["value"]["text"]) if rule and "value" in rule else _standing(rule)


def _topics(
    rules: list[Change],
    chosen: Callable[[Record | None, Record | None], bool],
    told: Callable[[Record | None], str] = _value,
) -> list[str]:
    return [
        f"{_code(change.id)}: {told(change.before)} → {told(change.after)}"
        for change in rules
        if chosen(change.before, change.after)
    ]


def _held(rule: Record | None) -> Any:
    """The value of a rule without words, or None."""
    return _wordless(rule["value"]) if rule and "value" in rule else None


def _turned(was: Record | None, now: Record | None, standing: str) -> bool:
    return now is not None and now["standing"] == standing != (was or {}).get("standing")


def _replaced(record: Record) -> str:
    by = f", replaced by {_code(record['replaced-by'])}" if "replaced-by" in record else ", replaced by nothing"
    return f"{_code(record['id'])}{by}: {_escaped(record['because'])}"


_HOW = {"+": "new", "-": "withdrawn", "~": "altered"}


def _how(change: Change) -> str:
    return _HOW[sign(change)]


def _stated(change: Change) -> str:
    return " → ".join(
        dict.fromkeys(_escaped(record["stated"]) for record in (change.before, change.after) if record is not None)
    )


def _added(old: Record, new: Record, table: str) -> list[str]:
    known = {record["id"] for record in old[table]}
    return [_code(record["id"]) for record in new[table] if record["id"] not in known]


def _meant(records: list[Record]) -> list[Record]:
    """Records without words, by id: what a patch may not touch."""
    return sorted((_wordless(record) for record in records), key=lambda record: str(record["id"]))


def _wordless(part: Any) -> Any:
    if isinstance(part, dict):
        return {key: _wordless(value) for key, value in part.items() if key not in WORDS}
    return [_wordless(value) for value in part] if isinstance(part, list) else part


def _code(identifier: str) -> str:
    return f"`{identifier}`"


def _escaped(text: str) -> str:
    """Text that Markdown prints as it stands."""
    return _MARKS.sub(lambda sign: "\\" + sign.group(), text)
