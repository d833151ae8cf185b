"""How a store lies in a SPARQL service: one named graph per document, and a catalogue of them.

The graph of ``sources/x.ttl`` is ``<https://w3id.org/trayconcord/graph/sources/x>``. Beside the triples of the document
it says on which line each subject stands, so that findings can name the line; and how a literal was spelt where a
service might print it otherwise. The retired ids of all layers, in their order, lie in one graph more. The catalogue, a
graph of its own, holds the name, the number of triples and the hash of each of the other graphs.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import PurePath
from urllib.parse import quote, unquote

from rdflib import Graph, Literal, URIRef
from rdflib.namespace import DCTERMS, RDF, VOID, XSD

from trayconcord.kb.canonical import canonical_hash
from trayconcord.kb.namespaces import BASE, TC
from trayconcord.kb.sparql_terms import Row, Term, settled
from trayconcord.kb.store import FOLDERS
from trayconcord.kb.turtle import Lines

GRAPHS = BASE + "graph/"
CATALOGUE = URIRef(GRAPHS + "catalogue")
RETIRED = URIRef(GRAPHS + "retired-ids")

BOOKKEEPING = {TC.line, TC.spelling}
"""What a graph says beside the triples of its document."""

_PRINTED_ALIKE = {
    XSD.integer: re.compile(r"0|-?[1-9][0-9]{0,14}"),
    XSD.boolean: re.compile("true|false"),
    XSD.date: re.compile("[1-9][0-9]{3}-[0-9]{2}-[0-9]{2}"),
    XSD.gYear: re.compile("[1-9][0-9]{3}"),
}
"""What no service has a reason to print otherwise."""

Triple = tuple[URIRef, URIRef, Term]


@dataclass(frozen=True, slots=True)
class Published:
    """A graph as the catalogue has it: the name of its document as shown to people, its triples and their hash."""

    name: str
    triples: int
    hash: str


def graph_of(folder: str, file: str) -> URIRef:
    """The graph of a document, by its folder and file name within a store."""
    return URIRef(f"{GRAPHS}{folder}/{quote(file.removesuffix('.ttl'), safe='')}")


def document_of(graph: URIRef) -> tuple[str, str] | None:
    """Folder and file name of the document that lies in a graph; None for a graph that is not ours."""
    folder, _, file = graph.removeprefix(GRAPHS).partition("/")
    ours = graph.startswith(GRAPHS) and folder in FOLDERS and file and "/" not in file
    return (folder, f"{unquote(file)}.ttl") if ours else None


def reading_rank(name: str) -> tuple[int, str, str]:
    """Where a document stands in the order of loading; others come after those of a store."""
    path = PurePath(name)
    folder = path.parent.name
    return (FOLDERS.index(folder) if folder in FOLDERS else len(FOLDERS), path.name, name)


def with_bookkeeping(graph: Graph, lines: Lines) -> Graph:
    """Add to the graph of a document what is kept beside its triples."""
    for subject, predicate, value in list(graph):
        if isinstance(value, Literal) and not _is_printed_alike(value):
            assert isinstance(predicate, URIRef)
            graph.add((subject, TC.spelling, Literal(_spelling(predicate, value))))
    for subject, line in lines.items():
        graph.add((subject, TC.line, Literal(line)))
    return graph


def entry(name: str, graph: Graph) -> Published:
    """What the catalogue says of a graph."""
    return Published(name, len(graph), canonical_hash(graph))


def entry_triples(graph: URIRef, published: Published) -> list[Triple]:
    """The entry of a graph in the catalogue."""
    return [
        (graph, RDF.type, VOID.Dataset),
        (graph, DCTERMS.identifier, Literal(published.name)),
        (graph, VOID.triples, Literal(published.triples)),
        (graph, TC.storeHash, Literal(published.hash)),
    ]


def entries(rows: Iterable[Row]) -> dict[URIRef, Published]:
    """The entries among the triples of a catalogue (s, p, o); what is no whole entry for a graph of ours is left."""
    about: dict[URIRef, dict[Term, str]] = {}
    for row in rows:
        subject = row["s"]
        if isinstance(subject, URIRef) and (subject == RETIRED or document_of(subject)):
            about.setdefault(subject, {})[row["p"]] = str(row["o"])
    found = {}
    for graph, said in about.items():
        name, number, sha = said.get(DCTERMS.identifier), said.get(VOID.triples, ""), said.get(TC.storeHash)
        if name and sha and number.isascii() and number.isdigit():
            found[graph] = Published(name, int(number), sha)
    return found


def _is_printed_alike(literal: Literal) -> bool:
    """Whether a service may be trusted to print a literal as it was given, or as `settled` makes it."""
    if literal.language:
        return bool(literal.language == literal.language.lower())
    if literal.datatype is None or not literal.datatype.startswith(str(XSD)):
        return True
    if literal.datatype == XSD.decimal:
        return literal.value is not None and settled(literal) == literal
    form = _PRINTED_ALIKE.get(literal.datatype)
    return form is not None and form.fullmatch(literal) is not None


def _spelling(predicate: URIRef, literal: Literal) -> str:
    kind = f"@{literal.language}" if literal.language else str(literal.datatype)
    return f"{predicate}\n{kind}\n{literal}"


def respelt(triples: set[Triple], spellings: Iterable[tuple[URIRef, str]]) -> set[Triple]:
    """The triples with literals as they were first spelt, wherever one of the same value still stands."""
    result = set(triples)
    for subject, text in spellings:
        predicate, kind, spelt = [*text.split("\n", 2), "", ""][:3]
        try:
            first = Literal(spelt, lang=kind[1:]) if kind.startswith("@") else Literal(spelt, datatype=URIRef(kind))
        except ValueError:
            continue
        alike = [triple for triple in triples if triple[:2] == (subject, URIRef(predicate)) and _same(triple[2], first)]
        for triple in alike:
            result.discard(triple)
            result.add((triple[0], triple[1], first))
    return result


def _same(value: Term, first: Literal) -> bool:
    """Whether two literals say the same in the same type."""
    if not isinstance(value, Literal) or (value.datatype or XSD.string) != (first.datatype or XSD.string):
        return False
    if first.language:
        return (value.language or "").lower() == first.language.lower() and str(value) == str(first)
    return str(value) == str(first) or (value.value is not None and bool(value.value == first.value))
