"""Turtle: reading with the line of every subject, and writing in one canonical form."""

import gc
import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import Any

from rdflib import Graph, Literal, URIRef
from rdflib.namespace import RDF, XSD
from rdflib.plugins.parsers.notation3 import BadSyntax, RDFSink, SinkParser
from rdflib.plugins.serializers.turtle import TurtleSerializer
from rdflib.term import Node

from trayconcord.kb.errors import Complaint, Place, UnusableInput
from trayconcord.kb.namespaces import BASE, PREFIXES, SOURCE, TC
from trayconcord.kb.native_turtle import LARGE, read_native
from trayconcord.kb.plain_turtle import Memory, read_plain
from trayconcord.kb.signs import UNUSABLE
from trayconcord.kb.triples import Triples

_SPACE = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_NOT_IN_IRI = re.compile(r"[\x00-\x20<>\"{}|\\^`\x7f-\x9f\ud800-\udfff]")
_MARKUP = (RDF.XMLLiteral, RDF.HTML)

logging.getLogger("rdflib.term").setLevel(logging.CRITICAL)  # an ill-typed literal is told by a finding

Lines = dict[URIRef, int]
"""The line on which each subject first stands."""


class _Refused(Exception):
    """What Turtle allows and the store does not."""

    def __init__(self, message: str, fix: str) -> None:
        super().__init__(message)
        self.message, self.fix = message, fix


class _Sink(RDFSink):
    """rdflib's Turtle sink, refusing what the store cannot hold."""

    def newSymbol(self, *args: str) -> URIRef:
        if _NOT_IN_IRI.search(args[0]):
            shown = " ".join(args[0].encode("ascii", "backslashreplace").decode().split())[:80]
            raise _Refused(f"<{shown}> is no IRI", "write the IRI without spaces, quotes or brackets")
        return super().newSymbol(*args)

    def newLiteral(self, s: str, dt: URIRef | None, lang: str | None) -> Literal:
        if dt == XSD.decimal and "e" in s.casefold():  # rdflib would write out its digits, be they a million
            raise _Refused(f"{s[:40]} is no decimal", "write the number without an exponent")
        if dt in _MARKUP:  # rdflib would parse it
            raise _Refused("markup in a literal", "write plain text")
        if UNUSABLE.search(s):
            raise _Refused("a text with control characters or half a character", "remove them")
        return super().newLiteral(s, dt, lang)


class _FlatSink(_Sink):
    """A sink for records, each of which has an IRI."""

    def newBlankNode(self, *args: Any, **kwargs: Any) -> Any:
        raise _Refused("a blank node", "give the resource an IRI of its own")


class _Parser(SinkParser):
    """rdflib's Turtle parser, noting where each subject stands. An internal interface: a canary test watches it.

    rdflib counts a line twice where it looks at it twice, so lines are counted here, from positions in the text.
    """

    def __init__(self, text: str, graph: Graph | Triples, flat: bool) -> None:
        sink = _FlatSink if flat else _Sink
        super().__init__(sink(graph), baseURI=BASE, turtle=True)  # type: ignore[arg-type]  # it needs add() alone
        self.text, self.flat = text, flat
        self.lines_of: Lines = {}
        self._line, self._counted, self._at = 1, 0, 0

    @property
    def line(self) -> int:
        """The line that is being read."""
        return self.text.count("\n", 0, self._at) + 1

    def read(self) -> None:
        """Read the whole text."""
        self.loadBuf(self.text)

    def skipSpace(self, argstr: str, i: int) -> int:
        self._at = _SPACE.match(argstr, i).end()  # type: ignore[union-attr]
        return self._at if self._at < len(argstr) else -1

    def property_list(self, argstr: str, i: int, subj: Any) -> int:
        if self.flat and not isinstance(subj, URIRef):
            raise _Refused("a subject that is no IRI", "let every statement begin with an IRI")
        self._line += argstr.count("\n", self._counted, i)
        self._counted = i
        self.lines_of.setdefault(subj, self._line)
        return super().property_list(argstr, i, subj)


def new_graph() -> Graph:
    """An empty graph in memory, of the kind that is quickest to fill."""
    return Graph(store="SimpleMemory", bind_namespaces="none")


def triples_of(data: bytes, name: str, memory: Memory | None = None) -> tuple[Triples, Lines]:
    """The triples of a Turtle document with their lines, by the quickest way. Raises as `read_turtle` does.

    ``memory`` is what documents that are read one after the other share.
    """
    plain = plain_triples_of(data, memory)
    if plain is not None:
        return plain
    native = read_native(data, _made_literal) if len(data) > LARGE else None
    if native is not None:
        return native
    triples = Triples()
    return triples, read_turtle(data, name, triples)


def plain_triples_of(data: bytes, memory: Memory | None = None) -> tuple[Triples, Lines] | None:
    """The triples of a plainly laid out document with their lines; None if it is not plain."""
    return read_plain(data, _literal, memory)


def _literal(token: str, prefixes: dict[str, str]) -> Node:
    """A literal of a plain document, as rdflib reads it."""
    triples = Triples()
    parser = _Parser(f"<{BASE}> <{BASE}> {token} .", triples, flat=True)
    parser._bindings.update(prefixes)
    try:
        parser.read()
    except (_Refused, BadSyntax, AssertionError, IndexError) as error:
        raise ValueError(token) from error
    (_, _, literal), *_ = triples.triples()
    return literal  # type: ignore[no-any-return]


def _made_literal(text: str, datatype: URIRef | None, language: str | None) -> Literal:
    """A literal of a document that another parser reads, made and refused as in one that rdflib reads."""
    try:
        return _FlatSink(Triples()).newLiteral(text, datatype, language)  # type: ignore[arg-type]
    except _Refused as error:
        raise ValueError(text) from error


def read_turtle(data: bytes, name: str, graph: Graph | Triples, flat: bool = True) -> Lines:
    """Add the triples of a Turtle document to a graph, by rdflib's parser. Raises `UnusableInput` at the offending
    line.

    ``flat`` refuses blank nodes: records have none, shapes may.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        place = Place(name, data.count(b"\n", 0, error.start) + 1)
        raise UnusableInput([Complaint(place, "is not UTF-8 text", "save the file as UTF-8")]) from None
    parser = _Parser(text, graph, flat)
    try:
        parser.read()
    except _Refused as refused:
        place = Place(name, parser.line)
        raise UnusableInput([Complaint(place, refused.message, refused.fix)]) from None
    except BadSyntax as error:
        reason = str(getattr(error, "_why", "")) or "not Turtle"
        place = Place(name, parser.line)
        raise UnusableInput([Complaint(place, f"Turtle syntax: {reason}", "mend the syntax")]) from None
    except Exception as error:  # rdflib raises many kinds for bad Turtle
        known = isinstance(error, (ValueError, RecursionError)) and str(error)
        reason = str(error).splitlines()[0] if known else "cannot be read as Turtle; does it end too early?"
        place = Place(name, parser.line)
        raise UnusableInput([Complaint(place, f"Turtle syntax: {reason}", "mend the file")]) from None
    return parser.lines_of


@contextmanager
def bulk() -> Iterator[None]:
    """Hold the garbage collector while many small objects are made that all stay."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.freeze()  # and unfreeze: what was made counts as old, or the collector would look at all of it at once
            gc.enable()
            gc.unfreeze()


class _CanonicalTurtle(TurtleSerializer):
    """The same triples as the same bytes: the source's record first, then every subject by IRI."""

    predicateOrder = [  # noqa: RUF012 (declared so by rdflib)
        RDF.type,
        TC.parameter,
        *(RDF[f"_{number}"] for number in range(1, 100)),
    ]

    def __init__(self, graph: Graph) -> None:
        super().__init__(graph)
        self._names: dict[tuple[Node, bool], str | None] = {}

    def get_pname(self, uri: Node, gen_prefix: bool = True) -> str | None:
        key = (uri, gen_prefix)  # rdflib works a name out anew each time, which is half the cost of writing
        if key not in self._names:
            self._names[key] = super().get_pname(uri, gen_prefix)
        return self._names[key]

    def orderSubjects(self) -> list[Any]:
        return sorted(self._subjects, key=lambda subject: (not str(subject).startswith(SOURCE), str(subject)))


def write_turtle(graph: Graph) -> bytes:
    """The canonical Turtle of a graph without blank nodes."""
    plain = new_graph()
    for prefix, namespace in PREFIXES.items():
        plain.bind(prefix, namespace)
    for triple in graph:
        plain.add(triple)
    stream = BytesIO()
    _CanonicalTurtle(plain).serialize(stream)
    return stream.getvalue().rstrip(b"\n") + b"\n"
