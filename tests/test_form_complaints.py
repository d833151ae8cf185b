"""Every mistake of a form is told at its line and column, with what to do. All sources here are invented."""

import time

import pytest

from trayconcord.kb.errors import Place, UnusableInput
from trayconcord.kb.forms import read_form
from trayconcord.kb.yaml_nodes import LARGEST

HEAD = "source: {id: a-1, title: T, kind: textbook}\nclaims:\n"

COMPLAINTS = [
    # ▶ stands before the place that must be named. The form as a whole:
    ("▶{}\n", "the form is empty", "start with source:"),
    ("▶wibble: 1\n", "unknown key wibble", "use one of: source, claims, rulings, cases"),
    ("? ▶[a]\n: b\n", "unknown key (not a word)", "use one of: source"),
    ("claims: ▶[]\n", "claims without a source", "add source:"),
    (HEAD + "  - {parameter: tray-adhesive, value: yes}\n▶claims: []\n", "the key claims stands twice", "keep one"),
    ("source: {id: a-1, title: T, kind: textbook}\nclaims: ▶none\n", "claims must be a list", "write claims as [a, b]"),
    ("rulings: ▶{a: b}\n", "rulings must be a list", "write rulings as"),
    ("cases: ▶x\n", "cases must be a list", "write cases as"),
    # YAML
    ("source: {id: a-1, title: T, kind: textbook\n▶", "YAML syntax", "mend the syntax"),
    ("▶\tsource: 1\n", "YAML syntax", "mend the syntax"),
    ("source:\n  id: a-1\n ▶title: T\n", "YAML syntax", "mend the syntax"),
    ("a: b\n▶---\nc: d\n", "another document", "mend the syntax"),
    ("a: &x [1]\nb: ▶*x\n", "an alias", "mend the syntax"),
    ('source:\n  title: "\\U▶00110000"\n', "no such character", "mend the escape"),
    ("source:\n  title: ring ▶\x07 it\n", "control character", "remove it"),
    ("source:\n  title: ▶\x00\n", "control character", "remove it"),
    # the source
    ("source: ▶x\n", "source must be a mapping", "key: value"),
    ("source: ▶{title: T, kind: textbook}\n", "source: id is missing", "add id:"),
    ("source: ▶{id: a-1, kind: textbook}\n", "source: title is missing", "add title:"),
    ("source: ▶{id: a-1, title: T}\n", "source: kind is missing", "add kind:"),
    ("source:\n  id: a-1\n  title: T\n  kind: textbook\n  ▶titel: T\n", "unknown key titel", "title"),
    ("source:\n  id: a-1\n  title: T\n  kind: textbook\n  ▶title: T\n", "the key title stands twice", "keep one"),
    ("source: {id: ▶A_1, title: T, kind: textbook}\n", "source id: A_1", "small letters"),
    ("source: {id: ▶a--1, title: T, kind: textbook}\n", "source id: a--1", "single hyphens"),
    ("source: {id: ▶../etc, title: T, kind: textbook}\n", "source id: ../etc", "small letters"),
    # a file of this name cannot be made on every system
    ("source: {id: ▶con, title: T, kind: textbook}\n", "source id: con", "as in smith-2016"),
    ("source: {id: ▶" + "a" * 81 + ", title: T, kind: textbook}\n", "source id: aaaa", "small letters"),
    ("source: {id: a-1, title: ▶'', kind: textbook}\n", "title is empty", "leave the key out"),
    ("source: {id: a-1, title: ▶~, kind: textbook}\n", "title is empty", "give it a value"),
    ("source: {id: a-1, title: ▶[T], kind: textbook}\n", "title must be a single value", "write one value"),
    ("source: {id: a-1, title: ▶" + "x" * 2001 + ", kind: textbook}\n", "title has 2001 characters", "within 2000"),
    ('source: {id: a-1, title: ▶"ring \\x07 it", kind: textbook}\n', "title holds control characters", "remove"),
    ('source: {id: a-1, title: ▶"half \\ud83d", kind: textbook}\n', "half a character", "remove"),
    ("source: {id: a-1, title: T, kind: ▶bok}\n", "kind: unknown term bok", "use one of: textbook"),
    ("source: {id: a-1, title: T, kind: ▶text book}\n", "kind: unknown term text book", "did you mean textbook?"),
    ("source: {id: a-1, title: T, kind: textbook, year: ▶16}\n", "year: 16", "four digits"),
    ("source: {id: a-1, title: T, kind: textbook, year: ▶1066}\n", "year: 1066", "four digits"),
    ("source: {id: a-1, title: T, kind: textbook, year: ▶c. 1990}\n", "year: c. 1990", "four digits"),
    ("source: {id: a-1, title: T, kind: textbook, doi: ▶https://doi.org/10.1000/x}\n", "doi: https", "10.1000/xyz123"),
    ("source: {id: a-1, title: T, kind: textbook, doi: ▶10.1000}\n", "doi: 10.1000", "10.1000/xyz123"),
    ("source: {id: a-1, title: T, kind: textbook, language: ▶German}\n", "language: German", "as in en, de"),
    ("source: {id: a-1, title: T, kind: textbook, authors: ▶Smith}\n", "authors must be a list", "[a, b]"),
    ("source: {id: a-1, title: T, kind: textbook, authors: [S, ▶'']}\n", "authors is empty", "give it a value"),
    ("source: {id: a-1, title: T, kind: textbook, edition-of: ▶B 2}\n", "edition-of: B 2", "small letters"),
    ("source: {id: a-1, title: T, kind: textbook, compiled-from: ▶b}\n", "compiled-from must be a list", "[a, b]"),
    ("source: {id: a-1, title: T, kind: textbook, compiled-from: [b, ▶C]}\n", "source id: C", "small letters"),
    # claims: keys
    (HEAD + "  - ▶x\n", "claim must be a mapping", "key: value"),
    (HEAD + "  - ▶{value: 2 mm}\n", "claim: parameter is missing", "add parameter:"),
    (HEAD + "  - ▶{parameter: stop-count}\n", "claim: value is missing", "add value:"),
    (HEAD + "  - {parameter: stop-count, value: 2, ▶page: 3}\n", "unknown key page", "at, obtained"),
    (HEAD + "  - {parameter: stop-count, value: 2, ▶value: 3}\n", "the key value stands twice", "keep one"),
    (HEAD + "  - {parameter: stop-count, value: 2, at:▶ }\n", "at is empty", "leave the key out"),
    # claims: parameters and conditions
    (HEAD + "  - {parameter: ▶spacer-thicknes, value: 2 mm}\n", "spacer-thicknes", "did you mean spacer-thickness"),
    (HEAD + "  - {parameter: ▶spacer thickness, value: 2 mm}\n", "unknown term", "did you mean spacer-thickness"),
    (HEAD + "  - {parameter: ▶xyzzyxyzzyxyzzy, value: 2 mm}\n", "unknown term xyzzy", "trayconcord terms WORD"),
    (
        HEAD + "  - parameter: spacer-thickness\n    when: {impression-material: ▶alginate}\n    value: 2 mm\n",
        "impression-material: unknown term alginate",
        "did you mean irreversible-hydrocolloid",
    ),
    (
        # a concept, but of another scheme
        HEAD + "  - {parameter: spacer-thickness, when: {impression-material: ▶maxillary}, value: 2 mm}\n",
        "impression-material: unknown term maxillary",
        "use one of: ",
    ),
    (
        HEAD + "  - {parameter: spacer-thickness, when: {▶material: polyether}, value: 2 mm}\n",
        "when: unknown term material",
        "did you mean",
    ),
    (
        HEAD + "  - {parameter: stop-count, when: {arch: maxillary, ▶arch: mandibular}, value: 2}\n",
        "when: the key arch stands twice",
        "keep one",
    ),
    (HEAD + "  - {parameter: stop-count, when: ▶[arch], value: 2}\n", "when must be a mapping", "key: value"),
    (
        HEAD + "  - {parameter: stop-count, when: {arch: ▶[maxillary]}, value: 2}\n",
        "arch must be",
        "one value",
    ),
    # claims: values
    (HEAD + "  - {parameter: spacer-thickness, value: ▶26 gauge}\n", "0.4049 mm in AWG", "26 gauge AWG"),
    (HEAD + "  - {parameter: spacer-thickness, value: ▶2}\n", "has no unit", "2 mm"),
    (HEAD + "  - {parameter: spacer-thickness, value: ▶20 s}\n", "does not measure", "mm"),
    (HEAD + "  - {parameter: spacer-thickness, value: ▶3-1 mm}\n", "runs from high to low", "lower end first"),
    (HEAD + "  - {parameter: spacer-thickness, value: ▶'0,5 mm'}\n", "comma", "0.5"),
    (HEAD + "  - {parameter: spacer-thickness, value: ▶[1, 2]}\n", "value must be a single value", "one value"),
    (HEAD + "  - {parameter: wall-thickness, value: ▶none}\n", "cannot be none", "state a quantity"),
    (HEAD + "  - {parameter: stop-count, value: ▶2.5}\n", "is not whole", "whole number"),
    (HEAD + "  - {parameter: spacer-design, value: ▶full}\n", "value: unknown term full", "full-spacer"),
    (HEAD + "  - {parameter: spacer-design, value: ▶rugae}\n", "value: unknown term rugae", "full-spacer"),
    (HEAD + "  - {parameter: tray-adhesive, value: ▶maybe}\n", "value: maybe", "write yes or no"),
    (HEAD + "  - {parameter: relief-areas, value: ▶rugae}\n", "rugae is no set", "{includes: [a]}"),
    (HEAD + "  - {parameter: relief-areas, value: ▶[]}\n", "an empty set", "write none"),
    (HEAD + "  - {parameter: relief-areas, value: ▶{}}\n", "an empty set", "write none"),
    (HEAD + "  - {parameter: relief-areas, value: ▶{includes: []}}\n", "an empty set", "write none"),
    (HEAD + "  - {parameter: relief-areas, value: [rugae, ▶ruga]}\n", "unknown term ruga", "did you mean rugae"),
    (HEAD + "  - {parameter: relief-areas, value: {includes: ▶rugae}}\n", "includes must be a list", "[a, b]"),
    (HEAD + "  - {parameter: relief-areas, value: {includes: [rugae], ▶without: []}}\n", "key without", "excludes"),
    (
        HEAD + "  - {parameter: relief-areas, value: ▶{includes: [rugae], excludes: [rugae]}}\n",
        "rugae is in and out",
        "one side",
    ),
    (HEAD + "  - {parameter: procedure, value: ▶cure}\n", "value must be a list", "[a, b]"),
    (HEAD + "  - {parameter: procedure, value: ▶[cure]}\n", "an order needs two steps", "[first-step"),
    (HEAD + "  - {parameter: procedure, value: [cure, ▶cure]}\n", "step cure stands twice", "once"),
    (HEAD + "  - {parameter: procedure, value: [cure, ▶rugae]}\n", "step: unknown term rugae", "trayconcord terms"),
    # claims: evidence and ids
    (HEAD + "  - {parameter: stop-count, value: 2, obtained: ▶guessed}\n", "unknown term guessed", "read, reported"),
    (
        HEAD + "  - {parameter: stop-count, value: 2, obtained: read, reported-by: ▶b-2}\n",
        "reported-by with obtained: read",
        "obtained: reported",
    ),
    (HEAD + "  - {parameter: stop-count, value: 2, reported-by: ▶B 2}\n", "reported-by: B 2", "small letters"),
    (HEAD + "  - {parameter: stop-count, value: 2, id: ▶b-2/stop-count}\n", "id: b-2/stop-count", "start it with a-1/"),
    (HEAD + "  - {parameter: stop-count, value: 2, id: ▶a-1/../x}\n", "id: a-1/../x", "start it with a-1/"),
    (HEAD + "  - {parameter: stop-count, value: 2, id: ▶a-1/X}\n", "id: a-1/X", "small letters"),
    (
        HEAD + "  - {parameter: stop-count, value: 2}\n  - ▶{parameter: stop-count, value: 3}\n",
        "claim a-1/stop-count stands already at line 3",
        "id: a-1/stop-count-2",
    ),
    (
        HEAD + "  - {parameter: stop-count, value: 2, id: a-1/x}\n  - ▶{parameter: soak-cast, value: no, id: a-1/x}\n",
        "claim a-1/x stands already at line 3",
        "an id of its own",
    ),
    # rulings
    (
        "rulings:\n- ▶{parameter: stop-count, value: 2, decided-on: 2026-05-12, decided-by: board}\n",
        "ruling: because is missing",
        "add because:",
    ),
    (
        "rulings:\n- ▶{parameter: stop-count, value: 2, because: x, decided-by: board}\n",
        "ruling: decided-on is missing",
        "add decided-on:",
    ),
    (
        "rulings:\n- ▶{parameter: stop-count, value: 2, because: x, decided-on: 2026-05-12}\n",
        "ruling: decided-by is missing",
        "add decided-by:",
    ),
    (
        "rulings:\n- {parameter: stop-count, value: 2, because: x, decided-on: ▶2026-02-30, decided-by: board}\n",
        "decided-on: 2026-02-30",
        "write the date as 2026-05-12",
    ),
    (
        "rulings:\n- {parameter: stop-count, value: 2, because: x, decided-on: ▶12.5.2026, decided-by: board}\n",
        "decided-on: 12.5.2026",
        "write the date as 2026-05-12",
    ),
    (
        "rulings:\n- {parameter: stop-count, value: 2, because: x, decided-on: 2026-05-12, decided-by: board, "
        "review-by: ▶soon}\n",
        "review-by: soon",
        "write the date as 2026-05-12",
    ),
    (
        "rulings:\n- {parameter: stop-count, value: 2, because: x, decided-on: 2026-05-12, decided-by: board}\n"
        "- ▶{parameter: stop-count, value: 3, because: y, decided-on: 2026-05-12, decided-by: board}\n",
        "ruling stop-count stands already at line 2",
        "keep one",
    ),
    # cases
    ("cases:\n- ▶{when: {arch: maxillary}, asks: [stop-count]}\n", "case: id is missing", "add id:"),
    ("cases:\n- ▶{id: c, asks: [stop-count]}\n", "case: when is missing", "add when:"),
    ("cases:\n- ▶{id: c, when: {arch: maxillary}}\n", "case: asks is missing", "add asks:"),
    ("cases:\n- {id: ▶C, when: {arch: maxillary}, asks: [stop-count]}\n", "case id: C", "small letters"),
    (
        "cases:\n- {id: c, when: {arch: maxillary}, asks: [▶stop-cout]}\n",
        "asks: unknown",
        "did you mean stop-count",
    ),
    (
        "cases:\n- {id: c, when: {arch: maxillary}, asks: [stop-count]}\n"
        "- ▶{id: c, when: {arch: mandibular}, asks: [stop-count]}\n",
        "case c stands already at line 2",
        "its own id",
    ),
]


def complaints(reading, text):
    """What is wrong with a form: (line, column, message, fix)."""
    with pytest.raises(UnusableInput) as error:
        reading(text)
    assert {complaint.place.file for complaint in error.value.complaints} == {str(reading.path)}
    assert all(complaint.message and complaint.fix for complaint in error.value.complaints)
    return [(c.place.line, c.place.column, c.message, c.fix) for c in error.value.complaints]


@pytest.mark.parametrize(("text", "words", "fix"), COMPLAINTS)
def test_a_mistake_is_told_at_its_line_and_column_with_a_fix(reading, text, words, fix):
    before, mark, after = text.partition("▶")
    assert mark
    place = (before.count("\n") + 1, len(before) - before.rfind("\n"))
    ((line, column, message, mend),) = complaints(reading, before + after)
    assert (line, column) == place
    assert words in message
    assert fix in mend


def test_a_file_that_is_not_utf8_is_refused_at_its_line(reading):
    ((line, _, message, fix),) = complaints(reading, b"source:\n  title: caf\xe9\n")
    assert (line, message) == (2, "is not UTF-8 text")
    assert "UTF-8" in fix


@pytest.mark.parametrize("text", ["", "# nothing yet\n", "- a\n", "word\n", "\n\n"])
def test_a_file_without_keys_is_refused(reading, text):
    ((line, _, message, fix),) = complaints(reading, text)
    assert line == 0
    assert "no mapping" in message
    assert "source:" in fix


def test_a_file_that_is_too_large_is_refused_unread(reading):
    ((_, _, message, fix),) = complaints(reading, "#" * (LARGEST + 1))
    assert f"larger than {LARGEST:,} bytes" in message
    assert fix == "split it"


def test_a_file_that_is_not_there_is_refused(tmp_path, vocabulary):
    for path, words in [(tmp_path / "none.yaml", "cannot be read"), (tmp_path, "cannot be read")]:
        with pytest.raises(UnusableInput) as error:
            read_form(path, vocabulary)
        (complaint,) = error.value.complaints
        assert complaint.place == Place(str(path))
        assert words in complaint.message
        assert complaint.fix == "check the name of the file"


BOMB = "a: &a [x,x,x,x,x,x,x,x,x]\n" + "".join(
    f"{new}: &{new} [{','.join(['*' + old] * 9)}]\n" for old, new in zip("abcdefghijklm", "bcdefghijklmn", strict=True)
)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (BOMB, "an alias"),
        ("source: " + "[" * 100_000, "nested too deeply"),
        ("source: " + "{a: " * 100_000, "nested too deeply"),
        ("- " * 100_000, "nested too deeply"),
        ("".join("  " * depth + "a:\n" for depth in range(600)), "nested too deeply"),
    ],
    ids=["aliases", "lists", "mappings", "dashes", "lines"],
)
def test_a_file_made_to_exhaust_the_reader_is_refused_at_once(reading, text, words):
    start = time.perf_counter()
    ((_, _, message, _),) = complaints(reading, text)
    assert words in message
    assert time.perf_counter() - start < 5


def test_a_tag_builds_no_object(reading):
    form = reading("source: !!python/object/apply:os.abort {id: a-1, title: T, kind: textbook}\n")
    assert form.source.id == "a-1"


def test_every_mistake_of_a_form_is_told_in_the_order_of_the_file(reading):
    text = """\
source:
  id: A 1
  title: ''
  kind: textbok
  year: 16
claims:
  - {parameter: spacer-thicknes, value: 2 mm}
  - {parameter: spacer-thickness, when: {arch: upper-jaw-of-a-whale}, value: 3-1 mm}
  - {parameter: relief-areas, value: {}}
  - {parameter: stop-sites, value: [], obtained: hearsay-of-a-kind}
  - x
rulings:
  - {parameter: stop-count, value: 2.5}
"""
    found = complaints(reading, text)
    assert [(line, message.split(":")[0]) for line, _, message, _ in found] == [
        (2, "source id"),
        (3, "title is empty"),
        (4, "kind"),
        (5, "year"),
        (7, "parameter"),
        (8, "arch"),
        (8, "value"),
        (9, "value"),
        (10, "value"),
        (10, "obtained"),
        (11, "claim must be a mapping"),
        (13, "ruling"),
        (13, "ruling"),
        (13, "ruling"),
        (13, "value"),
    ]
    assert [place[:2] for place in found] == sorted(place[:2] for place in found)


def test_a_condition_that_is_not_understood_makes_no_second_complaint(reading):
    """Without their conditions the two would go by one id, but that is not what is wrong."""
    found = complaints(
        reading,
        HEAD + "  - {parameter: stop-count, when: {arch: uper}, value: 2}\n"
        "  - {parameter: stop-count, when: {arch: lwer}, value: 3}\n",
    )
    assert [(line, message) for line, _, message, _ in found] == [
        (3, "arch: unknown term uper"),
        (4, "arch: unknown term lwer"),
    ]


def test_a_complaint_can_be_printed_whatever_the_file_holds(reading):
    """An escape sequence for the terminal, or half a character, must not come through."""
    for key in ('"\\x1b[2J"', '"\\ud800"'):
        ((_, _, message, _),) = complaints(reading, f"{key}: 1\n")
        assert message.isprintable()
        message.encode()
