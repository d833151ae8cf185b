"""The page of the export's contract. What it says of records and keys is what the JSON Schema says of them."""

import json
from dataclasses import dataclass
from typing import Any

from trayconcord.generators.export_tables import TABLES
from trayconcord.generators.rendering import render, template_text


@dataclass(frozen=True, slots=True)
class Key:
    """A key of a record: what it may hold, in words, and whether it is always there."""

    name: str
    holds: str
    always: bool
    description: str


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of record and its keys."""

    id: str
    title: str
    description: str
    keys: tuple[Key, ...]


def contract_page(document: dict[str, Any], schema: str, example: str) -> bytes:
    """The page: files, how to answer a case, every key, and what may change."""
    counts = {name: len(part) for name, part in document.items() if isinstance(part, list)}
    page = render(
        "export.html.j2",
        document=document,
        counts=counts,
        tables=TABLES,
        kinds=kinds(json.loads(schema)),
        example=example,
        style=template_text("style.css"),
    )
    return page.encode()


def kinds(schema: dict[str, Any]) -> list[Kind]:
    """The kinds of record that a schema defines, the whole document first."""
    parts = {"document": schema} | schema["$defs"]
    nested = {"store": schema["properties"]["store"]}
    return [
        Kind(
            name,
            part["title"],
            part["description"],
            tuple(
                Key(key, _holds(about), key in part.get("required", ()), about["description"])
                for key, about in part.get("properties", {}).items()
            ),
        )
        for name, part in (parts | nested).items()
    ]


_WORDS = {"string": "text", "integer": "whole number", "boolean": "true | false"}


def _holds(about: dict[str, Any]) -> str:
    if "$ref" in about:
        return str(about["$ref"].rpartition("/")[2])
    if "const" in about:
        return json.dumps(about["const"])
    if "enum" in about:
        return " | ".join(about["enum"])
    if about["type"] == "array":
        items = about["items"]
        return f"list of {_holds(items)}" if "$ref" in items else "list of text"
    return _WORDS.get(about["type"], str(about["type"]))
