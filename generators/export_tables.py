"""The rule export as tables: CSV files, and the metadata that says what stands in each column (CSVW, W3C 2015).

A table is a list of columns, each with the key of the record it takes its cells from. Lists in a cell have a separator
of their own; conditions are written ``axis=concept`` and joined by ``&``, as in the ids of topics.
"""

import csv
import io
from dataclasses import dataclass
from typing import Any

from trayconcord.generators.value_json import dump

Record = dict[str, Any]

METADATA = "csv-metadata.json"
"""The name under which CSVW looks for the metadata of a folder."""

NUMBER = {"base": "string", "format": r"-?[0-9]+\.[0-9]+|-?[0-9]+/[0-9]+"}
"""An exact number: decimals, or numerator and denominator where the decimals do not end."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name, what it holds, its CSVW datatype, and what separates the members of a list."""

    name: str
    description: str
    datatype: str | dict[str, str] = "string"
    separator: str = ""
    required: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table: the columns, those that tell its rows apart, and per column the table that it refers to."""

    name: str
    description: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    refers: dict[str, tuple[str, str]]


_VALUE = (
    Column("text", "the value in words", required=False),
    Column("min", "least value, in the unit; empty where the range is open", NUMBER),
    Column("max", "greatest value, in the unit; empty where the range is open", NUMBER),
    Column("unit", "id of the unit"),
    Column("concept", "the one concept chosen"),
    Column("yes", "yes or no", "boolean"),
    Column("includes", "concepts in the set", separator=" "),
    Column("excludes", "concepts out of the set", separator=" "),
    Column("exactly", "whether all that is not named is out", "boolean"),
    Column("steps", "steps in order", separator=" "),
)
_SCOPE = (
    Column("parameter", "id of the parameter", required=True),
    Column("when", "conditions, axis=concept; an axis that is not named means any", separator="&"),
)
TABLES = (
    Table(
        "rules",
        "Topics: a value stands only where the voices agree or the course has ruled.",
        (
            Column("id", "id of the topic", required=True),
            *_SCOPE,
            Column("standing", "agreed, contested, single or silent", required=True),
            Column("firm", "whether all who clash say which case they mean, or none does", "boolean", required=True),
            Column("basis", "ruling or agreement; empty where there is no value"),
            Column("ruling", "id of the ruling that governs"),
            *_VALUE,
        ),
        ("id",),
        {"parameter": ("parameters", "id"), "unit": ("units", "id"), "ruling": ("rulings", "id")},
    ),
    Table(
        "positions",
        "The positions of topics: the largest sets of claims that can all be right, and what they share.",
        (
            Column("id", "id of the position", required=True),
            Column("topic", "id of the topic", required=True),
            *_VALUE,
        ),
        ("id",),
        {"topic": ("rules", "id"), "unit": ("units", "id")},
    ),
    Table(
        "citations",
        "Which claims take a position, one a row.",
        (
            Column("position", "id of the position", required=True),
            Column("claim", "id of the claim", required=True),
        ),
        ("position", "claim"),
        {"position": ("positions", "id"), "claim": ("claims", "id")},
    ),
    Table(
        "claims",
        "What each source says.",
        (
            Column("id", "id of the claim", required=True),
            Column("source", "id of the source"),
            Column("voice", "id of the voice: editions of one work are one"),
            *_SCOPE,
            Column("stated", "the value as printed, or in words"),
            *_VALUE,
            Column("at", "the place in the source"),
            Column("obtained", "read, reported, recalled or practice"),
            Column("reported-by", "id of the source that reports it"),
            Column("superseded-by", "id of the newer edition that speaks instead"),
        ),
        ("id",),
        {"source": ("sources", "id"), "parameter": ("parameters", "id"), "unit": ("units", "id")},
    ),
    Table(
        "rulings",
        "What the course has decided.",
        (
            Column("id", "id of the ruling", required=True),
            *_SCOPE,
            Column("stated", "the value as it was entered, or in words"),
            *_VALUE,
            Column("because", "the reason"),
            Column("decided-on", "the day of the decision", "date"),
            Column("decided-by", "the body that decided"),
            Column("review-by", "the day by which to look at it again", "date"),
            Column("without-source", "why a value that no source supports is adopted"),
        ),
        ("id",),
        {"parameter": ("parameters", "id"), "unit": ("units", "id")},
    ),
    Table(
        "sources",
        "The works that are cited.",
        (
            Column("id", "id of the source", required=True),
            Column("reference", "the entry of a list of references", required=True),
            Column("year", "year of publication", "gYear"),
            Column("kind", "kind of source"),
            Column("doi", "digital object identifier"),
            Column("edition-of", "id of the work that it is an edition of"),
            Column("compiled-from", "ids of the works that it is compiled from", separator=" "),
            Column("origins", "ids of the voices that it only repeats where it says the same", separator=" "),
        ),
        ("id",),
        {},
    ),
    Table(
        "parameters",
        "What rules are about.",
        (
            Column("id", "id of the parameter", required=True),
            Column("label", "name", required=True),
            Column("definition", "what it means"),
            Column("question", "the plain question"),
            Column("chapter", "chapter"),
            Column("value-kind", "interval, count, choice, set, yes-no or order", required=True),
            Column("unit", "id of the unit"),
            Column("tolerance", "distance at which two quantities still agree", NUMBER),
            Column("depends-on", "axes on which the value depends in the trade", separator=" "),
        ),
        ("id",),
        {"unit": ("units", "id")},
    ),
    Table(
        "axes",
        "The axes of conditions, in their order.",
        (
            Column("id", "id of the axis", required=True),
            Column("label", "name", required=True),
            Column("question", "the question that a condition answers"),
            Column("of-case", "whether a case states it, rather than each statement about the tray", "boolean"),
        ),
        ("id",),
        {},
    ),
    Table(
        "concepts",
        "What conditions and values name.",
        (
            Column("id", "id of the concept", required=True),
            Column("label", "name", required=True),
            Column("broader", "id of the concept above it"),
        ),
        ("id",),
        {"broader": ("concepts", "id")},
    ),
    Table(
        "units",
        "The units of values.",
        (
            Column("id", "id of the unit in the vocabulary of QUDT, or the IRI of a unit of the trade", required=True),
            Column("label", "name", required=True),
            Column("symbol", "symbol"),
        ),
        ("id",),
        {},
    ),
    Table(
        "cautions",
        "What can hurt, and the usual care.",
        (
            Column("id", "id of the caution", required=True),
            Column("label", "name", required=True),
            Column("definition", "what can hurt, and the usual care", required=True),
            Column("arises-from", "ids of the concepts that bring it", separator=" "),
            Column("arises-with", "ids of the parameters whose answers are about it", separator=" "),
            Column("hazards", "hazard statement codes of the GHS", separator=" "),
            Column("sources", "ids of the sources", separator=" "),
        ),
        ("id",),
        {},
    ),
    Table(
        "deprecated",
        "Ids that are no longer in use.",
        (
            Column("id", "the id, with its family", required=True),
            Column("replaced-by", "the id that took its place"),
            Column("because", "the reason", required=True),
        ),
        ("id",),
        {},
    ),
    Table(
        "cases",
        "The cases that the course teaches.",
        (
            Column("id", "id of the case", required=True),
            Column("label", "name"),
            Column("when", "conditions, axis=concept; an axis that is not named means any", separator="&"),
            Column("asks", "ids of the parameters that are to be answered", separator=" "),
        ),
        ("id",),
        {},
    ),
    Table(
        "marking",
        "What the course marks: the items of its policy. Pass mark and credits of the policy are in rules.json.",
        (
            Column("id", "id of the item", required=True),
            *_SCOPE,
            Column("sites", "places on the tray where it is looked at", separator=" "),
            Column("weight", "how much it counts against the others", NUMBER, required=True),
            Column("tolerance-quantity", "how far beyond the limits a measurement may lie, in the unit", NUMBER),
            Column("tolerance-share", "the same as a part of each limit", NUMBER),
            Column("uncertainty", "of a measurement that states none, in the unit", NUMBER),
            Column("unit", "id of the unit"),
            Column("borderline-credit", "part of the weight that it earns when borderline", NUMBER),
        ),
        ("id",),
        {"parameter": ("parameters", "id"), "unit": ("units", "id")},
    ),
)


def csv_files(document: Record) -> dict[str, bytes]:
    """The tables of an export, by file name, and their metadata."""
    rows = {table.name: document.get(table.name, []) for table in TABLES}
    rows["positions"] = [{**p, "topic": rule["id"]} for rule in document["rules"] for p in rule["positions"]]
    rows["marking"] = document.get("marking", {}).get("items", [])
    rows["citations"] = [
        {"position": position["id"], "claim": claim} for position in rows["positions"] for claim in position["claims"]
    ]
    files = {f"{table.name}.csv": _csv(table, rows[table.name]) for table in TABLES}
    return files | {METADATA: dump(_metadata(document)).encode()}


def _csv(table: Table, records: list[Record]) -> bytes:
    """A table as RFC 4180 has it, in UTF-8: one header row, lines that end in CR LF."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(column.name for column in table.columns)
    for record in records:
        flat = record | record.get("value", {}) | {"id": record.get("id")}
        writer.writerow(_cell(flat.get(column.name), column) for column in table.columns)
    return stream.getvalue().encode()


def _cell(part: Any, column: Column) -> str:
    match part:
        case None:
            return ""
        case bool():
            return "true" if part else "false"
        case list():
            return column.separator.join(step["step"] if isinstance(step, dict) else step for step in part)
        case {"@value": number}:
            return str(number)
        case dict():
            return column.separator.join(f"{axis}={concept}" for axis, concept in part.items())
        case _:
            return str(part)


def _metadata(document: Record) -> Record:
    return {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "dc:license": {"@id": document["licence"]},
        "dc:rights": document["notice"],
        "notes": [{"version": document["version"], "format": document["format"], "store": document["store"]}],
        "tables": [
            {
                "url": f"{table.name}.csv",
                "dc:description": table.description,
                "tableSchema": {
                    "columns": [_described(column) for column in table.columns],
                    "primaryKey": list(table.key),
                    "foreignKeys": [
                        {
                            "columnReference": [column],
                            "reference": {"resource": f"{other}.csv", "columnReference": [key]},
                        }
                        for column, (other, key) in table.refers.items()
                    ],
                },
            }
            for table in TABLES
        ],
    }


def _described(column: Column) -> Record:
    told: Record = {
        "name": column.name.replace("-", "_"),
        "titles": column.name,
        "dc:description": column.description,
        "datatype": column.datatype,
    }
    if column.separator:
        told["separator"] = column.separator
    if column.required:
        told["required"] = True
    return told
