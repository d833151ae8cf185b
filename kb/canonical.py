"""The canonical form and hash of a graph: RDFC-1.0 for graphs that hold no blank node, as all of ours do."""

import hashlib
from collections.abc import Iterable
from typing import Any

from rdflib import BNode, Literal, URIRef
from rdflib.namespace import XSD
from rdflib.term import Node

_ESCAPES = {"\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r", '"': '\\"', "\\": "\\\\"}


def canonical_nquads(graph: Iterable[Any]) -> str:
    """Sorted canonical N-Quads (RDF Dataset Canonicalization, W3C 2024). Raises ValueError on a blank node."""
    return "".join(sorted(f"{term_text(s)} {term_text(p)} {term_text(o)} .\n" for s, p, o in graph))


def canonical_hash(graph: Iterable[Any]) -> str:
    """The SHA-256 of the canonical N-Quads, in hexadecimal."""
    return hashlib.sha256(canonical_nquads(graph).encode()).hexdigest()


def term_text(term: Node) -> str:
    """A term in canonical N-Quads. Raises ValueError on a blank node."""
    if isinstance(term, BNode):
        raise ValueError("a graph with blank nodes needs the full algorithm")
    if isinstance(term, URIRef):
        return f"<{term}>"
    assert isinstance(term, Literal)
    text = f'"{escaped(str(term))}"'
    if term.language:
        return f"{text}@{term.language}"
    if term.datatype is None or term.datatype == XSD.string:
        return text
    return f"{text}^^<{term.datatype}>"


def escaped(text: str) -> str:
    """Text as it stands between the quotes of a literal in canonical N-Quads."""
    return "".join(_ESCAPES.get(sign) or _control(sign) for sign in text)


def _control(sign: str) -> str:
    return f"\\u{ord(sign):04X}" if ord(sign) < 0x20 or ord(sign) == 0x7F else sign
