"""YAML with positions: composing a document without building objects from it, and reading nodes with complaints."""

from pathlib import Path

import yaml

from trayconcord.kb.errors import Complaint, Place, UnusableInput, unusable
from trayconcord.kb.files import read_given
from trayconcord.kb.signs import UNUSABLE

LARGEST = 500_000
"""Bytes an input file may have."""

MOST_VALUES = 50_000
"""Values an input file may hold: some four thousand claims, which are read within seconds."""

DEEPEST = 30
"""Levels of lists and mappings; no form has more than six."""

MOST = 200
"""Complaints about one file; nobody reads on, and a file made of mistakes must not take minutes."""


class _Loader(yaml.SafeLoader):
    """Composes nodes only; an alias, by which a small file could stand for a huge one, is refused."""

    composed = 0
    depth = 0

    def compose_node(self, parent: yaml.Node | None, index: int) -> yaml.Node | None:
        if self.check_event(yaml.AliasEvent):
            event = self.peek_event()  # type: ignore[no-untyped-call]
            raise yaml.MarkedYAMLError(problem="an alias; write the values out", problem_mark=event.start_mark)
        self.composed += 1
        if self.composed > MOST_VALUES:
            raise yaml.MarkedYAMLError(
                problem=f"more than {MOST_VALUES:,} values; split the file",
                problem_mark=self.peek_event().start_mark,  # type: ignore[no-untyped-call]
            )
        self.depth += 1
        if self.depth > DEEPEST:  # every token costs time for each level that is open
            raise RecursionError
        node = super().compose_node(parent, index)
        self.depth -= 1
        return node


def compose(path: Path) -> yaml.MappingNode:
    """The one mapping that a YAML file holds. Raises `UnusableInput`."""
    try:
        data = read_given(path, LARGEST + 1)
    except OSError as error:
        raise unusable(path, f"cannot be read: {error.strerror}", "check the name of the file") from None
    except ValueError:
        raise unusable(repr(str(path)), "is not a file name", "check the name of the file") from None
    if len(data) > LARGEST:
        raise unusable(path, f"is larger than {LARGEST:,} bytes", "split it")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise UnusableInput(
            [Complaint(Place(str(path), line), "is not UTF-8 text", "save the file as UTF-8")]
        ) from None
    try:
        loader = _Loader(text)
    except yaml.reader.ReaderError as error:
        before = text[: error.position]
        place = Place(str(path), before.count("\n") + 1, len(before) - before.rfind("\n"))
        raise UnusableInput([Complaint(place, "a control character", "remove it")]) from None
    try:
        node = loader.get_single_node()
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = Place(str(path), mark.line + 1, mark.column + 1) if mark else Place(str(path))
        raise UnusableInput(
            [Complaint(place, f"YAML syntax: {error.problem or error.context}", "mend the syntax")]
        ) from None
    except (ValueError, OverflowError):  # an escape for a character beyond Unicode
        mark = loader.get_mark()
        place = Place(str(path), mark.line + 1, mark.column + 1)
        raise UnusableInput([Complaint(place, "YAML syntax: no such character", "mend the escape")]) from None
    except RecursionError:
        raise unusable(path, "is nested too deeply", "write it flat") from None
    if not isinstance(node, yaml.MappingNode):
        raise unusable(path, "holds no mapping of keys to values", "start with source: or claims:")
    return node


class NodeReader:
    """Reads nodes of one file, collecting every complaint rather than stopping at the first."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.complaints: list[Complaint] = []

    def place(self, node: yaml.Node) -> Place:
        """Where a node starts."""
        return Place(str(self.path), node.start_mark.line + 1, node.start_mark.column + 1)

    def complain(self, node: yaml.Node, message: str, fix: str) -> None:
        """Note something wrong at a node. What cannot be printed is shown as a replacement character."""
        shown = "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in message)
        self.complaints.append(Complaint(self.place(node), shown, fix))
        if len(self.complaints) >= MOST:
            more = Complaint(self.place(node), "is read no further", f"mend these {MOST} mistakes first")
            raise UnusableInput([*self.complaints, more])

    def mapping(self, node: yaml.Node, what: str, keys: tuple[str, ...] | None = None) -> dict[str, yaml.Node]:
        """The entries of a mapping whose keys are plain words, each once and among ``keys``."""
        if not isinstance(node, yaml.MappingNode):
            self.complain(node, f"{what} must be a mapping", f"write {what} as key: value lines")
            return {}
        result: dict[str, yaml.Node] = {}
        for key_node, value in node.value:
            key = key_node.value if isinstance(key_node, yaml.ScalarNode) else ""
            if key in result:
                self.complain(key_node, f"{what}: the key {key} stands twice", "keep one of the two")
            elif not key or (keys is not None and key not in keys):
                known = f"use one of: {', '.join(keys)}" if keys else "use a plain word"
                self.complain(key_node, f"{what}: unknown key {key[:60] or '(not a word)'}", known)
            else:
                result[key] = value
        return result

    def sequence(self, node: yaml.Node, what: str) -> list[yaml.Node]:
        """The items of a list."""
        if not isinstance(node, yaml.SequenceNode):
            self.complain(node, f"{what} must be a list", f"write {what} as [a, b] or as lines that start with -")
            return []
        return list(node.value)

    def text(self, node: yaml.Node, what: str, limit: int = 2000) -> str:
        """A scalar as the text that stands in the file."""
        if not isinstance(node, yaml.ScalarNode):
            self.complain(node, f"{what} must be a single value", "write one value")
            return ""
        text = " ".join(node.value.split())
        if not text or (node.style is None and text in ("~", "null", "Null", "NULL")):
            self.complain(node, f"{what} is empty", "give it a value or leave the key out")
            return ""
        if len(text) > limit:
            self.complain(node, f"{what} has {len(text)} characters", f"keep it within {limit}")
            return ""
        if UNUSABLE.search(text):
            self.complain(node, f"{what} holds control characters or half a character", "remove them")
            return ""
        return text
