"""Synthetic stores for measuring: invented claims in the shape of real ones, about ten triples each."""

import random
from collections.abc import Iterator
from pathlib import Path

AXES = {
    "arch": ["maxillary", "mandibular"],
    "impression-material": [
        "impression-plaster", "impression-paste", "zinc-oxide-eugenol-paste", "hydrocolloid",
        "irreversible-hydrocolloid", "elastomer", "polysulfide", "polyether", "silicone", "addition-silicone",
        "condensation-silicone",
    ],
    "impression-technique": ["minimal-pressure", "selective-pressure", "mucocompressive"],
    "tray-material": ["acrylic-resin", "autopolymerising-resin", "light-cured-resin", "shellac"],
}  # fmt: skip
LENGTHS = [
    "spacer-thickness", "wax-sheet-thickness", "spacer-margin", "impression-thickness", "relief-thickness",
    "stop-length", "stop-width", "escape-hole-diameter", "escape-hole-spacing", "border-clearance", "wall-thickness",
    "border-thickness", "handle-length", "handle-width", "handle-thickness", "handle-height",
]  # fmt: skip
CONDITIONS = [
    (), ("arch",), ("impression-material",), ("impression-material",), ("tray-material",), ("impression-technique",),
    ("arch", "impression-material"), ("arch", "impression-technique"),
]  # fmt: skip
"""What claims are conditional on: in the shipped store a sixth on nothing, half on one axis, a quarter on two."""

PER_SOURCE = 10
"""Claims per source, each about another parameter."""

HEAD = """@prefix axis: <https://w3id.org/trayconcord/axis/> .
@prefix bibo: <http://purl.org/ontology/bibo/> .
@prefix concept: <https://w3id.org/trayconcord/concept/> .
@prefix dcterms: <http://purl.org/dc/terms/> .
@prefix kind: <https://w3id.org/trayconcord/kind/> .
@prefix obtained: <https://w3id.org/trayconcord/obtained/> .
@prefix parameter: <https://w3id.org/trayconcord/parameter/> .
@prefix qudt: <http://qudt.org/schema/qudt/> .
@prefix source: <https://w3id.org/trayconcord/source/> .
@prefix tc: <https://w3id.org/trayconcord/def/> .
@prefix unit: <http://qudt.org/vocab/unit/> .

"""


def write_store(folder: Path, claims: int, seed: int = 1) -> Path:
    """Write a store of so many invented claims; returns its one Turtle file."""
    path = folder / "sources" / "synthetic.ttl"
    path.parent.mkdir(parents=True, exist_ok=True)
    with open(path, "w", encoding="utf-8") as stream:
        stream.write(HEAD)
        stream.writelines(_records(claims, random.Random(seed)))
    return path


def write_sources(folder: Path, claims: int, seed: int = 1) -> None:
    """Write the same claims with a file for each source, as `add` lays them out."""
    parent = folder / "sources"
    parent.mkdir(parents=True, exist_ok=True)
    gathered: list[str] = []
    for record in _records(claims, random.Random(seed)):
        if gathered and record.startswith("source:"):
            _write_source(parent, gathered)
        gathered.append(record)
    _write_source(parent, gathered)


def _write_source(parent: Path, gathered: list[str]) -> None:
    name = gathered[0].partition(" ")[0].removeprefix("source:")
    (parent / f"{name}.ttl").write_text(HEAD + "".join(gathered), encoding="utf-8")
    gathered.clear()


def _records(claims: int, chance: random.Random) -> Iterator[str]:
    number = 0
    while number < claims:
        source = f"invented-{number // PER_SOURCE}"
        yield (
            f'source:{source} a tc:Source ; dcterms:title "Invented work {source}" ; dcterms:type kind:textbook .\n\n'
        )
        for parameter in chance.sample(LENGTHS, PER_SOURCE):
            if number == claims:
                return
            axes = chance.choice(CONDITIONS)
            when = "".join(f"    axis:{axis} concept:{_common(AXES[axis], chance)} ;\n" for axis in axes)
            low = chance.choice([2, 3, 4, 4, 4, 4, 4, 6])
            high = low + chance.choice([0, 0, 1, 2])
            yield (
                f"<https://w3id.org/trayconcord/claim/{source}/{parameter}> a tc:Claim ;\n"
                f"    tc:parameter parameter:{parameter} ;\n{when}"
                f'    dcterms:source source:{source} ;\n    bibo:locator "p. {chance.randint(1, 400)}" ;\n'
                f"    qudt:hasUnit unit:MilliM ;\n    tc:min {low / 2} ;\n    tc:max {high / 2} ;\n"
                f'    tc:obtained obtained:read ;\n    tc:printed "{low / 2}-{high / 2} mm" .\n\n'
            )
            number += 1


def _common(concepts: list[str], chance: random.Random) -> str:
    """A concept, the earlier ones of the list more often: sources write about the same few cases."""
    return chance.choices(concepts, [1 / rank for rank in range(1, len(concepts) + 1)])[0]
