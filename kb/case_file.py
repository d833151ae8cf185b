"""Case files: the tray that is to be made, as a person describes it."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import yaml

from trayconcord.kb.errors import Complaint, Place, UnusableInput
from trayconcord.kb.grammar import ValueProblem, parse_quantity
from trayconcord.kb.model import Scope, in_order
from trayconcord.kb.statement_nodes import StatementReader
from trayconcord.kb.values import Quantity
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.kb.yaml_nodes import compose

AREA = "fitting-surface-area"
"""The parameter of which a case file may give its own measurement, under ``area``."""


@dataclass(frozen=True, slots=True)
class CaseFile:
    """A tray to be made: its conditions, a name to print, and the area of its fitting surface where it was measured."""

    when: Scope
    label: str = ""
    area: Quantity | None = None


def read_case(path: Path, vocabulary: Vocabulary) -> CaseFile:
    """Read a case file. Raises `UnusableInput` with every complaint at its line and column."""
    root = compose(path)
    reader = _CaseReader(path, vocabulary)
    found = reader.case_file(root)
    if reader.complaints:
        raise UnusableInput(reader.complaints)
    return found


def case_of_words(words: list[str], vocabulary: Vocabulary) -> CaseFile:
    """A case from words such as ``arch=maxillary`` and ``area=24 cm2``. Raises `UnusableInput`."""
    seen: dict[str, str] = {}
    for word in words:
        key, equals, value = word.partition("=")
        if not (key.strip() and equals and value.strip()):
            raise _at(word or "an empty word", "is neither a file nor axis=concept", "write it as arch=maxillary")
        if key in seen:
            raise _at(word, f"{key} stands twice", "name each condition once")
        seen[key] = value
    conditions = {key: value for key, value in seen.items() if key != "area"}
    parts: dict[str, yaml.Node] = {"case": _mapping({key: _scalar(value) for key, value in conditions.items()})}
    if "area" in seen:
        parts["area"] = _scalar(seen["area"])
    reader = _CaseReader(Path("arguments"), vocabulary)
    found = reader.case_file(_mapping(parts))
    if reader.complaints:  # words have no lines
        raise UnusableInput([Complaint(Place("arguments"), c.message, c.fix) for c in reader.complaints])
    return found


_HERE = yaml.Mark("arguments", 0, 0, 0, None, 0)


def _scalar(text: str) -> yaml.ScalarNode:
    return yaml.ScalarNode("tag:yaml.org,2002:str", text, _HERE, _HERE)


def _mapping(parts: Mapping[str, yaml.Node]) -> yaml.MappingNode:
    pairs = [(_scalar(key), node) for key, node in parts.items()]
    return yaml.MappingNode("tag:yaml.org,2002:map", pairs, _HERE, _HERE)


def _at(word: str, message: str, fix: str) -> UnusableInput:
    return UnusableInput([Complaint(Place(word), message, fix)])


class _CaseReader(StatementReader):
    def case_file(self, root: yaml.MappingNode) -> CaseFile:
        parts = self.mapping(root, "the case file", ("case", "label", "area"))
        if "case" not in parts:
            self.complain(root, "case is missing", "add case: {arch: maxillary, …}")
            return CaseFile(())
        return self.described(parts)

    def described(self, parts: dict[str, yaml.Node]) -> CaseFile:
        """The case of a file that may hold other keys too."""
        when = self.scope(parts["case"])
        for axis, _ in when:
            if not self.vocabulary.axes[axis].of_case:
                known = ", ".join(name for name, other in self.vocabulary.axes.items() if other.of_case)
                self.complain(parts["case"], f"case: {axis} belongs to single statements", f"use: {known}")
        area = self.area(parts["area"]) if "area" in parts else None
        label = self.text(parts["label"], "label") if "label" in parts else ""
        return CaseFile(in_order(dict(when), self.vocabulary), label, area)

    def area(self, node: yaml.Node) -> Quantity | None:
        printed = self.text(node, "area", 60)
        if not printed:
            return None
        try:
            found = parse_quantity(printed, self.vocabulary.parameters[AREA], self.vocabulary)
        except ValueProblem as problem:
            self.complain(node, f"area: {problem.message}", problem.fix)
            return None
        if not isinstance(found, Quantity) or found.low is None or found.high is None or found.low <= 0:
            self.complain(node, f"area: {printed} is no measured area", "write it as 24 cm2")
            return None
        return found
