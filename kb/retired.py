"""Ids that are no longer in use: which, why, and what took their place. An id is never used for something else.

A layer lists them in a file of lines; a SPARQL service holds them as triples, each with its place in the list.
"""

import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rdflib import Graph, Literal, URIRef
from rdflib.namespace import DCTERMS, RDF

from trayconcord.kb import namespaces as ns
from trayconcord.kb.errors import Complaint, Place, UnusableInput, unusable
from trayconcord.kb.namespaces import TC
from trayconcord.kb.turtle import new_graph

NAME = "retired-ids.txt"
"""The file of a layer that lists them."""

_LINE = re.compile(r"(?P<id>[^\s|]+/[^\s|]+)(?: -> (?P<replacement>[^\s|]+/[^\s|]+))? \| (?P<reason>\S.*)")


@dataclass(frozen=True, slots=True)
class Retired:
    """A retired id with its family, as in ``claim/some-source/stop-count``; ``replacement`` is one too, or empty."""

    id: str
    replacement: str
    reason: str


def read_retired(layer: Path) -> list[Retired]:
    """The retired ids of a layer, in the order of its file; none without one. Raises `UnusableInput` line by line."""
    path = layer / NAME
    if not path.is_file():
        return []
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        raise unusable(path, "cannot be read as UTF-8 text", "save the file as UTF-8") from None
    found, complaints = [], []
    for number, line in enumerate(lines, start=1):
        if not line.strip() or line.startswith("#"):
            continue
        read = _LINE.fullmatch(line.rstrip())
        if read:
            found.append(Retired(read["id"], read["replacement"] or "", read["reason"]))
        else:
            fix = "write: claim/OLD-ID -> claim/NEW-ID | reason, or without the arrow where nothing took its place"
            complaints.append(Complaint(Place(str(path), number), "is no line of a retired id", fix))
    if complaints:
        raise UnusableInput(complaints)
    return found


def retired_graph(retired: Iterable[Retired]) -> Graph:
    """The triples of a list of retired ids. The ids are text: what they named is not described here."""
    graph = new_graph()
    for number, old in enumerate(retired, start=1):
        subject = URIRef(f"{ns.RETIRED_ID}{number}")
        graph.add((subject, RDF.type, TC.RetiredId))
        graph.add((subject, TC.order, Literal(number)))
        graph.add((subject, DCTERMS.identifier, Literal(old.id)))
        graph.add((subject, TC.because, Literal(old.reason)))
        if old.replacement:
            graph.add((subject, TC.replacement, Literal(old.replacement)))
    return graph


def retired_of(triples: Collection[Any]) -> list[Retired]:
    """The list that triples say, in its order. Raises `ValueError` where they say something else."""
    about: dict[Any, dict[Any, str]] = {}
    for subject, predicate, value in triples:
        about.setdefault(subject, {})[predicate] = str(value)
    numbered = {
        int(said.get(TC.order, "")): Retired(
            said.get(DCTERMS.identifier, ""), said.get(TC.replacement, ""), said.get(TC.because, "")
        )
        for said in about.values()
    }
    found = [numbered[number] for number in sorted(numbered)]
    if set(retired_graph(found)) != set(triples):
        raise ValueError("they are no list of retired ids")
    return found
