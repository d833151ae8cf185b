"""Invented stores for tests: forms that are entered, and shapes that a department might add. Nothing here is real."""

from pathlib import Path

from trayconcord.generators.demo import lay_out
from trayconcord.generators.entry import Entered, enter
from trayconcord.kb.store import Store

NOTES = """# Invented for a test.
source: {id: invented-notes, title: Invented notes, authors: ["Nobody, Ann"], year: 2020, kind: lecture-notes}
claims:
  - {parameter: spacer-thickness, when: {impression-material: polyether}, value: 2-3 mm, at: p. 1, obtained: read}
  - {parameter: stop-count, value: 3, at: p. 2, obtained: read}
"""
"""A form with nothing wrong in it."""

SHAPES = """@prefix bibo: <http://purl.org/ontology/bibo/> .
@prefix ours: <https://example.org/our-rules#> .
@prefix owl: <http://www.w3.org/2002/07/owl#> .
@prefix rule: <https://w3id.org/trayconcord/rule/> .
@prefix sh: <http://www.w3.org/ns/shacl#> .
@prefix tc: <https://w3id.org/trayconcord/def/> .

"""
"""The prefixes of a file of shapes."""


def enter_forms(folder: Path, *forms: str, name: str = "department") -> Path:
    """Enter forms into a department's store below a folder; returns the store's folder."""
    _entered(folder, forms, name)
    return folder / name


def store_of(folder: Path, *forms: str) -> Store:
    """The store of a department that entered these forms, without the shipped sources."""
    return _entered(folder, forms, "department").store


def _entered(folder: Path, forms: tuple[str, ...], name: str) -> Entered:
    paths = [folder / f"{name}-{number}.yaml" for number in range(len(forms))]
    for path, form in zip(paths, forms, strict=True):
        path.write_text(form, encoding="utf-8")
    return enter(paths, [folder / name], only=True, target=folder / name)


def enter_demo(folder: Path) -> Path:
    """The store into which the demo's forms were entered."""
    layer = folder / "demo" / "kb"
    forms = [path for path in lay_out(folder / "demo") if path.suffix == ".yaml"]
    enter(forms, [layer], only=True, target=layer)
    return layer


def write_shapes(folder: Path, body: str, name: str = "ours.ttl") -> Path:
    """A Turtle file of shapes."""
    path = folder / name
    path.write_text(SHAPES + body, encoding="utf-8")
    return path
