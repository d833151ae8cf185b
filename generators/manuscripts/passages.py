"""Passages: the places of a rendered manuscript that come from the rules, and what they said when it was rendered.

While a manuscript runs, what a function answers carries its number; when it is printed, signs that no text may hold
are put around it, and taken out again once the whole text is there. They are not part of the text, so that nothing an
author does around a passage can be disturbed by them, and no format needs a way to hide them.
"""

import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from trayconcord.generators.value_json import dump
from trayconcord.kb.errors import unusable
from trayconcord.kb.files import read_regular

START, MIDDLE, END = "\ufdd0", "\ufdd1", "\ufdd2"
_SIGN = re.compile(f"{START}([0-9,]*){MIDDLE}|{END}|[\ufdd0-\ufdd5]")
ENDING = ".passages.json"
VERSION = 1


@dataclass(frozen=True)
class Query:
    """A question that a manuscript asks: function and arguments, the line that asks, and what the answer was.

    ``says`` is the answer with sources in place of reference numbers, ``text`` the same as it was printed; ``figures``
    are the drawings that it shows, by the hash of their bytes.
    """

    function: str
    arguments: list[Any]
    keywords: dict[str, Any]
    line: int
    text: str
    says: str
    standing: str = ""
    claims: list[str] = field(default_factory=list)
    figures: dict[str, str] = field(default_factory=dict)

    @property
    def about(self) -> str:
        """The question in a few words, as the author wrote it."""
        told = [json.dumps(argument, ensure_ascii=False) for argument in self.arguments]
        told += [f"{name}={json.dumps(value, ensure_ascii=False)}" for name, value in self.keywords.items()]
        return f"{self.function}({', '.join(told)})"


@dataclass(frozen=True)
class Passage:
    """A place in the text, from one sign to another, and the queries (by number) that it answers.

    ``whole`` says that the passage is the answer as it stands, not something that the author made of it.
    """

    start: int
    end: int
    queries: list[int]
    whole: bool


@dataclass(frozen=True)
class Record:
    """All that has to be known of a rendered manuscript to hold it against the rules later.

    ``manuscript`` is the name of its file, whose ending tells the format; ``folder`` is that of its figures.
    """

    manuscript: str
    folder: str
    case: dict[str, str]
    text: str
    queries: list[Query]
    passages: list[Passage]


def marked(text: str, queries: list[int]) -> str:
    """A text with signs around it that say which queries it answers."""
    return f"{START}{','.join(map(str, queries))}{MIDDLE}{text}{END}"


def taken_out(text: str, whole: Mapping[int, str]) -> tuple[str, list[Passage]]:
    """A text without signs, and the passages that they stood around; ``whole`` holds the answers as they were given.

    Signs that an author's own filters tore apart mark nothing.
    """
    parts: list[str] = []
    length, last = 0, 0
    opened: list[tuple[int, list[int]]] = []
    spans: list[tuple[int, int, list[int]]] = []
    for match in _SIGN.finditer(text):
        parts.append(text[last : match.start()])
        length += match.start() - last
        last = match.end()
        if match[1] is not None:
            opened.append((length, [int(number) for number in match[1].split(",") if number]))
        elif match[0] == END and opened:
            start, queries = opened.pop()
            spans.append((start, length, [number for number in queries if number in whole]))
    parts.append(text[last:])
    clean = "".join(parts)
    found = [
        Passage(start, end, queries, len(queries) == 1 and clean[start:end] == whole[queries[0]])
        for start, end, queries in sorted(spans, key=lambda span: (span[0], -span[1]))
        if queries
    ]
    return clean, found


def record_path(rendered: Path) -> Path:
    """The file that holds the record of a rendered manuscript, beside it."""
    return rendered.with_name(rendered.name + ENDING)


def record_json(record: Record) -> str:
    """The record as it is kept; the text by lines, so that two versions can be compared."""
    document = asdict(record) | {"text": record.text.split("\n"), "version": VERSION}
    return dump({"about": "Keep this file beside the rendered text: trayconcord render --check reads it.", **document})


def read_record(path: Path) -> Record:
    """Read a record. Raises `UnusableInput` where there is none, or it is not one."""
    try:
        document = json.loads(read_regular(path))
        if document["version"] != VERSION:
            raise unusable(path, f"has the version {str(document['version'])[:20]}", "render the manuscript again")
        return _record(document)
    except FileNotFoundError:
        name = path.name.removesuffix(ENDING)
        raise unusable(
            path, f"is missing: nothing is known of {name}", "render it, and keep the two together"
        ) from None
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise unusable(path, "is no record of a rendered manuscript", "render the manuscript again") from None


def _record(document: Any) -> Record:
    def texts(value: Any) -> list[str]:
        return [_of(str, item) for item in _of(list, value)]

    def mapping(value: Any) -> dict[str, str]:
        return {_of(str, key): _of(str, item) for key, item in _of(dict, value).items()}

    queries = [
        Query(
            *(_of(str, item["function"]), _of(list, item["arguments"]), _of(dict, item["keywords"])),
            *(_of(int, item["line"]), _of(str, item["text"]), _of(str, item["says"]), _of(str, item["standing"])),
            *(texts(item["claims"]), mapping(item["figures"])),
        )
        for item in document["queries"]
    ]
    text = "\n".join(texts(document["text"]))
    passages = [
        Passage(_of(int, item["start"]), _of(int, item["end"]), list(item["queries"]), _of(bool, item["whole"]))
        for item in document["passages"]
    ]
    for passage in passages:
        if not 0 <= passage.start <= passage.end <= len(text) or not set(passage.queries) <= set(range(len(queries))):
            raise ValueError("a passage outside the text")
    names = _of(str, document["manuscript"]), _of(str, document["folder"])
    return Record(*names, mapping(document["case"]), text, queries, passages)


def _of(kind: type, value: Any) -> Any:
    if not isinstance(value, kind):
        raise TypeError(f"{kind.__name__} expected")
    return value
