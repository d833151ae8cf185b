"""The folder of the rule export: every file of it, the same in a site and by itself."""

from importlib.resources import files

from trayconcord.generators.export import Record, rules_document
from trayconcord.generators.export_context import graph_of
from trayconcord.generators.export_dataset import dataset_turtle
from trayconcord.generators.export_page import contract_page
from trayconcord.generators.export_tables import csv_files
from trayconcord.generators.value_json import dump
from trayconcord.generators.yaml_text import yaml_text
from trayconcord.kb.store import Store
from trayconcord.kb.turtle import write_turtle
from trayconcord.shapes.compare import Comparison

SHIPPED = ("answer.py", "rules-shapes.ttl", "rules.schema.json")
"""What goes with every export as it stands."""


def contract_text(name: str) -> str:
    """A file of the contract as it stands."""
    return (files("trayconcord.generators") / "contract" / name).read_text(encoding="utf-8")


def export_files(store: Store, comparison: Comparison) -> dict[str, bytes]:
    """Every file of the export by name. Raises `UnusableInput`."""
    document = rules_document(store, comparison)
    graph = graph_of(document)
    rules = {
        "rules.json": dump(document).encode(),
        "rules.ttl": write_turtle(graph),
        "rules.yaml": yaml_text(document).encode(),
        **csv_files(document),
    }
    contract = {
        "context.jsonld": dump({"@context": document["@context"]}).encode(),
        **{name: contract_text(name).encode() for name in SHIPPED},
    }
    described = {name: data for name, data in rules.items() if not name.endswith("metadata.json")}
    return {
        **rules,
        **contract,
        "dataset.ttl": dataset_turtle(document, graph, described),
        "index.html": contract_page(document, contract_text("rules.schema.json"), contract_text("answer.py")),
    }


def one_file(form: str, document: Record) -> bytes:
    """The export in one form, ``json``, ``turtle`` or ``yaml``."""
    match form:
        case "turtle":
            return write_turtle(graph_of(document))
        case "yaml":
            return yaml_text(document).encode()
        case _:
            return dump(document).encode()
