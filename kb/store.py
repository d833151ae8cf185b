"""The store: layers of Turtle files, loaded into one graph and read as records.

A layer is a folder with ``vocabulary/``, ``sources/``, ``rulings/``, ``cases/`` and ``marking/``. The shipped layer
lies in this package; departments lay their own over it. A file in a later layer takes the place of the file of the same
name in an earlier one.
"""

import errno
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from importlib import resources
from pathlib import Path

from rdflib import Graph, URIRef

from trayconcord.kb import namespaces as ns
from trayconcord.kb.canonical import canonical_hash
from trayconcord.kb.errors import Complaint, Place, UnusableInput, unusable
from trayconcord.kb.files import read_regular
from trayconcord.kb.marking import MarkingPolicy, read_policy
from trayconcord.kb.model import Case, Claim, Ruling, Source
from trayconcord.kb.namespaces import TC
from trayconcord.kb.plain_turtle import Memory
from trayconcord.kb.records import read_cases, read_claims, read_rulings, read_sources
from trayconcord.kb.retired import Retired, read_retired
from trayconcord.kb.transaction import pending
from trayconcord.kb.triples import Triples
from trayconcord.kb.turtle import Lines, bulk, new_graph, triples_of
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.kb.vocabulary_triples import read_vocabulary

TRIES = 5
"""How often a store is read again because somebody wrote to it meanwhile."""

SMALL = 100_000
"""Bytes up to which a parsed document is remembered while the process lives."""

MOST = 1024
"""Documents that are remembered at a time."""

_documents: dict[tuple[bytes, str], tuple[Triples, Lines]] = {}

FOLDERS = ("vocabulary", "sources", "rulings", "cases", "marking")


@dataclass(frozen=True)
class Store:
    """Everything that is known: the triples, the records read from them, and where each subject stands."""

    triples: Triples
    vocabulary: Vocabulary
    sources: dict[str, Source]
    claims: list[Claim]
    rulings: list[Ruling]
    cases: list[Case]
    places: Mapping[URIRef, Place]
    former_rulings: list[Ruling] = field(default_factory=list)
    marking: MarkingPolicy | None = None
    retired: list[Retired] = field(default_factory=list)

    @cached_property
    def graph(self) -> Graph:
        """The triples as a graph of rdflib, made when it is first asked for."""
        graph = new_graph()
        for triple in self.triples.triples():
            graph.add(triple)
        return graph

    @cached_property
    def hash(self) -> str:
        """The hash of all that the store says: RDFC-1.0 with SHA-256, in hexadecimal."""
        return canonical_hash(self.triples.triples())

    def history_of(self, ruling: str) -> list[Ruling]:
        """What was decided before a ruling on the same case, the latest first."""
        former = [record for record in self.former_rulings if record.id.partition("#")[0] == ruling]
        return sorted(former, key=lambda record: (record.decided_on, len(record.id), record.id), reverse=True)

    def claims_of(self, source: str) -> list[Claim]:
        """The claims that a source makes, by id."""
        return [claim for claim in self.claims if claim.source == source]

    def place_of_claim(self, claim: str) -> Place:
        """File and line of a claim."""
        return self.places.get(ns.iri(ns.CLAIM, claim), Place("unknown file"))


class Places(Mapping[URIRef, Place]):
    """File and line of each subject: where it stands first. A place is made when it is asked for."""

    def __init__(self) -> None:
        self._files: list[tuple[str, Lines]] = []
        self._file_of: dict[URIRef, int] = {}

    def add(self, file: str, lines: Lines) -> None:
        """Add the subjects of one more file."""
        number = len(self._files)
        self._files.append((file, lines))
        for subject in lines:
            self._file_of.setdefault(subject, number)

    def __getitem__(self, subject: URIRef) -> Place:
        file, lines = self._files[self._file_of[subject]]
        return Place(file, lines[subject])

    def __iter__(self) -> Iterator[URIRef]:
        return iter(self._file_of)

    def __len__(self) -> int:
        return len(self._file_of)


def shipped() -> Path:
    """The folder of the shipped layer."""
    return Path(str(resources.files("trayconcord.kb")))


def load(layers: list[Path] | None = None, only: bool = False, overlay: dict[str, bytes] | None = None) -> Store:
    """Load the shipped store with the given layers over it; ``only`` leaves the shipped sources and rulings out.

    ``overlay`` (path within a store -> Turtle) is read as if it lay over the last layer already.
    Raises `UnusableInput` with every file that cannot be read.
    """
    with bulk():
        return replace(of_triples(*read_layers(layers, only, overlay)), retired=retired_in(layers, only))


def retired_in(layers: list[Path] | None = None, only: bool = False) -> list[Retired]:
    """The ids that the layers no longer use; what two layers say in the same words is said once."""
    found = [old for layer in [*([] if only else [shipped()]), *(layers or [])] for old in read_retired(layer)]
    return list(dict.fromkeys(found))


def read_layers(
    layers: list[Path] | None = None, only: bool = False, overlay: dict[str, bytes] | None = None
) -> tuple[Triples, Places]:
    """The triples of the documents that `load` reads, and where each subject stands. Raises `UnusableInput`."""
    triples = Triples()
    places = Places()
    memory: Memory = {}
    contents, complaints = _snapshot(layers or [], only, overlay or {})
    for name in list(contents):
        data = contents.pop(name)
        try:
            read, lines = read_document(data, name, memory)
        except UnusableInput as error:
            complaints += error.complaints
        else:
            triples.update(read)
            places.add(name, lines)
    if complaints:
        raise UnusableInput(complaints)
    return triples, places


def documents(layers: list[Path], only: bool = False) -> dict[str, bytes]:
    """The documents that `load` reads, as they stood at one moment, by the name they are shown under."""
    contents, complaints = _snapshot(layers, only, {})
    if complaints:
        raise UnusableInput(complaints)
    return contents


def read_document(data: bytes, name: str, memory: Memory) -> tuple[Triples, Lines]:
    """What `triples_of` gives; of small documents it is kept: entering a form loads the same store several times."""
    if len(data) > SMALL:
        return triples_of(data, name, memory)
    known = _documents.get((data, name))
    if known is None:
        if len(_documents) == MOST:
            _documents.clear()
        known = _documents[data, name] = triples_of(data, name, memory)
    return known


def _snapshot(layers: list[Path], only: bool, overlay: dict[str, bytes]) -> tuple[dict[str, bytes], list[Complaint]]:
    """The documents as they stood at one moment, read again where a writer came in between, and the unreadable ones."""
    for left in reversed(range(TRIES)):
        found = layer_files(layers, only, overlay)
        before = _stamps(found)
        contents: dict[str, bytes] = {}
        complaints: list[Complaint] = []
        moved = False  # between being listed and being read, which leaves its stamps as they were
        for name, origin in found.items():
            try:
                contents[name] = origin if isinstance(origin, bytes) else read_regular(origin)
            except OSError as error:
                moved = moved or isinstance(error, FileNotFoundError)
                complaints.append(Complaint(Place(name), f"cannot be read: {error.strerror}", "check the file"))
        if _stamps(layer_files(layers, only, overlay)) == before and not (moved and left):
            return contents, complaints
    raise unusable(layers[-1], "is being written by another command", "wait for it to end and try again")


def _stamps(found: dict[str, Path | bytes]) -> dict[str, tuple[int, int, int]]:
    """What tells a file from the one that takes its place."""
    stamps = {}
    for name, origin in found.items():
        if isinstance(origin, Path):
            try:
                status = origin.stat()
            except OSError:
                stamps[name] = (0, 0, 0)
            else:
                stamps[name] = (status.st_ino, status.st_mtime_ns, status.st_size)
    return stamps


def of_triples(triples: Triples, places: Mapping[URIRef, Place]) -> Store:
    """Read the records of triples that hold the vocabulary too."""
    try:
        vocabulary = read_vocabulary(triples)
    except ValueError as error:
        raise unusable("vocabulary", str(error), "mend the vocabulary of the store") from None
    return Store(
        triples=triples,
        vocabulary=vocabulary,
        sources=read_sources(triples),
        claims=read_claims(triples, vocabulary),
        rulings=read_rulings(triples, vocabulary),
        cases=read_cases(triples, vocabulary),
        places=places,
        former_rulings=read_rulings(triples, vocabulary, TC.FormerRuling),
        marking=read_policy(triples, vocabulary),
    )


def _in_folder(folder: Path) -> Iterator[tuple[str, Path]]:
    """The Turtle documents of a folder, by file name; none where there is no such folder."""
    try:
        files = os.listdir(folder)
    except OSError as error:
        if error.errno in (errno.ENOENT, errno.ENOTDIR, errno.ELOOP):
            return
        raise unusable(folder, f"cannot be read: {error.strerror}", "check the folder") from None
    for file in files:
        if file.endswith(".ttl"):
            yield file, folder / file


def layer_files(layers: list[Path], only: bool, overlay: dict[str, bytes]) -> dict[str, Path | bytes]:
    """Every Turtle document to load, by the name it is shown under, in the order of loading."""
    chosen: dict[tuple[str, str], tuple[str, Path | bytes]] = {}
    root = shipped()
    for folder in FOLDERS:
        if only and folder != "vocabulary":
            continue
        for file, path in _in_folder(root / folder):
            chosen[folder, file] = (f"kb/{folder}/{file}", path)
    for layer in layers:
        if not layer.is_dir() and not (overlay and layer is layers[-1]):
            raise unusable(layer, "is not a folder", "name the folder of a store, or add a form to create it")
        waiting = pending(layer)
        homes = {(folder, file): path for folder in FOLDERS for file, path in _in_folder(layer / folder)}
        for name, path in waiting.items():
            folder, _, file = name.partition("/")
            if folder in FOLDERS:
                homes[folder, file] = path
        shown = {folder: f"{layer / folder}{os.sep}" for folder in FOLDERS}
        for (folder, file), path in homes.items():
            chosen[folder, file] = (shown[folder] + file, path)
    for name, data in overlay.items():
        folder, _, file = name.partition("/")
        chosen[folder, file] = (str(layers[-1] / name) if layers else name, data)
    order = {folder: number for number, folder in enumerate(FOLDERS)}
    return dict(chosen[key] for key in sorted(chosen, key=lambda key: (order[key[0]], key[1])))
