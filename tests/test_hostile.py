"""Hostile input: spoilt files of every kind, and one test for each thing that once got through."""

import contextlib
import io
import json
import os
import subprocess
import sys
import time
from itertools import combinations, islice
from pathlib import Path

import pytest
from hostile import READERS, Reader, feed
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invented import NOTES, enter_forms
from small_store import FIRST, LATER, enter_into, files
from spoil import mutated

from trayconcord.generators.changes import document_of
from trayconcord.generators.cli import main
from trayconcord.generators.withdrawn import read_previous
from trayconcord.kb.case_file import read_case
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.forms import read_form
from trayconcord.kb.store import load
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.kb.yaml_nodes import LARGEST, MOST
from trayconcord.shapes.rules import rule_book

pytest.importorskip("fcntl", reason="signals, pipes and links")

every_reader = pytest.mark.parametrize("reader", READERS.values(), ids=READERS)
SLOW_READERS = ("checked-source", "shapes")


# --- spoilt files of every kind ---


@every_reader
def test_a_seed_is_good(reader: Reader) -> None:
    assert True in [feed(reader, seed) for seed in reader.seeds()[:2]]


@every_reader
def test_no_spoilt_file_raises_anything_but_unusable_input(reader: Reader) -> None:
    taken = [feed(reader, mutated(reader.seeds(), n)) for n in range(1 if reader.name in SLOW_READERS else 40)]
    assert reader.name in SLOW_READERS or False in taken


@pytest.mark.slow
@every_reader
def test_no_spoilt_file_of_many_does(reader: Reader) -> None:
    """The long run is tests/fuzz.py."""
    for number in range(100, 130 if reader.name in SLOW_READERS else 2100):
        feed(reader, mutated(reader.seeds(), number))


WORDS = [
    "source", "claims", "rulings", "cases", "id", "title", "kind", "parameter", "when", "value", "case", "label",
    "area", "chapters", "tables", "of", "by", "asks", "arch", "maxillary", "impression-material", "polyether",
    "textbook",
    "spacer-thickness", "relief-areas", "procedure", "includes", "draw-outline", "2 mm", "1e99 mm", "9" * 400, "../x",
    "aux", "a-1", "yes", "none", "~", "\u202e", "\U0001f9b7", "\\ud800", "!!python/name:os.system", "24 cm2",
]  # fmt: skip
documents = st.dictionaries(
    st.sampled_from(WORDS),
    st.recursive(
        st.sampled_from(WORDS) | st.text(max_size=5) | st.integers() | st.none(),
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(WORDS), inner, max_size=5),
        max_leaves=12,
    ),
    max_size=4,
)


@pytest.mark.parametrize("name", ["form", "case", "plan"])
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(document=documents)
def test_no_document_of_known_words_falls_over(name: str, document: object) -> None:
    """JSON is YAML: whatever the shape, it is read or refused."""
    feed(READERS[name], json.dumps(document, ensure_ascii=False).encode("utf-8", "backslashreplace"))


@pytest.mark.parametrize("name", [name for name, reader in READERS.items() if reader.command])
@pytest.mark.parametrize("count", [1, pytest.param(60, marks=pytest.mark.slow)])
def test_whole_commands_end_with_a_status_and_a_message(
    name: str, count: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    reader = READERS[name]
    assert reader.command is not None
    path = tmp_path / "input"
    for number in range(count):
        path.write_bytes(mutated(reader.seeds(), number))
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = main(reader.command(path))
        assert status in (0, 1, 2)
        assert "Traceback" not in out.getvalue() + err.getvalue()
        assert status != 2 or err.getvalue() or "could not be run" in out.getvalue()


# --- files made to take long ---

CLAIM = "- {parameter: spacer-thickness, value: 1 mm, "
HEAD = "source: {id: a, title: b, kind: textbook}\nclaims:\n"
LONG = {
    "good claims": lambda n: HEAD + "".join(f"{CLAIM}id: a/x{i}}}\n" for i in range(n // 60)),
    "unknown terms": lambda n: HEAD + "".join(f"- {{parameter: spacer-thicknes{i}}}\n" for i in range(n // 40)),
    "unknown axes": lambda n: f"{HEAD}{CLAIM}when: {{{','.join(f'impresion-mat{i}: x' for i in range(n // 22))}}}}}",
    "the same step": lambda n: f"{HEAD}- {{parameter: procedure, value: [{'draw-outline,' * (n // 14)}]}}",
    "the same member": lambda n: f"{HEAD}- {{parameter: relief-areas, value: [{'rugae,' * (n // 7)}]}}",
    "the same key": lambda n: "a: b\n" * (n // 6),
    "words in a row": lambda n: f"[{'a:b,' * (n // 4)}]",
    "open brackets": lambda n: "a: [" + "{a: [" * 200 + "x," * (n // 2 - 500),
    "a long line": lambda n: f"{HEAD}- {{parameter: {'x' * n}}}",
    "a long number": lambda n: f"{HEAD}- {{parameter: spacer-thickness, value: {'9' * (n - 200)} mm}}",
    "escapes": lambda n: 'source: {title: "' + "\\u0041" * (n // 7) + '"}',
    "a long anchor": lambda n: "&" + "a" * (n - 20) + " b: c",
    "documents": lambda n: "--- {a: b}\n" * (n // 11),
}


@pytest.mark.slow
@pytest.mark.parametrize("make", LONG.values(), ids=LONG)
def test_a_form_of_the_largest_size_is_answered_in_time(make, tmp_path: Path, vocabulary: Vocabulary) -> None:
    path = tmp_path / "form.yaml"
    path.write_text(make(LARGEST - 300), encoding="utf-8")
    assert LARGEST * 0.8 < path.stat().st_size <= LARGEST
    start = time.process_time()
    with contextlib.suppress(UnusableInput):
        read_form(path, vocabulary)
    assert time.process_time() - start < 5


def test_a_file_made_of_mistakes_is_read_no_further_than_anyone_reads(tmp_path: Path, vocabulary: Vocabulary) -> None:
    path = tmp_path / "form.yaml"
    path.write_text("claims:\n" + "- x\n" * 5000, encoding="utf-8")
    with pytest.raises(UnusableInput) as error:
        read_form(path, vocabulary)
    assert len(error.value.complaints) == MOST + 1
    assert "is read no further" in str(error.value)


def orders(vocabulary: Vocabulary, count: int, compatible: bool) -> str:
    """So many orders of a few steps, all different, on one question."""
    scheme = vocabulary.parameters["procedure"].scheme
    steps = [concept.id for concept in vocabulary.in_scheme(scheme or "")]
    found = [p if compatible or n % 2 else p[::-1] for n, p in enumerate(islice(combinations(steps, 3), count))]
    return HEAD + "".join(
        f"- {{parameter: procedure, value: [{', '.join(p)}], id: a/x{n}}}\n" for n, p in enumerate(found)
    )


@pytest.mark.slow
@pytest.mark.parametrize(("count", "compatible"), [(150, False), (499, True)])
def test_what_no_command_could_compare_is_not_entered(
    count: int, compatible: bool, tmp_path: Path, vocabulary: Vocabulary
) -> None:
    """Thousands of ways in which orders go together, or hundreds that all do."""
    form = tmp_path / "form.yaml"
    form.write_text(orders(vocabulary, count, compatible), encoding="utf-8")
    status = main(["add", "--only", "--kb", str(tmp_path / "kb"), str(form)])
    assert status == (0 if compatible else 2)
    assert (tmp_path / "kb").exists() == compatible


def test_more_lists_than_a_source_can_state_are_refused_at_once(tmp_path: Path, vocabulary: Vocabulary) -> None:
    form = tmp_path / "form.yaml"
    form.write_text(orders(vocabulary, 3000, True), encoding="utf-8")
    with pytest.raises(UnusableInput, match="more than 500 lists by one source"):
        read_form(form, vocabulary)


TURTLE_HEAD = "@prefix a: <http://example.org/> .\n"
LONG_TURTLE = {
    "open brackets": lambda n: "a:x a:p " + "(" * n,
    "escapes": lambda n: 'a:x a:p "' + "\\n" * (n // 2) + '" .',
    "long text": lambda n: 'a:x a:p """' + '""x' * (n // 3) + '""" .',
    "no end": lambda n: 'a:x a:p "' + "x" * n,
    "members": lambda n: "a:x a:p " + "a:y," * (n // 4) + "a:y .",
    "semicolons": lambda n: "a:x a:p a:y " + ";" * n + " .",
    "comments": lambda n: "#\n" * (n // 2),
    "prefixes": lambda n: "@prefix b: <http://e.org/> .\n" * (n // 29),
    "brackets of IRIs": lambda n: "<" * n,
    "digits": lambda n: "a:x a:p " + "9" * n + " .",
    "decimals": lambda n: "a:x a:p 0." + "9" * n + " .",
    "colons": lambda n: "a:x a:p a" + ":" * n + " .",
    "at signs": lambda n: "@" * n,
    "carets": lambda n: "a:x a:p a:y" + "^" * n + " .",
}


@pytest.mark.slow
@pytest.mark.parametrize("make", LONG_TURTLE.values(), ids=LONG_TURTLE)
def test_turtle_of_half_a_megabyte_is_answered_in_time(make, tmp_path: Path) -> None:
    (tmp_path / "sources").mkdir()
    (tmp_path / "sources" / "long.ttl").write_text(TURTLE_HEAD + make(500_000), encoding="utf-8")
    start = time.process_time()
    with contextlib.suppress(UnusableInput):
        load([tmp_path], only=True)
    assert time.process_time() - start < 5


# --- stores that somebody else made ---

CLAIM_TTL = """\
@prefix bibo: <http://purl.org/ontology/bibo/> .
@prefix dcterms: <http://purl.org/dc/terms/> .
@prefix qudt: <http://qudt.org/schema/qudt/> .
@prefix rdf: <http://www.w3.org/1999/02/22-rdf-syntax-ns#> .
@prefix tc: <https://w3id.org/trayconcord/def/> .
@prefix xsd: <http://www.w3.org/2001/XMLSchema#> .
<https://w3id.org/trayconcord/claim/{source}/x> a tc:Claim ;
    dcterms:source <https://w3id.org/trayconcord/source/{source}> ;
    tc:parameter <https://w3id.org/trayconcord/parameter/spacer-thickness> ;
    qudt:hasUnit <http://qudt.org/vocab/unit/MilliM> ; tc:min {value} ; tc:max {value} .
<https://w3id.org/trayconcord/source/{source}> a tc:Source ; dcterms:title {title} .
"""


def layer(folder: Path, value: str = "1.0", title: str = '"A work"', source: str = "work") -> Path:
    path = folder / "store" / "sources" / f"{source}.ttl"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(CLAIM_TTL.format(source=source, value=value, title=title), encoding="utf-8")
    return folder / "store"


@pytest.mark.parametrize(
    ("title", "words"),
    [
        ('"a\\uD800b"', "half a character"),
        ('"a\\u001b[31m"', "control characters"),
        ('"a\\u0000"', "control characters"),
        ('"a\\uFFFF"', "control characters"),
        ('"<a>"^^rdf:XMLLiteral', "markup in a literal"),
        ('"<a>"^^rdf:HTML', "markup in a literal"),
        ("<http://e.org/\\uD800>", "is no IRI"),
        ("<http://e.org/\\U99999999>", "cannot be read as Turtle"),
        ("<http://e.org/\\U000FFFFF\\u0085>", "is no IRI"),
    ],
)
def test_what_no_page_could_show_is_refused(title: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match=words) as error:
        load([layer(tmp_path, title=title)], only=True)
    str(error.value).encode()


def test_an_ill_typed_literal_is_found_and_logs_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    value = '"abc"^^xsd:decimal'
    assert main(["check", "--only", "--kb", str(layer(tmp_path, value))]) == 1
    assert "abc is not" in capsys.readouterr().out
    assert [record for record in caplog.records if record.exc_info] == []


def test_a_number_that_no_drawing_could_hold_is_found_and_the_site_built(tmp_path: Path) -> None:
    for source, value in (("one", "1" + "0" * 900 + ".0"), ("two", "1" + "0" * 90 + ".0"), ("three", "1.0")):
        store = layer(tmp_path, value, source=source)
    assert main(["build", "--only", "--kb", str(store), "--out", str(tmp_path / "site")]) == 1
    assert (tmp_path / "site" / "question-spacer-thickness.html").is_file()


@pytest.mark.parametrize("name", ["../../../outside", "a/b", "con", "Aux", "x" * 81, "a--b"])
def test_a_term_that_cannot_name_a_file_is_refused(name: str, tmp_path: Path) -> None:
    (tmp_path / "vocabulary").mkdir()
    (tmp_path / "vocabulary" / "ours.ttl").write_text(
        f"<https://w3id.org/trayconcord/parameter/{name}> a <https://w3id.org/trayconcord/def/Parameter> .",
        encoding="utf-8",
    )
    with pytest.raises(UnusableInput, match="cannot be an id"):
        load([tmp_path], only=True)


@pytest.mark.parametrize("kind", ["a pipe", "a device", "a folder", "a link to a device"])
def test_what_is_no_regular_file_is_not_read(kind: str, tmp_path: Path) -> None:
    path = layer(tmp_path) / "sources" / "odd.ttl"
    if kind == "a pipe":
        os.mkfifo(path)
    elif kind == "a folder":
        path.mkdir()
    else:
        path.symlink_to("/dev/zero")
    with pytest.raises(UnusableInput, match="not a regular file"):
        load([tmp_path / "store"], only=True)
    with pytest.raises(UnusableInput, match="not a regular file"):
        rule_book([path.parent])


def test_a_lock_that_leads_elsewhere_harms_nothing(tmp_path: Path, forms) -> None:
    precious, store = tmp_path / "precious.txt", tmp_path / "store"
    precious.write_text("a letter", encoding="utf-8")
    store.mkdir()
    (store / ".lock").symlink_to("../precious.txt")
    with pytest.raises(UnusableInput, match="nothing was changed"):
        enter_into(store, forms(FIRST))
    assert precious.read_text(encoding="utf-8") == "a letter"
    (store / ".lock").unlink()
    os.mkfifo(store / ".lock")
    with pytest.raises(UnusableInput, match="nothing was changed"):  # and does not wait for the other end
        enter_into(store, forms(FIRST))


@pytest.mark.parametrize("where", [".committed", ".committed/sources", ".committed/sources/letter.ttl"])
def test_files_elsewhere_are_not_taken_for_waiting_ones(where: str, tmp_path: Path, forms) -> None:
    home, store = tmp_path / "home", tmp_path / "store"
    (home / "sources").mkdir(parents=True)
    (home / "sources" / "letter.ttl").write_text("a letter", encoding="utf-8")
    (store / where).parent.mkdir(parents=True)
    (store / where).symlink_to(home / Path(where).relative_to(".committed"))
    before = files(home)
    with contextlib.suppress(UnusableInput):
        enter_into(store, forms(FIRST))
    assert files(home) == before
    assert not (store / "sources" / "letter.ttl").exists()


def test_a_folder_of_a_store_that_leads_elsewhere_is_not_written_to(tmp_path: Path, forms) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "store").mkdir()
    (tmp_path / "store" / "sources").symlink_to("../elsewhere")
    with pytest.raises(UnusableInput, match="is a symbolic link"):
        enter_into(tmp_path / "store", forms(FIRST))
    assert os.listdir(tmp_path / "elsewhere") == []
    (tmp_path / "link").symlink_to("store")  # the store itself may be reached by one
    (tmp_path / "store" / "sources").unlink()
    enter_into(tmp_path / "link", forms(LATER))
    assert (tmp_path / "store" / "sources" / "later-notes.ttl").is_file()


# --- what an earlier version, or somebody else, exported ---

ENTRY = {"id": "x", "question": "q", "answer": "a", "parameter": "stop-count", "when": {}}


@pytest.mark.parametrize(
    "text",
    [
        "[" * 100_000,
        "1" * 5000,
        "[]",
        "{}",
        json.dumps({"items": [{**ENTRY, "when": []}], "withdrawn": []}),
        json.dumps({"items": [{**ENTRY, "question": "\ud800"}], "withdrawn": []}),
        json.dumps({"items": [{**ENTRY, "when": {"\x00": "x"}}], "withdrawn": []}),
        json.dumps({"items": [ENTRY], "withdrawn": [ENTRY]}),
    ],
    ids=["nested", "a long number", "a list", "nothing", "no conditions", "half a character", "a zero", "no reason"],
)
def test_what_is_no_bank_or_export_is_refused(text: str, tmp_path: Path) -> None:
    path = tmp_path / "bank.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UnusableInput):
        read_previous(path)
    with pytest.raises(UnusableInput):
        document_of(path, only=True)


def test_a_bank_that_never_ends_is_not_read() -> None:
    with pytest.raises(UnusableInput, match="not a regular file"):
        read_previous(Path("/dev/zero"))


def test_a_case_may_come_through_a_pipe(vocabulary: Vocabulary) -> None:
    """One that the process was given is read; a device is not, which may never end (more in test_pipes)."""
    reading, writing = os.pipe()
    os.write(writing, b"case: {arch: maxillary}\n")
    os.close(writing)
    assert read_case(Path(f"/dev/fd/{reading}"), vocabulary).when == (("arch", "maxillary"),)
    os.close(reading)
    with pytest.raises(UnusableInput, match="not a regular file"):
        read_case(Path("/dev/zero"), vocabulary)


# --- no room for the answer ---


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("arguments", [["explain", "contested-topic"], pytest.param(["terms"], marks=pytest.mark.slow)])
def test_a_full_disk_behind_the_output_is_told(arguments: list[str]) -> None:
    with open("/dev/full", "w") as full:
        command = [sys.executable, "-m", "trayconcord.generators.cli", *arguments]
        result = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True)
    assert result.returncode == 2
    assert "No space left on device" in result.stderr and "Traceback" not in result.stderr


@pytest.mark.slow
def test_a_form_with_thousands_of_claims_is_entered(tmp_path: Path) -> None:
    """All on one question, all different: the comparison must not look at every pair of them."""
    claims = "".join(
        f"  - {{parameter: spacer-thickness, value: {n} mm, id: invented-notes/n{n}}}\n" for n in range(1, 1500)
    )
    start = time.process_time()
    enter_forms(tmp_path, NOTES + claims)
    assert time.process_time() - start < 20
    assert len(load([tmp_path / "department"], only=True).claims) == 1501
