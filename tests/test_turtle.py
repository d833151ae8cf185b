"""Turtle: the line of every subject, what is refused, and one canonical form."""

import contextlib
import hashlib
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rdflib import Graph, Literal, URIRef, namespace

from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.namespaces import BASE, SOURCE, TC
from trayconcord.kb.store import shipped
from trayconcord.kb.turtle import bulk, read_turtle, write_turtle

SHIPPED = sorted([*shipped().glob("sources/*.ttl"), *shipped().glob("vocabulary/*.ttl")])
PREFIX = "@prefix a: <http://example.org/> .\n"


def read(text):
    """A graph and the line of every subject."""
    graph = Graph(bind_namespaces="none")
    lines = read_turtle(text if isinstance(text, bytes) else text.encode(), "x.ttl", graph)
    return graph, {str(subject).removeprefix("http://example.org/"): line for subject, line in lines.items()}


def refused(text):
    """The one complaint about a document."""
    with pytest.raises(UnusableInput) as error:
        read(text)
    (complaint,) = error.value.complaints
    return complaint


# --- lines -----------------------------------------------------------------------------------------------------------

CANARY = '''@prefix a: <http://example.org/> .
# The line of a subject is where its name stands, not where its statement ends.

a:one a a:Thing .

a:two
    a a:Thing ;
    a:says "one",
        "two",
        """several
lines of
text""" ;
    a:knows a:one,
        a:three .
a:three a a:Thing . a:four a a:Thing .
<http://example.org/five>

    a:knows a:one .
a:one a:knows a:two .
'''


def test_canary_the_parser_of_rdflib_still_tells_the_line_of_every_subject():
    """`_Parser` builds on an internal interface of rdflib: when this fails, look at what rdflib changed."""
    graph, lines = read(CANARY)
    assert lines == {"one": 4, "two": 6, "three": 15, "four": 15, "five": 16}
    assert len(graph) == 11


def test_a_line_that_the_parser_looks_at_twice_counts_once():
    """rdflib's own counter goes through the line end before a literal once as an IRI and once as a literal."""
    members = ",\n".join(f'"{number}"' for number in range(50))
    assert read(f"{PREFIX}a:x a:p {members} .\na:y a:p 1 .")[1] == {"x": 2, "y": 52}


def test_lines_are_the_same_with_windows_line_ends():
    assert read(CANARY.replace("\n", "\r\n"))[1] == read(CANARY)[1]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a:x a:p [] .", 2),
        ("\n\na:x a:p _:b .", 4),
        ("\n_:b a:p 1 .", 3),
        ("a:x a:p\n    (1 2) .", 3),
        ("a:x a:p 1 .\n[ a:p 1 ] a:q 2 .", 3),
    ],
)
def test_a_blank_node_is_refused_at_its_line(text, line):
    complaint = refused(PREFIX + text)
    assert str(complaint.place) == f"x.ttl:{line}"
    assert "blank node" in complaint.message
    assert "IRI of its own" in complaint.fix


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("a:x a:p 1\na:y a:p 2 .", 3, "expected '.'"),
        ("\nb:x a:p 1 .", 3, 'Prefix "b:" not bound'),
        ('a:x a:p "never ends .\n', 2, "newline found in string"),
        ("\n\na:x a:p { a:y a:p 1 } .", 4, "objectList expected"),
        ("a:x a:p 1 .\n\n@prefix", 4, "cannot be read as Turtle"),
        ("a:x a:p 1 .\n\n@prefix b <http://e.org/> .", 4, "Turtle syntax"),
        ("a:x a:p ?y .", 2, "cannot be read as Turtle"),
        ("a:x a:p <not an iri> .", 2, "is no IRI"),
        ('\n"a word" a:p 1 .', 3, "subject"),
        ("a:x a:p " + "(" * 5000, 2, "recursion"),
        # A few characters that rdflib would turn into a number of a billion digits.
        ('a:x a:p "1e999999999"^^<http://www.w3.org/2001/XMLSchema#decimal> .', 2, "is no decimal"),
    ],
)
def test_a_mistake_is_told_with_its_line(text, line, words):
    complaint = refused(PREFIX + text)
    assert complaint.place.file == "x.ttl"
    assert complaint.place.line == line
    assert words in complaint.message
    assert complaint.fix


def test_what_is_not_utf8_is_refused():
    complaint = refused(PREFIX.encode() + b'\na:x a:p "\xff" .')
    assert complaint.place.line == 3
    assert complaint.message == "is not UTF-8 text"


FRAGMENTS = [
    "[]", "_:b", "(", ")", "{", "}", '"', '"""', "'", "<", ">", "@", "^^", ".", ";", ",", "\\", "\\u12", "?v", "=",
    "=>", "a", "is", "of", "has", "@prefix", "@base", "PREFIX", "#", "\n", "\x00", "1e5", "-", "true", "@en", "!", "^",
    "%", "::",
]  # fmt: skip


def mutated(text, seed):
    """A document with a few random slips."""
    dice = random.Random(seed)
    signs = list(text)
    for _ in range(dice.randint(1, 4)):
        at, kind = dice.randrange(len(signs)), dice.random()
        if kind < 0.3:
            del signs[at : at + dice.randint(1, 30)]
        elif kind < 0.8:
            signs.insert(at, dice.choice(FRAGMENTS))
        else:
            signs[at] = chr(dice.choice([dice.randrange(128), dice.randrange(0xD800)]))
    return "".join(signs)


SMALL = [path for path in SHIPPED if path.stat().st_size < 2500]


@given(st.integers(0, 10**9))
def test_no_slip_in_a_file_of_the_store_raises_anything_but_unusable_input(seed):
    text = mutated(SMALL[seed % len(SMALL)].read_text(encoding="utf-8"), seed)
    with contextlib.suppress(UnusableInput):
        read(text)


@given(st.binary(max_size=60) | st.text(max_size=60).map(str.encode))
def test_no_bytes_raise_anything_but_unusable_input(data):
    with contextlib.suppress(UnusableInput):
        read(PREFIX.encode() + data)


@pytest.mark.slow
def test_many_slips_in_files_of_the_store():
    for seed in range(20_000):
        with contextlib.suppress(UnusableInput):
            read(mutated(SMALL[seed % len(SMALL)].read_text(encoding="utf-8"), seed))


# --- the canonical form ----------------------------------------------------------------------------------------------

iris = st.integers(0, 5).map(lambda n: URIRef(f"{BASE}thing/{n}"))
predicates = st.sampled_from([TC.min, TC.parameter, namespace.RDF.type, namespace.RDF["_1"], URIRef("http://e.org/p")])
literals = st.one_of(
    st.text(st.characters(blacklist_categories=["Cs", "Cc"]) | st.sampled_from('\n\t"\\'), max_size=20).map(Literal),
    st.text("abc -'\"", max_size=5).map(lambda text: Literal(text, lang="en")),
    st.decimals(-1000, 1000, places=3).map(Literal),
    st.booleans().map(Literal),
    st.integers(-99, 99).map(Literal),
    st.integers(1, 99).map(lambda n: Literal(f"{n}/7", datatype=namespace.OWL.rational)),
)
graphs = st.lists(st.tuples(iris, predicates, iris | literals), max_size=30)


def graph_of(triples):
    graph = Graph(bind_namespaces="none")
    for triple in triples:
        graph.add(triple)
    return graph


@given(graphs)
def test_what_is_written_is_read_again(triples):
    graph = graph_of(triples)
    assert set(read(write_turtle(graph))[0]) == set(graph)


@given(graphs, st.randoms(use_true_random=False))
def test_the_order_of_adding_leaves_no_trace(triples, dice):
    shuffled = list(triples)
    dice.shuffle(shuffled)
    assert write_turtle(graph_of(shuffled)) == write_turtle(graph_of(triples))


@given(graphs)
def test_writing_twice_changes_nothing(triples):
    written = write_turtle(graph_of(triples))
    assert write_turtle(read(written)[0]) == written


def test_the_record_of_the_source_stands_first_and_ranks_of_a_sequence_in_order():
    triples = [(URIRef(f"{BASE}claim/a/b#steps"), namespace.RDF[f"_{n}"], Literal(n)) for n in range(1, 13)]
    source = URIRef(SOURCE + "zebra")
    text = write_turtle(graph_of([*triples, (source, namespace.RDF.type, TC.Source)])).decode()
    assert text.index("source:zebra") < text.index("claim/a/b")
    ranks = [text.index(f"rdf:_{n} ") for n in range(1, 13)]
    assert ranks == sorted(ranks)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_every_shipped_file_is_in_canonical_form(path):
    """Then a change of one claim is a difference of a few lines. A blank node would have been refused."""
    data = path.read_bytes()
    graph, _ = read(data)
    assert write_turtle(graph) == data
    assert data.endswith(b"\n") and b"\r" not in data


WRITE_ALL = """
import hashlib, sys
from pathlib import Path
from rdflib import Graph
from trayconcord.kb.turtle import read_turtle, write_turtle
digest = hashlib.sha256()
for path in map(Path, sys.argv[1:]):
    graph = Graph(bind_namespaces="none")
    read_turtle(path.read_bytes(), path.name, graph)
    digest.update(write_turtle(graph))
print(digest.hexdigest())
"""


@pytest.mark.parametrize("seed", ["0", "20260512"])
def test_bytes_do_not_depend_on_the_hash_seed(seed):
    chosen = SHIPPED[::6]
    result = subprocess.run(
        [sys.executable, "-c", WRITE_ALL, *map(str, chosen)],
        env={**os.environ, "PYTHONHASHSEED": seed},
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parent,
    )
    assert result.stdout.strip() == hashlib.sha256(b"".join(path.read_bytes() for path in chosen)).hexdigest()


def test_bulk_loading_leaves_the_garbage_collector_as_it_was():
    import gc

    assert gc.isenabled()
    with pytest.raises(KeyError), bulk():
        assert not gc.isenabled()
        raise KeyError
    assert gc.isenabled()
    gc.disable()
    try:
        with bulk():
            pass
        assert not gc.isenabled()
    finally:
        gc.enable()
