"""Turtle that is laid out plainly, read line by line: some twenty times faster than by rdflib.

Files are written in a canonical form in which each line says one thing, and most lines come up again and again: what a
line says is worked out once. The language read here is a part of Turtle so small that nothing in it can be read in two
ways: no line begins in the middle of a string, a full stop ends a line. Whatever goes beyond it, or is wrong, is not
read here at all: `read_plain` gives None, and rdflib reads the document, or tells what is the matter with it. Literals
with a datatype are put to rdflib too, once each.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from io import BytesIO

from rdflib import Literal, URIRef
from rdflib.namespace import RDF
from rdflib.term import Node

from trayconcord.kb.namespaces import interned
from trayconcord.kb.signs import UNUSABLE
from trayconcord.kb.triples import Pair, Triples

_IRI = r"<(https?://[!#-;=?-\[\]_a-z~]*)>"
_NAME = r"([A-Za-z][A-Za-z0-9-]*):([A-Za-z_][A-Za-z0-9_-]*)"
_STRING = r'"(?:[^"\\\x00-\x1f]|\\["\\])*"'
_TYPED = rf"{_STRING}(?:@[A-Za-z]+(?:-[A-Za-z0-9]+)*|\^\^(?:{_IRI}|{_NAME}))|[+-]?[0-9]+(?:\.[0-9]+)?|true|false"
_TOKEN = re.compile(rf" *(?:{_IRI}|{_NAME}|({_STRING})|([;,.])|(a)|({_TYPED}))(?=[ ,]|$)")
_TAGGED = re.compile(rf"({_STRING})@([A-Za-z]+(?:-[A-Za-z0-9]+)*)")
_PREFIX = re.compile(rf"@prefix ([A-Za-z][A-Za-z0-9-]*): {_IRI} \.")
_SUBJECT = re.compile(rf"(?:{_IRI}|{_NAME})(?= )".encode())

REMEMBERED = 100_000
"""Lines whose meaning is remembered at a time."""

LiteralReader = Callable[[str, dict[str, str]], Node]
"""Reads a literal, given the prefixes; raises ValueError where it cannot."""

Memory = dict[frozenset[tuple[str, str]], "_Known"]
"""What the lines and terms of documents say, by the prefixes under which they say it; documents that are read one after
the other share it, since they say the same again and again."""

_Said = tuple[tuple[Pair, ...], str]
"""What a line says of its subject, and the sign that it ends in."""


class _NotPlain(Exception):
    """The document goes beyond what is read here."""


@dataclass(slots=True)
class _Known:
    terms: dict[str, Node] = field(default_factory=dict)
    lines: dict[bytes, _Said] = field(default_factory=dict)


def read_plain(
    data: bytes, literal: LiteralReader, memory: Memory | None = None
) -> tuple[Triples, dict[URIRef, int]] | None:
    """The triples of a document, and the line on which each subject first stands; None if it is not plain."""
    try:
        return _Reader(literal, {} if memory is None else memory).read(data)
    except (_NotPlain, ValueError):  # bytes that are no text are a ValueError as well
        return None


class _Reader:
    """One document."""

    def __init__(self, literal: LiteralReader, memory: Memory) -> None:
        self.literal, self.memory = literal, memory
        self.prefixes: dict[str, str] = {}
        self.known = _Known()

    def read(self, data: bytes) -> tuple[Triples, dict[URIRef, int]]:
        triples = Triples()
        lines: dict[URIRef, int] = {}
        pairs, remembered = triples.pairs, self.known.lines
        said: list[Pair] = []
        sign = "."
        for number, line in enumerate(BytesIO(data), start=1):
            if sign == ".":
                if line == b"\n":
                    continue
                found = _SUBJECT.match(line)
                if found is None:
                    self._between(line, bool(pairs))
                    continue
                if not pairs:  # the prefixes are settled
                    self.known = self.memory.setdefault(frozenset(self.prefixes.items()), self.known)
                    remembered = self.known.lines
                subject = self._subject(found)
                if subject in pairs:
                    said = pairs[subject]
                else:
                    said = pairs[subject] = []
                    lines[subject] = number
                line = line[found.end() :]
            elif sign == ",":
                told, sign = self._line(line, said[-1][0])
                said += told
                continue
            known = remembered.get(line)
            if known is None:
                if len(remembered) == REMEMBERED:
                    remembered.clear()
                known = remembered[line] = self._line(line, None)
            said += known[0]
            sign = known[1]
        if sign != ".":
            raise _NotPlain
        return triples, lines

    def _between(self, line: bytes, begun: bool) -> None:
        """A line that begins no statement: empty, a comment, or a prefix before the first statement."""
        text = line.decode().rstrip("\n")
        prefix = _PREFIX.fullmatch(text)
        if prefix and not begun and self.prefixes.setdefault(prefix[1], prefix[2]) == prefix[2]:
            return
        if not re.fullmatch(r" *(?:#[^\x00-\x1f]*)?", text):
            raise _NotPlain

    def _subject(self, found: re.Match[bytes]) -> URIRef:
        iri, prefix, local = found.groups()
        text = iri.decode() if iri else self._expanded(prefix.decode(), local.decode())
        return str.__new__(URIRef, text)  # the pattern lets nothing through that URIRef would warn of

    def _expanded(self, prefix: str, local: str) -> str:
        if prefix not in self.prefixes:
            raise _NotPlain
        return self.prefixes[prefix] + local

    def _line(self, line: bytes, predicate: URIRef | None) -> _Said:
        """What a line says after its subject. It begins with a verb, or is given the one that it goes on with."""
        text = line.decode().rstrip("\n")
        told: list[Pair] = []
        at, wanted, sign = 0, "verb" if predicate is None else "object", ""
        while at < len(text):
            found = _TOKEN.match(text, at)
            if found is None:
                raise _NotPlain
            at, sign = found.end(), found[5] or ""
            if bool(sign) != (wanted == "sign") or (sign == "." and at < len(text)):
                raise _NotPlain
            if wanted == "sign":
                wanted = "verb" if sign == ";" else "object"
            elif wanted == "verb":
                predicate = self._verb(found)
                wanted = "object"
            else:
                assert predicate is not None
                told.append((predicate, self._object(found)))
                wanted = "sign"
        if not sign:
            raise _NotPlain
        return tuple(told), sign

    def _verb(self, found: re.Match[str]) -> URIRef:
        if found[6]:
            return interned(RDF.type)
        if not (found[1] or found[2]):
            raise _NotPlain
        return interned(found[1] or self._expanded(found[2], found[3]))

    def _object(self, found: re.Match[str]) -> Node:
        token = found[0].strip()
        term = self.known.terms.get(token)
        if term is not None:
            return term
        if found[4]:
            return Literal(_unescaped(token))
        if found[6]:
            raise _NotPlain
        tagged = _TAGGED.fullmatch(token) if found[7] else None
        if tagged:
            term = Literal(_unescaped(tagged[1]), lang=tagged[2])
        elif found[7]:
            term = self.literal(token, self.prefixes)
        else:
            term = URIRef(found[1] or self._expanded(found[2], found[3]))
        self.known.terms[token] = term
        return term


def _unescaped(string: str) -> str:
    """The text of a string in quotes, in which only quotes and backslashes are escaped."""
    if UNUSABLE.search(string):
        raise _NotPlain
    return re.sub(r"\\(.)", r"\1", string[1:-1]) if "\\" in string else string[1:-1]
