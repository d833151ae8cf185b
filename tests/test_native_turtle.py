"""Turtle by pyoxigraph, held against rdflib's reading: what is read so is read the same; the rest is left."""

import random
import re
import sys

import pytest
from exactly import exactly
from hypothesis import given
from hypothesis import strategies as st
from literals import LITERALS
from rdflib import Graph, URIRef
from spoil import mutated

from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.namespaces import PREFIXES
from trayconcord.kb.native_turtle import read_native
from trayconcord.kb.store import shipped
from trayconcord.kb.triples import Triples
from trayconcord.kb.turtle import _made_literal, read_turtle, triples_of

ox = pytest.importorskip("pyoxigraph", reason="needs pyoxigraph, of the extra `fast`")

SHIPPED = sorted(shipped().glob("*/*.ttl"))
HEAD = (
    "@prefix a: <http://example.org/> .\n@prefix : <http://example.org/x#> .\n"
    "@prefix xsd: <http://www.w3.org/2001/XMLSchema#> .\n"
    "@prefix rdf: <http://www.w3.org/1999/02/22-rdf-syntax-ns#> .\n"
)


def read_alike(text: str | bytes) -> bool:
    """Whether a document is read natively; if it is, rdflib must read the same on the same lines."""
    data = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
    native = read_native(data, _made_literal)
    if native is None:
        return False
    triples = Triples()
    lines = read_turtle(data, "x.ttl", triples)
    assert exactly(native[0]) == exactly(triples)
    assert list(native[1].items()) == list(lines.items())
    return True


# --- the shipped files, as other programs lay them out ---------------------------------------------------------------


def written(data: bytes, form: object, prefixes: dict[str, str] | None = None) -> bytes:
    """A document as pyoxigraph writes it."""
    triples = [quad.triple for quad in ox.parse(data, ox.RdfFormat.TURTLE)]
    return bytes(ox.serialize(triples, format=form, prefixes=prefixes))


def relative(data: bytes) -> bytes:
    """IRIs from a base that is told midway."""
    text = re.sub(rb"<https://w3id\.org/trayconcord/([a-z0-9/#-]+)>", rb"<\1>", data)
    head, gap, rest = text.partition(b"\n\n")
    return head + gap + b"@base <https://w3id.org/trayconcord/> .\n" + rest


LAYOUTS = {
    "rdflib": lambda data: Graph().parse(data=data, format="turtle").serialize(format="turtle").encode(),
    "rdflib, long": lambda data: Graph().parse(data=data, format="turtle").serialize(format="longturtle").encode(),
    "rdflib, triples": lambda data: Graph().parse(data=data, format="turtle").serialize(format="nt").encode(),
    "pyoxigraph": lambda data: written(data, ox.RdfFormat.TURTLE),
    "pyoxigraph, prefixes": lambda data: written(data, ox.RdfFormat.TURTLE, {k: str(v) for k, v in PREFIXES.items()}),
    "pyoxigraph, triples": lambda data: written(data, ox.RdfFormat.N_TRIPLES),
    "one statement per line": lambda data: re.sub(rb"(?<=[;,])\n *", b"", data),
    "tabs and returns": lambda data: data.replace(b"    ", b"\t").replace(b"\n", b"\r\n"),
    "comments with full stops and quotes": lambda data: re.sub(rb"(?<=[;,.])\n", b'# . it\'s "odd" ; <a:\n\n', data),
    "prefixes as in SPARQL": lambda data: re.sub(rb"@(prefix [^\n]*) \.\n", rb"\1\n", data),
    "long strings": lambda data: re.sub(rb'(?<= )"((?:[^"\\]|\\.)+)"(?= |@|\^)', rb'"""\1"""', data),
    "signs by number": lambda data: data.decode().replace(" of ", " \\u006ff ").encode(),
    "a byte order mark": lambda data: b"\xef\xbb\xbf" + data,
    "IRIs from a base": relative,
}


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_shipped_files_are_read_natively_and_the_same_in_another_layout(layout) -> None:
    for path in SHIPPED[::6]:
        assert read_alike(layout(path.read_bytes())), path


@pytest.mark.slow
@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_every_shipped_file_in_every_layout(layout) -> None:
    for path in SHIPPED:
        assert read_alike(layout(path.read_bytes())), path


# --- one thing at a time ---------------------------------------------------------------------------------------------

READ = {
    "numbers": "a:x a:p 01, +1.0, -0, -0.0, .5, 00.10, 7 .",
    "exponents": 'a:x a:p 1e3, 1.50E-1, +.5e+0, -0e0, 1e999, "1e3"^^xsd:double .',
    "numbers as strings": 'a:x a:p "01"^^xsd:integer, "+1.0"^^xsd:decimal, " 1 "^^xsd:integer, "x"^^xsd:integer .',
    "doubles as strings": 'a:x a:p "1e3"^^xsd:double, "NaN"^^xsd:double, "1.50"^^xsd:float .',
    "yes and no": 'a:x a:p true, false, "true"^^xsd:boolean, "1"^^xsd:boolean, "TRUE"^^xsd:boolean .',
    "dates": 'a:x a:p "2026-05-12"^^xsd:date, "2026-05-12Z"^^xsd:date, "soon"^^xsd:date .',
    "languages in mixed case": 'a:x a:p "x"@de-AT, "y"@de-AT, "x"@EN, "x"@fr .',
    "escapes": r'a:x a:p "\t\n\r\"\'\\ \u0041\U0001F600", ' + r"'it\'s' .",
    "strings over lines": 'a:x a:p """one . a:z a:p 1 .\n"two" ""three"" \\"""" .\na:y a:p 1 .',
    "strings over lines in single quotes": "a:x a:p '''a'b''c\n\"\"\" ''', '''''' .\na:y a:p 1 .",
    "a full stop in a string, a comment in a string": 'a:x a:p "a . b", " # c", \'"\' . a:y a:p "\'" .',
    "comments": 'a:x # "one" .\n a:p # \'\'\' <\n 1 # .\n , 2 # last\n . # end\na:y a:p 1 .#',
    "little room": 'a:x a:p "x"@en,<http://e.org/>,"y";a <http://e.org/>.\n<x><p>"x".',
    "dots, colons and escapes in names": r"a:a.b a:b:c a:d\.e\~f, a:%20, a:, :, :x, a:1 .",
    "letters of all kinds": "a:größe a:p <http://example.org/größe>, '印象 \u2028' .",
    "prefixes that change": "a:x a:p a:y .\n@prefix a: <http://e.org/b#> .\na:x a:p a:y . PREFIX a: <c/> a:x a a:y .",
    "bases that change": "<x> <p> <> .\nbase <http://e.org/b/c>\n<x> <#p> <y/z#w> .\n@base <d/e> .\n<x> <p> <#> .",
    "a subject that comes again": "a:x a:p 1 .\na:x a:p 2 .\n<http://example.org/x> a:p 1 .\n:y a:p 1 .\n\na:x a:q 1 .",
    "semicolons": "a:x a:p 1 ;; a:q 2 ; .",
    "names that were keywords": "@prefix is: <http://e.org/> . @prefix base: <http://f.org/> . is:of base:a is:is .",
    "nothing": " # nothing",
}  # fmt: skip


@pytest.mark.parametrize("text", READ.values(), ids=READ)
def test_is_read_natively(text: str) -> None:
    assert read_alike(HEAD + text)


LEFT = {
    "a blank node": "a:x a:p [] .",
    "nested blank nodes": "a:x a:p [ a:q [ a:p 1 ] ] .",
    "a named blank node": "_:b a:p 1 .",
    "a collection": "a:x a:p ( 1 2 ) .",
    "an exponent in a decimal": 'a:x a:p "1e999999999"^^xsd:decimal .',
    "a long number": f"a:x a:p {'9' * 101} .",
    "a control character": 'a:x a:p "\x7f" .',
    "a control character by number": 'a:x a:p "\\u0007" .',
    "half a character": 'a:x a:p "\\uD83D\\uDE00" .',
    "markup": 'a:x a:p "<a/>"^^rdf:XMLLiteral .',
    "two spellings of a language": 'a:x a:p "x"@en, "x"@EN .',
    "a language with a direction": 'a:x a:p "x"@en--ltr .',
    "a string that says it is one": 'a:x a:p "x"^^xsd:string .',
    "a string that says so in full": 'a:x a:p "x"^^<http://www.w3.org/2001/XMLSchema#string> .',
    "a string that says so in two halves": '@prefix s: <http://www.w3.org/2001/XMLSchema#st> . a:x a:p "x"^^s:ring .',
    "a datatype apart": 'a:x a:p "x" ^^a:t .',
    "a language apart": 'a:x a:p "x" @en .',
    "four quotes": 'a:x a:p """x"""" .',
    "a hyphen that begins a name": "a:x a:-1 .",
    "a return that ends a comment": "# one \ra:x a:p 1 .\n",
    "an IRI with dots": "a:x a:p <http://e.org/../x> .",
    "a relative IRI that goes up": "a:x a:p <../x> .",
    "a relative IRI with a colon": "a:x a:p <x#y:z> .",
    "an IRI with a space": "a:x a:p <http://e.org/a b> .",
    "an IRI with an escape": "a:x a:p <http://e.org/\\u0041> .",
    "a base without a path": "@base <http://e.org> . a:x a:p <x> .",
    "a base that is no address": "@base <urn:x> . a:x a:p <#y> .",
    "a prefix with a dot": "@prefix is.a: <http://e.org/> . is.a:x a:p 1 .",
    "a full stop that touches": "a:x a:p 1.a:y a:p 1 .",
    "a literal as a subject": '"x" a:p 1 .',
    "no statement": "a:x .",
    "no end": "a:x a:p 1",
    "a string without an end": 'a:x a:p "x .\n',
    "an unknown prefix": "a:x a:p b:y .",
    "an unknown prefix of a subject": "b:x a:p a:y .",
    "a keyword of N3": "a:x is a:p of a:y .",
    "a path": "a:x!a:p a:p 1 .",
    "bytes that are no text": b'a:x a:p "\xff" .',
}


@pytest.mark.parametrize("text", LEFT.values(), ids=LEFT)
def test_is_left_to_rdflib(text: str | bytes) -> None:
    assert read_native(HEAD.encode() + (text.encode() if isinstance(text, str) else text), _made_literal) is None


# --- whatever the statements -----------------------------------------------------------------------------------------

PARTS = [
    *("a:x", "a:y", "<http://e.org/x>", "<x>", "<#>", "<>", ":", ":x", "a:a.b", r"a:a\.b", "a:%20", "a:é"),
    *("a", "1", "+.5", "01", "true", '"x"', "'x'", '"""x\n"y" """', '""', '"x"@en', '"x"@de-AT', r'"\u0041"'),
    *('"01"^^xsd:integer', '"1"^^<urn:t>', "1e3", r'"\n"', "1.", "True", '"x"^^xsd:string', r"'\ud800'", '"x"@'),
    *('"x"^^', "[", "]", "(", ")", ";", ",", ".", "# . \"'\n", "@prefix", "@base", "PREFIX a: <b/>\n", "b:x", "a:-x"),
    *("@prefix a: <#> .\n", "BASE <c/>\n", "is", "of", "=", "!", "^", "_:b", "<", ">", '"', "'", "\\", "\r", "\x85"),
    *("\ufeff", "{", "<<"),
]
gaps = st.sampled_from([" ", " ", "\n", "\t", "\r\n", "", " # it's .\n"])
soup = st.lists(st.tuples(st.sampled_from(PARTS) | st.text(max_size=3), gaps), max_size=12)
subjects = st.sampled_from(PARTS[:12])
spelt = st.sampled_from([part for part in PARTS[:28] if read_alike(f"{HEAD}a:x a:p {part} .")])
objects = st.one_of(spelt, LITERALS.map(lambda literal: literal.n3()), st.integers(0, 9).map(lambda n: f"a:x{n}"))
verbs = st.tuples(subjects | st.just("a"), st.lists(objects, min_size=1, max_size=3))
tidy = st.lists(st.tuples(subjects, st.lists(verbs, min_size=1, max_size=3)), max_size=4)


@given(soup)
def test_whatever_the_signs_both_read_the_same(parts: list[tuple[str, str]]) -> None:
    read_alike(HEAD + "".join(part + gap for part, gap in parts))


@given(tidy, st.randoms(use_true_random=False))
def test_whatever_the_layout_both_read_the_same(
    statements: list[tuple[str, list[tuple[str, list[str]]]]], dice: random.Random
) -> None:
    def gap() -> str:
        return dice.choice([" ", "\n", "\t ", "\r\n  ", " # it's . \"\n"])

    text = HEAD
    for subject, verbs in statements:
        said = [f"{verb}{gap()}{f'{gap()},{gap()}'.join(values)}" for verb, values in verbs]
        text += f"{subject}{gap()}{f'{gap()};{gap()}'.join(said)}{gap()}.{gap()}"
    tags = re.findall(r"[\"']@([A-Za-z-]+)", text)
    odd = re.search(r'\r(?!\n)|""""', text)  # rdflib may write a quotation mark before the three that end a string
    assert read_alike(text) or odd or len(set(tags)) > len({tag.lower() for tag in tags})


# --- with and without ------------------------------------------------------------------------------------------------


def outcome(data: bytes) -> object:
    """All that anybody could see of how a document is read."""
    try:
        triples, lines = triples_of(data, "x.ttl")
    except UnusableInput as error:
        return error.complaints
    return exactly(triples), list(lines.items())


@pytest.fixture
def with_and_without(monkeypatch: pytest.MonkeyPatch):
    """The outcomes for a document of any size and layout, with the extra and without it."""
    monkeypatch.setattr("trayconcord.kb.turtle.read_plain", lambda *_: None)
    monkeypatch.setattr("trayconcord.kb.turtle.LARGE", -1)

    def both(data: bytes) -> tuple[object, object]:
        there = outcome(data)
        with monkeypatch.context() as patch:
            patch.setitem(sys.modules, "pyoxigraph", None)
            return there, outcome(data)

    return both


@pytest.mark.parametrize("text", [*READ.values(), *LEFT.values()], ids=[*READ, *LEFT])
def test_the_extra_changes_neither_triples_nor_complaints(with_and_without, text: str | bytes) -> None:
    there, missing = with_and_without(HEAD.encode() + (text.encode() if isinstance(text, str) else text))
    assert there == missing


def seeds() -> list[bytes]:
    small = [path.read_bytes() for path in SHIPPED if path.stat().st_size < 2500][::3]
    return [layout(data) for layout in LAYOUTS.values() for data in small[:8]]


def spoilt_alike(with_and_without, numbers: range) -> tuple[int, int]:
    """How many spoilt documents were read natively, and how many not; the extra may change nothing for any."""
    good, counts = seeds(), [0, 0]
    for number in numbers:
        data = mutated(good, number)
        there, missing = with_and_without(data)
        assert there == missing, number
        counts[read_native(data, _made_literal) is None] += 1
    return counts[0], counts[1]


def test_spoilt_documents_are_read_or_refused_as_without_the_extra(with_and_without) -> None:
    assert min(spoilt_alike(with_and_without, range(300))) > 50


@pytest.mark.slow
def test_many_spoilt_documents_are_read_or_refused_as_without_the_extra(with_and_without) -> None:
    assert min(spoilt_alike(with_and_without, range(1000, 11_000))) > 2000


def test_only_a_large_document_that_is_not_plain_goes_to_pyoxigraph(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[int] = []
    monkeypatch.setattr("trayconcord.kb.turtle.read_native", lambda data, literal: seen.append(len(data)))
    line = "a:x a:p a:y . # why\n"
    for text in (line, line * 2000, line.replace(" # why", "") * 2000):
        triples_of((HEAD + text).encode(), "x.ttl")
    assert seen == [len(HEAD + line * 2000)]


@pytest.mark.parametrize("module", [None, object()], ids=["missing", "of another age"])
def test_without_pyoxigraph_everything_is_left(monkeypatch: pytest.MonkeyPatch, module: object) -> None:
    assert read_alike(HEAD + "a:x a:p 1 .")
    monkeypatch.setitem(sys.modules, "pyoxigraph", module)
    assert not read_alike(HEAD + "a:x a:p 1 .")


def test_subjects_that_the_scan_saw_otherwise_are_left(monkeypatch: pytest.MonkeyPatch) -> None:
    text = (HEAD + "a:x a:p 1 . a:y a:p 1 .").encode()
    x, y, z = ((f"http://example.org/{name}", 5) for name in "xyz")
    for runs, same in (([x, y], True), ([x], False), ([x, y, z], False), ([y, x], False), ([], False)):
        monkeypatch.setattr("trayconcord.kb.native_turtle._subjects", lambda text, runs=runs: runs)
        assert (read_native(text, _made_literal) is not None) == same


def test_more_pairs_than_are_remembered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("trayconcord.kb.native_turtle.REMEMBERED", 3)
    assert read_alike(HEAD + "".join(f"a:x{n} a:p {n % 7}, {n} .\n" for n in range(100)))


def test_what_is_said_again_is_one_object() -> None:
    native = read_native((HEAD + 'a:x a:p "one" . a:y a:p "one" .').encode(), _made_literal)
    assert native is not None
    (one,), (other,) = native[0].pairs.values()
    assert one is other and isinstance(one[0], URIRef)
