"""Turtle in any usual layout, parsed by pyoxigraph where it is installed (the extra ``fast``): the same, only sooner.

Two parsers of Turtle do not agree on everything: rdflib reads much that is no Turtle, writes numbers out, and tells
mistakes in words of its own. So a scan of the whole text comes first, by one pattern that knows only such signs as both
surely read the same; it also finds the line of every subject, which pyoxigraph does not tell. Only a document that the
scan gets through is parsed, and its subjects must then come in the order in which the scan saw them. Whatever goes
beyond that, or is wrong, is declined: `read_native` gives None, and rdflib reads the document from its beginning.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from importlib import import_module
from typing import Any

from rdflib import Literal, URIRef
from rdflib.namespace import XSD

from trayconcord.kb.namespaces import BASE, interned
from trayconcord.kb.signs import UNUSABLE
from trayconcord.kb.triples import Pair, Triples

LARGE = 30_000
"""Bytes that rdflib reads in the time in which pyoxigraph is imported; it pays beyond them."""

REMEMBERED = 100_000
"""Pairs of predicate and object that are remembered at a time."""

LiteralMaker = Callable[[str, URIRef | None, str | None], Literal]
"""Makes a literal of signs, datatype and language, as the sink of rdflib's parser does; ValueError if it may not."""

# --- what both parsers read the same ---------------------------------------------------------------------------------

_XSD = str(XSD)
_SPACE = r"(?:[ \t\r\n]++|#[^\n]*+)"
_APART = r"(?=[ \t\r\n;,.])"
"""What a name or a number may touch, so that both parsers see the same end of it."""
_END = r"\.(?![^ \t\r\n#])"

_IN_IRI = r"[^\x00-\x20<>\"{}|\\^`/\x7f-\xa0]*+"
_ABSOLUTE = rf"<[A-Za-z][A-Za-z0-9+.-]*+:(?!\.){_IN_IRI}(?:/(?!\.\.?[/?#>]){_IN_IRI})*+>"  # no part is . or ..
_STEP = r"[A-Za-z0-9_~%-][A-Za-z0-9_~%.-]*+"
_RELATIVE = rf"<(?:{_STEP}(?:/{_STEP})*+/?+)?(?:#[A-Za-z0-9_~%.-]*+)?>"
"""Only what goes on from the base: with a colon, ``..`` or a query, rdflib has ways of its own."""
_IRI = rf"(?:{_ABSOLUTE}|{_RELATIVE})"

_LABEL = r"(?:[A-Za-z][A-Za-z0-9_-]*+)?"
_ODD = r"%[0-9A-Fa-f]{2}|\\[_~.\-!$&'()*+,;=/?#@%]"
_NAME = rf"{_LABEL}:(?:(?:[\w:]|{_ODD})(?:[\w:-]++|{_ODD}|\.++(?=[\w:%\\-]))*+)?+"

_ESCAPE = r"""\\(?:[tnr"'\\]|u(?![Dd][89A-Fa-f])[0-9A-Fa-f]{4}|U00(?:0[0-9A-Fa-f]|10)[0-9A-Fa-f]{4})"""
_STRING = "|".join(
    rf"{q}{q}{q}(?:[^{q}\\]++|{_ESCAPE}|{q}{q}?(?!{q}))*+{q}{q}{q}(?!{q})"
    rf"|{q}[^{q}\\\r\n]*+(?:{_ESCAPE}[^{q}\\\r\n]*+)*+{q}(?!{q})"
    for q in ('"', "'")
)
_TYPE = rf"(?!<{re.escape(_XSD)}string>){_ABSOLUTE}|{_LABEL}:(?!string\b)[A-Za-z0-9_]++{_APART}"
"""Never xsd:string, which rdflib tells from no datatype and pyoxigraph does not."""
_LITERAL = rf"(?:{_STRING})(?:@[A-Za-z]++(?:-[A-Za-z0-9]++)*+{_APART}|\^\^(?:{_TYPE}))?+"
_NUMBER = rf"(?:[+-]?(?:[0-9]{{0,100}}\.)?[0-9]{{1,100}}(?:[eE][+-]?[0-9]{{1,9}})?|true|false){_APART}"

_PART = rf"{_SPACE}|[;,]|{_NAME}{_APART}|a(?=[ \t\r\n])|{_IRI}|{_LITERAL}|{_NUMBER}"
_STATEMENT = re.compile(rf"{_SPACE}*+({_IRI}|{_NAME}(?=[ \t\r\n]))(?:{_PART})*+{_END}")
_CLOSED = rf"(?(1){_SPACE}*+{_END})"
_PREFIX = re.compile(
    rf"{_SPACE}*+(?:(@prefix)|(?i:prefix))[ \t\r\n]{_SPACE}*+({_LABEL}):{_SPACE}*+({_IRI}){_CLOSED}", re.ASCII
)
_BASE = re.compile(rf"{_SPACE}*+(?:(@base)|(?i:base))[ \t\r\n]{_SPACE}*+({_IRI}){_CLOSED}", re.ASCII)
_REST = re.compile(rf"{_SPACE}*+\Z")

_BASE_WITH_PATH = re.compile(r"https?://[^/?#]+/[^?#]*")
_LONE_RETURN = re.compile(r"\r(?!\n)")
"""It ends a comment for pyoxigraph only."""
_LANGUAGE = re.compile(r"[\"']@([A-Za-z0-9-]+)")


class _Declined(Exception):
    """The document goes beyond what is surely read the same."""


def read_native(data: bytes, literal: LiteralMaker) -> tuple[Triples, dict[URIRef, int]] | None:
    """The triples of a document, and the line on which each subject first stands; None if it is left to rdflib."""
    try:
        pyoxigraph: Any = import_module("pyoxigraph")
        turtle = pyoxigraph.RdfFormat.TURTLE
    except (ImportError, AttributeError):  # it is not there, or of another age
        return None
    try:
        text = data.decode("utf-8-sig")
        runs = _subjects(text)
        quads = pyoxigraph.parse(text, turtle, base_iri=BASE)
        return _taken_over(quads, runs, _Terms(_languages(text), literal))
    except (_Declined, SyntaxError, ValueError, KeyError):  # bytes that are no text, a language spelt in a third way
        return None


def _subjects(text: str) -> list[tuple[str, int]]:
    """The subject and line of every statement that does not go on with the subject before it."""
    if UNUSABLE.search(text) or _LONE_RETURN.search(text):
        raise _Declined
    runs: list[tuple[str, int]] = []
    prefixes: dict[str, str] = {}
    base, token, subject = str(BASE), "", ""
    at, line, counted = 0, 1, 0
    while found := _STATEMENT.match(text, at) or _PREFIX.match(text, at) or _BASE.match(text, at):
        at = found.end()
        if found.re is _PREFIX:
            prefixes[found[2]] = _namespace(found[3], base)
            token = ""
        elif found.re is _BASE:
            base = _resolved(found[2], base)
            if not _BASE_WITH_PATH.fullmatch(base):
                raise _Declined
            token = ""
        elif found[1] != token:
            token = found[1]
            iri = _resolved(token, base) if token[0] == "<" else _expanded(token, prefixes)
            if iri != subject:
                subject = iri
                line += text.count("\n", counted, found.start(1))
                counted = found.start(1)
                runs.append((subject, line))
    if not _REST.match(text, at):
        raise _Declined
    return runs


def _resolved(reference: str, base: str) -> str:
    """The IRI that a reference in angle brackets means."""
    reference = reference[1:-1]
    if ":" in reference:
        return reference
    return (base if reference[:1] in ("", "#") else base[: base.rindex("/") + 1]) + reference


def _namespace(reference: str, base: str) -> str:
    """The IRI of a prefix; not one with which a name could mean xsd:string in a way that `_TYPE` does not see."""
    namespace = _resolved(reference, base)
    if namespace.startswith(_XSD) and namespace != _XSD:
        raise _Declined
    return namespace


def _expanded(name: str, prefixes: dict[str, str]) -> str:
    """The IRI that a prefixed name means."""
    prefix, _, local = name.partition(":")
    if prefix not in prefixes:
        raise _Declined
    return prefixes[prefix] + (re.sub(r"\\(.)", r"\1", local) if "\\" in local else local)


def _languages(text: str) -> dict[str, str]:
    """How each language tag is spelt, by its small letters, in which pyoxigraph gives it."""
    spelt: dict[str, str] = {}
    for tag in set(_LANGUAGE.findall(text)):
        if spelt.setdefault(tag.lower(), tag) != tag:
            raise _Declined
    return spelt


class _Terms:
    """The terms of rdflib for those of pyoxigraph."""

    def __init__(self, languages: dict[str, str], literal: LiteralMaker) -> None:
        self.languages, self.literal = languages, literal

    def pair(self, quad: Any) -> Pair:
        """Predicate and object of a parsed triple."""
        term = quad.object
        value: str = term.value
        datatype = getattr(term, "datatype", None)
        if datatype is None:  # not a literal: an IRI, for the scan lets nothing else through
            return interned(quad.predicate.value), URIRef(value)
        language = term.language and self.languages[term.language.lower()]
        kind = None if language or datatype.value == f"{_XSD}string" else URIRef(datatype.value)
        return interned(quad.predicate.value), self.literal(value, kind, language)


def _taken_over(quads: Iterable[Any], runs: list[tuple[str, int]], terms: _Terms) -> tuple[Triples, dict[URIRef, int]]:
    """The parsed triples as ours. Their subjects must be those of the scan."""
    triples = Triples()
    lines: dict[URIRef, int] = {}
    remembered: dict[str, Pair] = {}
    expected: Iterator[tuple[str, int]] = iter(runs)
    said: list[Pair] = []
    current = ""
    for quad in quads:
        subject, _, rest = str(quad).partition("> ")
        if subject != current:
            current = subject
            iri, line = next(expected, ("", 0))
            if subject != f"<{iri}":
                raise _Declined
            name = str.__new__(URIRef, iri)  # the scan lets nothing through that URIRef would warn of
            lines.setdefault(name, line)
            said = triples.pairs.setdefault(name, [])
        pair = remembered.get(rest)
        if pair is None:
            if len(remembered) == REMEMBERED:
                remembered.clear()
            pair = remembered[rest] = terms.pair(quad)
        said.append(pair)
    if next(expected, None):
        raise _Declined
    return triples, lines
