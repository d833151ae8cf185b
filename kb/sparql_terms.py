"""Terms in what a SPARQL service is asked and in what it answers (SPARQL 1.1 Query Results JSON Format)."""

import json
import re
from fractions import Fraction
from typing import Any

from rdflib import Literal, URIRef
from rdflib.namespace import RDF, XSD

from trayconcord.kb.canonical import escaped
from trayconcord.kb.literals import number_literal, number_of

Term = URIRef | Literal
Row = dict[str, Term]
"""One solution: the terms of the variables that are bound."""

_IRI = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:[^\x00-\x20<>\"{}|\\^`]*")


class Nonsense(ValueError):
    """An answer that is no table of terms that a store can hold."""


def iri_text(iri: URIRef) -> str:
    """An IRI in a query. Raises `Nonsense` for text that is no absolute IRI, which could end it and go on as query."""
    if not _IRI.fullmatch(iri):
        raise Nonsense(f"<{' '.join(iri.split())[:80]}> is no IRI")
    return f"<{iri}>"


def triple_text(triple: tuple[Any, Any, Any]) -> str:
    """A triple in ``INSERT DATA``."""
    subject, predicate, value = triple
    shown = iri_text(value) if isinstance(value, URIRef) else _literal_text(value)
    return f"{iri_text(subject)} {iri_text(predicate)} {shown} ."


def _literal_text(literal: Literal) -> str:
    """Some processors resolve ``\\u`` before they look for quotes, so one that is meant as text is kept from them."""
    parts = re.split(r"(?<=\\)([uU])", str(literal))
    text = "".join(f"\\u00{ord(part):X}" if number % 2 else escaped(part) for number, part in enumerate(parts))
    if literal.language:
        return f'"{text}"@{literal.language}'
    return f'"{text}"' if literal.datatype is None else f'"{text}"^^{iri_text(literal.datatype)}'


def rows_of(data: bytes) -> list[Row]:
    """The rows of a result document. Raises `Nonsense`."""
    try:
        document = json.loads(data.decode())
    except UnicodeDecodeError:
        raise Nonsense("it is not UTF-8 text") from None
    except (ValueError, RecursionError):
        raise Nonsense("it is no JSON, or cut short") from None
    results = document.get("results") if isinstance(document, dict) else None
    bindings = results.get("bindings") if isinstance(results, dict) else None
    if not isinstance(bindings, list):
        raise Nonsense("it is JSON without result bindings")
    known: dict[str, URIRef] = {}
    literals: dict[tuple[str, str | None, str | None], Literal] = {}
    rows = []
    for binding in bindings:
        if not isinstance(binding, dict):
            raise Nonsense("a row that is no object")
        rows.append({name: _term(value, known, literals) for name, value in binding.items()})
    return rows


def _term(shown: Any, known: dict[str, URIRef], literals: dict[tuple[str, str | None, str | None], Literal]) -> Term:
    """A term as it was shown; the same object for what was shown before, since most terms of a page come up again."""
    kind, text = (shown.get("type"), shown.get("value")) if isinstance(shown, dict) else (None, None)
    if not isinstance(text, str):
        raise Nonsense("a term without a value")
    if kind == "uri":
        return known.get(text) or _iri(text, known)
    if kind == "bnode":
        raise Nonsense("a blank node; give the resource an IRI of its own")
    if kind not in ("literal", "typed-literal"):
        raise Nonsense(f"a term of type {str(kind)[:40]}")
    language, datatype = shown.get("xml:lang"), shown.get("datatype")
    if not isinstance(language, str | None) or not isinstance(datatype, str | None):
        raise Nonsense("a literal whose language or datatype is no text")
    key = (text, language, datatype)
    found = literals.get(key)
    if found is None:
        found = literals[key] = _shown_literal(text, language, datatype, known)
    return found


def _shown_literal(text: str, language: str | None, datatype: str | None, known: dict[str, URIRef]) -> Literal:
    _refuse_half_characters(text)
    if language:
        return _literal(text, None, language)
    if datatype in (None, str(XSD.string), str(RDF.langString)):
        return _literal(text, None, None)
    return settled(_literal(text, _iri(datatype, known), None))


def _refuse_half_characters(text: str) -> None:
    if not text.isascii() and any("\ud800" <= sign <= "\udfff" for sign in text):
        raise Nonsense("half a character")


def _iri(text: str, known: dict[str, URIRef]) -> URIRef:
    if text not in known:
        _refuse_half_characters(text)
        if not _IRI.fullmatch(text):
            raise Nonsense(f"<{' '.join(text.split())[:80]}> is no IRI")
        known[text] = URIRef(text)
    return known[text]


def _literal(text: str, datatype: URIRef | None, language: str | None) -> Literal:
    if datatype == XSD.decimal and "e" in text.casefold():  # rdflib would write out its digits, be they a million
        raise Nonsense(f"{text[:40]} is no decimal")
    try:
        return Literal(text, datatype=datatype, lang=language)
    except ValueError:
        raise Nonsense(f"{(language or text)[:40]!a} is no language tag or no value of its type") from None


def settled(literal: Literal) -> Literal:
    """A literal in the form in which the store writes it: services may print a number otherwise than it was given."""
    if literal.datatype != XSD.decimal:
        return literal
    try:
        number: Fraction = number_of(literal)
    except ValueError:
        return literal
    return number_literal(number)
