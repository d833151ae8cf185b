"""Turtle: reading with the line of every subject, and writing in one canonical form."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import Any

from rdflib import Graph, URIRef
from rdflib.namespace import RDF
from rdflib.plugins.parsers.notation3 import BadSyntax, RDFSink, SinkParser
from rdflib.plugins.serializers.turtle import TurtleSerializer
from trayconcord.kb.errors import Complaint, Place, UnusableInput
from trayconcord.kb.namespaces import BASE, PREFIXES, SOURCE, TC

Lines = dict[URIRef, int]
"""The line on which each subject first stands."""


class _Blank(Exception):
    pass


class _LineSink(RDFSink):
    """rdflib's Turtle sink, noting where each subject starts. An internal interface: a canary test watches it."""

    parser: SinkParser

    def __init__(self, graph: Graph, lines: Lines) -> None:
        super().__init__(graph)
        self.where = lines

    def makeStatement(self, quadruple: Any, why: Any = None) -> None:
        subject = quadruple[2]
        if subject not in self.where:
            self.where[subject] = self.parser.lines + 1
        super().makeStatement(quadruple, why)

    def newBlankNode(self, *args: Any, **kwargs: Any) -> Any:
        raise _Blank


def read_turtle(data: bytes, name: str, graph: Graph) -> Lines:
    """Add the triples of a Turtle document to a graph. Raises `UnusableInput` at the offending line."""
    lines: Lines = {}
    sink = _LineSink(graph, lines)
    parser = SinkParser(sink, baseURI=BASE, turtle=True)
    sink.parser = parser
    try:
        parser.loadStream(BytesIO(data))
    except _Blank:
        place = Place(name, parser.lines + 1)
        raise UnusableInput([Complaint(place, "a blank node", "give the resource an IRI of its own")]) from None
    except BadSyntax as error:
        reason = str(getattr(error, "_why", "")) or "not Turtle"
        raise UnusableInput(
            [Complaint(Place(name, error.lines + 1), f"Turtle syntax: {reason}", "mend the syntax")]
        ) from None
    except (ValueError, UnicodeDecodeError, RecursionError, AssertionError, IndexError) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise UnusableInput([Complaint(Place(name, parser.lines + 1), f"Turtle: {reason}", "mend the file")]) from None
    return lines


@contextmanager
def bulk() -> Iterator[None]:
    """Hold the garbage collector while many small objects are made that all stay."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


class _CanonicalTurtle(TurtleSerializer):
    """The same triples as the same bytes: the source's record first, then every subject by IRI."""

    predicateOrder = [  # noqa: RUF012 (declared so by rdflib)
        RDF.type,
        TC.parameter,
        *(RDF[f"_{number}"] for number in range(1, 100)),
    ]

    def orderSubjects(self) -> list[Any]:
        return sorted(self._subjects, key=lambda subject: (not str(subject).startswith(SOURCE), str(subject)))


def write_turtle(graph: Graph) -> bytes:
    """The canonical Turtle of a graph without blank nodes."""
    plain = Graph(bind_namespaces="none")
    for prefix, namespace in PREFIXES.items():
        plain.bind(prefix, namespace)
    for triple in graph:
        plain.add(triple)
    stream = BytesIO()
    _CanonicalTurtle(plain).serialize(stream)
    return stream.getvalue().rstrip(b"\n") + b"\n"
