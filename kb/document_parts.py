"""Documents cut into parts without being read: the claims on each parameter, and the rest.

In a plainly laid out document (`kb.plain_turtle`) an empty line stands only between statements, and what a statement
means depends on nothing but the prefixes. So such a document can be cut at its empty lines, and a part whose bytes are
known need not be read to know what it says. Whether the layout is plain is found out when a part is read. A store that
cannot be cut surely is not cut at all.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import fields
from datetime import date
from functools import cached_property
from hashlib import blake2b
from operator import attrgetter
from typing import Any

from rdflib import URIRef
from rdflib.namespace import RDF

from trayconcord.kb import namespaces as ns
from trayconcord.kb.errors import Place
from trayconcord.kb.model import Source
from trayconcord.kb.namespaces import PREFIXES, TC, interned
from trayconcord.kb.parts import Parts, Uncut
from trayconcord.kb.plain_turtle import Memory
from trayconcord.kb.store import Store, read_document
from trayconcord.kb.triples import Triples
from trayconcord.kb.turtle import Lines, plain_triples_of

_VOCABULARY = re.compile(r"(?:^|[\\/])vocabulary[\\/][^\\/]*$")
_PREFIX = re.compile(rb"@prefix ([A-Za-z][A-Za-z0-9-]*): <([^>\n]*)> \.")
_CLAIM = re.compile(
    rb"<%s([^>\n]*)> a tc:Claim ;\n    tc:parameter parameter:([A-Za-z_][A-Za-z0-9_-]*) ;\n" % ns.CLAIM.encode()
)
_SOURCE = re.compile(rb"source[:/]([^\s>,]+)")
_OWN = b"<" + str(TC).encode()
_STEPS = b"tc:steps <" + ns.CLAIM.encode()
_TYPE = interned(RDF.type)
_RECORDS = frozenset(
    (TC.Claim, TC.Source, TC.Ruling, TC.FormerRuling, TC.Case, TC.MarkingPolicy, TC.MarkingItem, RDF.Seq)
)


_FIELDS = attrgetter(*(field.name for field in fields(Source)))


_Piece = tuple[str, bytes, int, bytes]
"""Some lines of a document: its name and prefixes, the line on which they begin, and their bytes."""


class DocumentParts:
    """The parts of a store of documents. Raises `Uncut`, and `UnusableInput` where the vocabulary is not usable."""

    def __init__(self, contents: Mapping[str, bytes]) -> None:
        self._pieces: dict[str, list[_Piece]] = {}
        self._claims: set[bytes] = set()
        self._cited: dict[str, set[str]] = {}
        self._with_lists: set[str] = set()
        self._heads = {b"": ""}
        self._said: dict[str, bytes] = {}
        self._lists = blake2b()
        self._vocabulary = blake2b()
        rest: list[_Piece] = []
        triples, places = Triples(), dict[URIRef, Place]()
        memory: Memory = {}
        for name, data in contents.items():
            if not _VOCABULARY.search(name):
                rest += self._cut(name, data)
                continue
            _update(self._vocabulary, name.encode(), data)
            read, lines = read_document(data, name, memory)
            triples.update(read)
            for subject, line in lines.items():
                places.setdefault(subject, Place(name, line))
        for parameter, pieces in self._pieces.items():
            self._look(parameter, pieces)
        read, where = _read(rest)
        _refuse_others(read, triples, self._claims)
        triples.update(read)
        self.parts = Parts(triples, where | places)
        vocabulary = self.parts.base.vocabulary
        if any(claim.parameter in vocabulary.parameters for claim in self.parts.base.claims):
            raise Uncut
        if not self._pieces.keys() <= vocabulary.parameters.keys():
            raise Uncut  # a claim on something that the vocabulary does not have belongs to the rest

    def _cut(self, name: str, data: bytes) -> list[_Piece]:
        """Take the claims out of a document; returns what is left."""
        rest: list[_Piece] = []
        claims, pieces = self._claims, self._pieces
        head, line = b"", 1
        for block in data.rstrip(b"\n").split(b"\n\n"):
            text = block.lstrip(b"\n") if block[:1] == b"\n" else block
            line += len(block) - len(text)
            found = _CLAIM.match(text)
            if found:
                subject, parameter = found.groups()
                if subject in claims:
                    raise Uncut
                claims.add(subject)
                pieces.setdefault(parameter.decode(), []).append((name, head, line, text))
            elif text.startswith(b"@prefix") and not head and not rest:
                head = text
                if head not in self._heads:
                    _refuse_odd(head)
                    self._heads[head] = _digest(head).hex()
            else:
                if text.startswith(b"<%s" % ns.CLAIM.encode()):
                    _update(self._lists, text)
                rest.append((name, head, line, text))
            line += text.count(b"\n") + 2
        return rest

    def _look(self, parameter: str, pieces: list[_Piece]) -> None:
        """Note what the claims on a parameter refer to; refuse what could be more than one claim each."""
        text = b"\n\n".join([text for _, _, _, text in pieces])
        if text.count(b" .\n") >= len(pieces) or text.count(b"tc:parameter") != len(pieces):
            raise Uncut
        if b"@prefix" in text or _OWN in text:
            raise Uncut
        self._cited[parameter] = set(b"\n".join(set(_SOURCE.findall(text))).decode(errors="replace").split("\n"))
        heads = self._heads
        stands = "\n".join([f"{line} {heads[head]} {name}" for name, head, line, _ in pieces])
        self._said[parameter] = _digest(text, stands.encode())
        if b"tc:steps" in text:
            if text.count(b"tc:steps") != text.count(_STEPS):
                raise Uncut
            self._with_lists.add(parameter)

    @property
    def parameters(self) -> list[str]:
        """The parameters that there are parts for, in the order of the vocabulary."""
        return self.parts.parameters(self._pieces)

    def key(self, parameter: str, today: date | None) -> str:
        """A hash of all that a part says and that its findings can depend on."""
        digest = self._vocabulary.copy()
        digest.update(parameter.encode())
        base = self.parts.base
        digest.update(self._said.get(parameter, b""))
        if parameter in self._with_lists:
            digest.update(self._lists.digest())
        digest.update(
            b"".join([self._source(source) for source in sorted(self._behind(self._cited.get(parameter, ())))])
        )
        items = [item for item in base.marking.items if item.parameter == parameter] if base.marking else []
        for item in items:
            _update(digest, repr(item).encode(), self._place(ns.iri(ns.MARKING, item.id)))
        for case in base.cases:
            if items or parameter in case.asks:
                _update(digest, repr(case).encode(), self._place(ns.iri(ns.CASE, case.id)))
        for ruling in base.rulings:
            if ruling.parameter == parameter:
                due = today is not None and "" < ruling.review_by < today.isoformat()
                subject = ns.iri(ns.RULING, ruling.id)
                _update(digest, *self._told(subject), self._place(subject), b"due" if due else b"")
        return digest.hexdigest()

    def part(self, parameter: str) -> Store:
        """The part of one parameter. Raises `Uncut`."""
        claims, places = _read(self._pieces.get(parameter, ()))
        if parameter in self._with_lists:
            triples = self.parts.base.triples
            lists = [seq for subject in claims for p, seq in claims.pairs[subject] if p == TC.steps and seq in triples]
            for seq in lists:
                if _classes(triples, seq) != {RDF.Seq}:
                    raise Uncut
                claims.pairs[seq] = triples.pairs[seq]
        return self.parts.part(parameter, claims, places)

    def rest(self) -> Store:
        """What concerns no parameter."""
        return self.parts.rest()

    def _behind(self, sources: Iterable[str]) -> set[str]:
        """Sources with all that they derive from."""
        found = set(sources)
        todo = list(found)
        while todo:
            record = self.parts.base.sources.get(todo.pop())
            if record and (record.edition_of or record.compiled_from):
                behind = {record.edition_of, *record.compiled_from} - found
                found |= behind
                todo += behind
        return found

    def _source(self, name: str) -> bytes:
        known = self._sources.get(name)
        if known is None:
            record = self.parts.base.sources.get(name)
            told = repr((name, record and _FIELDS(record))).encode()
            known = self._sources[name] = b"%d:%b" % (len(told), told)
        return known

    @cached_property
    def _sources(self) -> dict[str, bytes]:
        return {}

    def _place(self, subject: URIRef) -> bytes:
        return str(self.parts.base.places.get(subject)).encode()

    def _told(self, subject: URIRef) -> list[bytes]:
        """What is said of a subject, and of lists that are named after it."""
        triples = self.parts.base.triples
        told: list[bytes] = []
        for predicate, value in sorted(triples.pairs[subject]):
            told += [predicate.encode(), value.n3().encode()]
            if value.startswith(subject) and value in triples:
                told += self._told(value)
        return told


def _digest(*parts: bytes) -> bytes:
    digest = blake2b()
    _update(digest, *parts)
    return digest.digest()


def _update(digest: Any, *parts: bytes) -> None:
    """Each part with its length, or two of them could be told as other two."""
    for part in parts:
        digest.update(b"%d:" % len(part))
        digest.update(part)


def _refuse_odd(head: bytes) -> None:
    """Prefixes have to mean what they mean everywhere here: a statement can be told by its first words then."""
    for line in head.split(b"\n"):
        found = _PREFIX.fullmatch(line)
        if line.startswith(b"#"):
            continue
        if found is None or PREFIXES.get(found[1].decode()) != found[2].decode(errors="replace"):
            raise Uncut


def _read(pieces: Iterable[_Piece]) -> tuple[Triples, dict[URIRef, Place]]:
    """Read pieces, those of like prefixes in one go."""
    by_head: dict[bytes, list[_Piece]] = {}
    for piece in pieces:
        by_head.setdefault(piece[1], []).append(piece)
    triples = Triples()
    places: dict[URIRef, Place] = {}
    for head, alike in by_head.items():
        read = plain_triples_of(b"\n\n".join([head, *(text for _, _, _, text in alike)]) + b"\n")
        if read is None or not triples.pairs.keys().isdisjoint(read[0].pairs):
            raise Uncut
        triples.update(read[0])
        _place(read[1], head, alike, places)
    return triples, places


def _place(lines: Lines, head: bytes, pieces: list[_Piece], places: dict[URIRef, Place]) -> None:
    """Where each subject stands, given its line in the joined text of some pieces."""
    at, end, number = 0, head.count(b"\n") + 1, -1
    name, first = "", 0
    for subject, line in lines.items():
        while line > end:
            number += 1
            at = end + 2
            name, _, first, text = pieces[number]
            end = at + text.count(b"\n")
        places[subject] = Place(name, first + line - at)


def _classes(triples: Triples, subject: URIRef) -> set[Any]:
    return {value for predicate, value in triples.pairs[subject] if predicate is _TYPE}


def _refuse_others(read: Triples, vocabulary: Triples, claims: set[bytes]) -> None:
    """The rest may hold records, but nothing of the vocabulary and nothing more about a claim that was taken out."""
    for subject in read:
        classes = _classes(read, subject)
        if not classes or not classes <= _RECORDS or subject in vocabulary:
            raise Uncut
    for subject in (*read, *vocabulary):
        if subject.startswith(ns.CLAIM) and ns.local(subject, ns.CLAIM).encode() in claims:
            raise Uncut
