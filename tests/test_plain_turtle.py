"""The quick reader of plain Turtle, held against rdflib's: what it reads it reads the same; the rest it leaves."""

import random
from pathlib import Path

import pytest
from exactly import exactly
from hypothesis import given
from hypothesis import strategies as st

from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.plain_turtle import read_plain
from trayconcord.kb.store import shipped
from trayconcord.kb.triples import Triples
from trayconcord.kb.turtle import _literal, read_turtle, triples_of

SHIPPED = sorted(shipped().glob("*/*.ttl"))
HEAD = b"@prefix a: <http://example.org/> .\n@prefix xsd: <http://www.w3.org/2001/XMLSchema#> .\n"


def read_alike(data: bytes) -> bool:
    """Whether the quick reader takes a document; if it does, rdflib's must read the same on the same lines."""
    plain = read_plain(data, _literal)
    if plain is None:
        return False
    triples = Triples()
    lines = read_turtle(data, "x.ttl", triples)
    assert exactly(plain[0]) == exactly(triples)
    assert list(plain[1].items()) == list(lines.items())
    return True


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_every_shipped_file_is_read_quickly_and_the_same(path: Path) -> None:
    assert read_alike(path.read_bytes())


PLAIN = {
    "several statements of one subject": b"a:x a:p a:y .\na:z a:p a:y .\n\na:x a:q a:y .\n",
    "several things on a line": b"a:x a:p a:y , a:z, a:w ; a:q 1 .\n",
    "a comma at the end": b'a:x a:p "one",\n    "two" ,\n    a:y ;\n  a a:T .\n',
    "no indentation": b"a:x\n a:p\n a:y .\n".replace(b"\n a", b" a"),
    "comments between statements": b"# one\na:x a:p a:y .\n   # two\na:y a:p a:x .\n",
    "numbers": b"a:x a:p 1, -2, +3, 007, 1.50, -0.0, 00.10, true, false .\n",
    "typed": b'a:x a:p "1.50"^^xsd:decimal, "x"@en, "x"@EN-gb, "01"^^<http://www.w3.org/2001/XMLSchema#integer> .\n',
    "quotes and backslashes": rb'a:x a:p "say \"aah\"", "a \\ b", "\\", "", "a ; b . c , d # e" .' + b"\n",
    "letters of all kinds": 'a:x a:p "größer 印象 \u2028 \xa0" .\n'.encode(),
    "no line end at the end": b"a:x a:p a:y .",
    "nothing": b"",
    "the last part of an IRI after a hash": b"<http://example.org/x#y> a:p <http://example.org/#> .\n",
}


@pytest.mark.parametrize("text", PLAIN.values(), ids=PLAIN)
def test_plain_is(text: bytes) -> None:
    assert read_alike(HEAD + text)


BEYOND = {
    "a control character": b'a:x a:p "one \x7f two" .\n',
    "a string over several lines": b'a:x a:p """one\ntwo""" .\n',
    "three quotes": b'a:x a:p """one""" .\n',
    "single quotes": b"a:x a:p 'one' .\n",
    "an escaped letter": b'a:x a:p "\\u0041" .\n',
    "a tab": b"a:x\ta:p a:y .\n",
    "a carriage return": b"a:x a:p a:y .\r\n",
    "a relative IRI": b"a:x a:p <y> .\n",
    "a blank node": b"a:x a:p [] .\n",
    "a list": b"a:x a:p ( a:y ) .\n",
    "an unknown prefix": b"a:x a:p b:y .\n",
    "a prefix between statements": b"a:x a:p a:y .\n@prefix b: <http://example.org/b/> .\n",
    "a prefix that changes": b"@prefix a: <http://example.org/b/> .\na:x a:p a:y .\n",
    "a base": b"@base <http://example.org/> .\na:x a:p a:y .\n",
    "a prefix as SPARQL has it": b"PREFIX b: <http://example.org/>\na:x a:p b:y .\n",
    "two statements on a line": b"a:x a:p a:y . a:y a:p a:x .\n",
    "a comment after a statement": b"a:x a:p a:y . # why\n",
    "a comment within a statement": b"a:x a:p a:y ;\n# why\n    a:q a:y .\n",
    "a semicolon before the full stop": b"a:x a:p a:y ;\n .\n",
    "a comma that touches both": b"a:x a:p a:y,a:z .\n",
    "a full stop that touches": b"a:x a:p a:y.\n",
    "a name with a dot": b"a:x a:p a:y.z .\n",
    "a number with an exponent": b"a:x a:p 1e0 .\n",
    "a literal as a subject": b'"x" a:p a:y .\n',
    "a literal as a verb": b'a:x "p" a:y .\n',
    "no verb": b"a:x a:y .\n",
    "no object": b"a:x a:p .\n",
    "no end": b"a:x a:p a:y\n",
    "an end that is missing before the next": b"a:x a:p a:y\na:y a:p a:x .\n",
    "a statement that is broken off": b"a:x a:p a:y ;\n",
    "a as an object": b"a:x a:p a .\n",
    "a as a subject": b"a a:p a:y .\n",
    "bytes that are no text": b'a:x a:p "\xff" .\n',
    "a byte order mark": b"\xef\xbb\xbfa:x a:p a:y .\n",
    "a number that rdflib would write out": b'a:x a:p "1e999999999"^^xsd:decimal .\n',
}


@pytest.mark.parametrize("text", BEYOND.values(), ids=BEYOND)
def test_beyond_plain_is(text: bytes) -> None:
    assert not read_alike(HEAD + text)


def test_what_is_not_plain_is_read_or_refused_by_rdflib() -> None:
    triples, lines = triples_of(HEAD + b'a:x a:p """one\ntwo""" .\na:y a:p 1 .\n', "x.ttl")
    assert list(lines.values()) == [3, 5] and len(triples) == 2
    with pytest.raises(UnusableInput, match=r"x\.ttl:4: Turtle syntax"):
        triples_of(HEAD + b"\na:x a:p b:y .\n", "x.ttl")


def test_more_lines_than_are_remembered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("trayconcord.kb.plain_turtle.REMEMBERED", 3)
    assert read_alike(HEAD + b"".join(b"a:x%d a:p %d .\n" % (n, n % 7) for n in range(100)))


PARTS = [
    "a:x", "a:y", "<http://example.org/x>", "<https://e.org/#>", "<y>", "a", "a:", ":a", "b:x", "_:b", '"one"',
    '""', '"""', '"\\""', '"\\n"', "'x'", '"x"@en', '"x"@en-', '"1"^^xsd:integer', '"1"^^', "1", "-1.5", "1.",
    ".5", "+", "1e3", "true", "false", "True", ";", ",", ".", "#", "[", "]", "(", ")", "@prefix", "@base", "is",
    "of", "has", "=", "=>", "<=", "{", "}", "\t", "\r", "  ", "a:x.y", "a:1", "a:-x", "a:x-", "a:%20",
    "prefix:x", "base", "\x0b", "\x85",
]  # fmt: skip
pieces = st.sampled_from(PARTS) | st.text(max_size=3)
soup = st.lists(
    st.tuples(pieces, st.sampled_from([" ", "\n", "\n    ", " .\n", " ;\n    ", ",\n        ", ""])), max_size=12
)
terms = st.sampled_from(["a:x", "a:y", "<http://example.org/x>", '"one"', '"x"@en', "1", "1.50", "true"])
tidy = st.lists(
    st.tuples(
        st.sampled_from(["a:x", "a:y", "<http://example.org/z>"]),
        st.lists(st.tuples(st.sampled_from(["a:p", "a", "a:q"]), st.lists(terms, min_size=1, max_size=3)), min_size=1),
    ),
    max_size=4,
)


@given(soup)
def test_whatever_the_signs_both_read_the_same(parts: list[tuple[str, str]]) -> None:
    read_alike(HEAD + "".join(part + gap for part, gap in parts).encode("utf-8", "surrogatepass"))


@given(tidy, st.randoms(use_true_random=False))
def test_whatever_the_layout_of_plain_statements_both_read_the_same(
    statements: list[tuple[str, list[tuple[str, list[str]]]]], dice: random.Random
) -> None:
    text = ""
    for subject, verbs in statements:
        said = [f"{verb} {dice.choice([', ', ' , ', f',{chr(10)}    ']).join(values)}" for verb, values in verbs]
        text += f"{subject} {dice.choice([' ; ', f' ;{chr(10)}    ', f' ;{chr(10)}']).join(said)} .\n"
    assert read_alike(HEAD + text.encode())


@pytest.mark.slow
def test_many_slips_in_files_of_the_store() -> None:
    small = [path.read_bytes() for path in SHIPPED if path.stat().st_size < 2500]
    dice = random.Random(1)
    taken = 0
    for _ in range(20_000):
        data = bytearray(dice.choice(small))
        for _ in range(dice.randint(1, 3)):
            at = dice.randrange(len(data))
            if dice.random() < 0.5:
                data[at] = dice.choice(b' .;,:<>"\\#@^\n\t[]()a1-')
            else:
                other = dice.randrange(len(data))
                data[at : at + 20] = data[other : other + dice.randint(0, 40)]
        taken += read_alike(bytes(data))
    assert taken > 1000
