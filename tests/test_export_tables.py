"""The tables of the rule export, read by their metadata: CSV on the Web (W3C 2015)."""

import csv
import io
import json
import re
from typing import Any

import pytest

from trayconcord.generators.export_files import export_files
from trayconcord.kb.store import Store
from trayconcord.shapes.compare import Comparison

Files = dict[str, bytes]


@pytest.fixture(scope="module")
def demo(demo_store: Store) -> Files:
    return export_files(demo_store, Comparison(demo_store))


@pytest.fixture(scope="module")
def document(demo: Files) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(demo["rules.json"])
    return found


def tables(files: Files) -> dict[str, tuple[dict[str, Any], list[dict[str, Any]]]]:
    """Each table: its schema, and its rows with cells split and typed as the metadata says."""
    metadata = json.loads(files["csv-metadata.json"])
    assert metadata["@context"][0] == "http://www.w3.org/ns/csvw"
    found = {}
    for table in metadata["tables"]:
        schema = table["tableSchema"]
        header, *rows = csv.reader(io.StringIO(files[table["url"]].decode(), newline=""))
        assert header == [column["titles"] for column in schema["columns"]]
        names = [column["name"] for column in schema["columns"]]
        assert all(re.fullmatch(r"[a-z_]+", name) for name in names)
        typed = [
            {name: cell(text, column) for name, text, column in zip(names, row, schema["columns"], strict=True)}
            for row in rows
        ]
        found[table["url"]] = (schema, typed)
    return found


def cell(text: str, column: dict[str, Any]) -> Any:
    """A cell as CSVW reads it: empty is null, or an empty list where there is a separator."""
    if "separator" in column:
        return text.split(column["separator"]) if text else []
    if text == "":
        assert not column.get("required"), column
        return None
    match column["datatype"]:
        case "boolean":
            assert text in ("true", "false")
            return text == "true"
        case "gYear":
            assert re.fullmatch(r"\d{4}", text)
        case "date":
            assert re.fullmatch(r"\d{4}-\d{2}-\d{2}", text)
        case {"format": pattern}:
            assert re.fullmatch(pattern, text)
        case datatype:
            assert datatype == "string"
    return text


def test_tables_have_the_keys_and_references_of_their_metadata(demo: Files) -> None:
    found = tables(demo)
    followed = 0
    for url, (schema, rows) in found.items():
        keys = [tuple(row[name] for name in schema["primaryKey"]) for row in rows]
        assert len(set(keys)) == len(keys), url
        assert all(None not in key for key in keys)
        for reference in schema["foreignKeys"]:
            (column,), (other,) = reference["columnReference"], reference["reference"]["columnReference"]
            known = {row[other] for row in found[reference["reference"]["resource"]][1]}
            for row in rows:
                if row[column] is not None:
                    assert row[column] in known, (url, column)
                    followed += 1
    assert followed > 100


def test_tables_say_what_the_json_says(demo: Files, document: dict[str, Any]) -> None:
    found = {url.removesuffix(".csv"): rows for url, (_, rows) in tables(demo).items()}
    positions = [{**p, "topic": r["id"]} for r in document["rules"] for p in r["positions"]]
    for name, records in (
        *((name, document[name]) for name in found if name not in ("positions", "citations", "marking")),
        ("marking", document["marking"]["items"]),
        ("positions", positions),
    ):
        assert [row["id"] for row in found[name]] == [record["id"] for record in records], name
        for row, record in zip(found[name], records, strict=True):
            flat = record.get("value", {}) | {key: part for key, part in record.items() if key != "value"}
            for column, told in row.items():
                part = flat.get(column.replace("_", "-"))
                match part:
                    case {"@value": number}:
                        part = number
                    case dict():
                        part = [f"{axis}={concept}" for axis, concept in part.items()]
                    case [{"step": _}, *_]:
                        part = [step["step"] for step in part]
                    case int() if not isinstance(part, bool):
                        part = str(part)
                assert (told or None) == (part or None) or told is part is False, (name, record["id"], column)
    cited = [(position["id"], claim) for position in positions for claim in position["claims"]]
    assert [(row["position"], row["claim"]) for row in found["citations"]] == cited


def test_a_contested_row_has_no_value(demo: Files) -> None:
    rows = tables(demo)["rules.csv"][1]
    empty = [row for row in rows if row["basis"] is None]
    assert len(empty) > 5
    for row in empty:
        assert not any(row[name] for name in ("text", "min", "max", "concept", "includes", "steps"))
        assert row["yes"] is row["exactly"] is None
