"""Plans: what a teacher wants on the study sheets, read from a small YAML file with complaints at their places."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib.resources import as_file, files
from pathlib import Path

import yaml

from trayconcord.kb.errors import UnusableInput, nearest
from trayconcord.kb.vocabulary import Term, Vocabulary
from trayconcord.kb.yaml_nodes import NodeReader, compose

ARCHES = ("maxillary", "mandibular")
DEPTHS = ("full", "brief")
KEYS = ("title", "arch", "depth", "figures", "charts", "chapters", "tables")
YES = ("yes", "true")


@dataclass(frozen=True)
class PlannedChapter:
    """A chapter of a sheet: its heading, and the chapters of the vocabulary that it takes together."""

    title: str
    of: tuple[str, ...]


@dataclass(frozen=True)
class PlannedTable:
    """A table: one row for each concept on the axis ``by``, one column for each parameter."""

    by: str
    of: tuple[str, ...]


@dataclass(frozen=True)
class Plan:
    """What the sheets hold, in order."""

    title: str
    arches: tuple[str, ...]
    depth: str
    figures: bool
    charts: bool
    """Whether a range chart shows the quantities on which the sources differ."""
    chapters: tuple[PlannedChapter, ...]
    tables: tuple[PlannedTable, ...]

    def only(self, chapter: PlannedChapter, vocabulary: Vocabulary) -> "Plan":
        """The plan of a sheet for one chapter: its tables keep the columns that belong there."""
        tables = []
        for table in self.tables:
            columns = tuple(name for name in table.of if vocabulary.parameters[name].chapter in chapter.of)
            if columns:
                tables.append(replace(table, of=columns))
        return replace(self, chapters=(chapter,), tables=tuple(tables))


def default_plan(vocabulary: Vocabulary) -> Plan:
    """The plan that ships."""
    with as_file(files("trayconcord.generators") / "plans" / "default.yaml") as path:
        return read_plan(path, vocabulary)


def read_plan(path: Path, vocabulary: Vocabulary) -> Plan:
    """The plan in a file. Raises `UnusableInput` with every mistake at its line and column."""
    reader = NodeReader(path)
    root = compose(path)
    given = reader.mapping(root, "the plan", KEYS)
    plan = Plan(
        title=reader.text(given["title"], "title", 200) if "title" in given else "Study sheets",
        arches=_arches(reader, given),
        depth=_one_of(reader, given, "depth", DEPTHS),
        figures=_one_of(reader, given, "figures", ("yes", "no", "true", "false")) in YES,
        charts=_one_of(reader, given, "charts", ("no", "yes", "true", "false")) in YES,
        chapters=_chapters(reader, given["chapters"], vocabulary) if "chapters" in given else (),
        tables=_tables(reader, given["tables"], vocabulary) if "tables" in given else (),
    )
    if not plan.chapters and not reader.complaints:
        reader.complain(root, "the plan names no chapters", "add chapters: [outline-and-borders, …]")
    if reader.complaints:
        raise UnusableInput(reader.complaints)
    return plan


def _one_of(reader: NodeReader, given: dict[str, yaml.Node], key: str, words: tuple[str, ...]) -> str:
    """A word from a list; the first where the key is missing."""
    if key not in given:
        return words[0]
    word = reader.text(given[key], key)
    if word and word not in words:
        reader.complain(given[key], f"{key}: {word} is not understood", f"use one of: {', '.join(words)}")
    return word


def _arches(reader: NodeReader, given: dict[str, yaml.Node]) -> tuple[str, ...]:
    word = _one_of(reader, given, "arch", ("both", *ARCHES))
    return (word,) if word in ARCHES else ARCHES


def _chapters(reader: NodeReader, node: yaml.Node, vocabulary: Vocabulary) -> tuple[PlannedChapter, ...]:
    chapters: list[PlannedChapter] = []
    seen: set[str] = set()
    for item in reader.sequence(node, "chapters"):
        if isinstance(item, yaml.MappingNode):
            entry = reader.mapping(item, "a chapter", ("title", "of"))
            names = _terms(reader, entry["of"], "of", vocabulary.chapters) if "of" in entry else ()
            title = reader.text(entry["title"], "title", 200) if "title" in entry else ""
            if "of" not in entry:
                reader.complain(item, "the chapter does not say what it holds", "add of: [a chapter]")
        else:
            name = _term(reader, item, "chapter", vocabulary.chapters)
            names, title = ((name,) if name else ()), ""
        for name in names:
            if name in seen:
                reader.complain(item, f"the chapter {name} stands twice", "keep one of the two")
            seen.add(name)
        if names:
            label = vocabulary.chapters[names[0]].label
            chapters.append(PlannedChapter(title or label[0].upper() + label[1:], names))
    return tuple(chapters)


def _tables(reader: NodeReader, node: yaml.Node, vocabulary: Vocabulary) -> tuple[PlannedTable, ...]:
    tables = []
    for item in reader.sequence(node, "tables"):
        entry = reader.mapping(item, "a table", ("by", "of"))
        for key in ("by", "of"):
            if key not in entry:
                reader.complain(item, f"the table lacks {key}", f"add {key}: …")
        if "by" in entry and "of" in entry:
            axis = _term(reader, entry["by"], "by", vocabulary.axes)
            tables.append(PlannedTable(axis, _terms(reader, entry["of"], "of", vocabulary.parameters)))
    return tuple(tables)


def _terms(reader: NodeReader, node: yaml.Node, what: str, known: Mapping[str, Term]) -> tuple[str, ...]:
    names = [_term(reader, item, what, known) for item in reader.sequence(node, what)]
    return tuple(dict.fromkeys(name for name in names if name))


def _term(reader: NodeReader, node: yaml.Node, what: str, known: Mapping[str, Term]) -> str:
    """An id among the known ones; empty, with a complaint, where it is not one."""
    word = reader.text(node, what, 200)
    if not word or word in known:
        return word
    near = nearest(word, known)
    fix = f"did you mean {near}?" if near else f"use one of: {', '.join(known)}"
    reader.complain(node, f"{what}: unknown term {word}", fix)
    return ""
