"""Forms: what is read; and no file whatever makes the reader fall over. All sources in these forms are invented."""

import contextlib
import random
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.form_text import form_text
from trayconcord.kb.model import Source
from trayconcord.kb.values import Choice, Membership, Nothing, Quantity, Steps, YesNo

GOOD = """\
# An invented handout.
source:
  id: harrow-vale-2024
  title: "Bench handout: custom trays"
  authors: [Harrow Vale Dental School, "Vale, Hanna"]
  year: 2024
  kind: lecture-notes
  container: Second-year course
  doi: 10.1000/xyz123
  isbn: 978-0-00-000000-2
  language: en
  withdrawn: replaced by the edition of 2025
  edition-of: harrow-vale
  compiled-from: [older-handout, another-handout]
  note: an invented source
claims:
  - parameter: spacer-thickness
    when: {impression-material: zinc-oxide-eugenol-paste, arch: maxillary}
    value: 0.5-1.5 mm
    at: p. 14
    obtained: read
    note: said of the upper tray
  - {parameter: spacer-thickness, value: about 2 mm, obtained: reported, reported-by: another-handout}
  - {parameter: spacer-thickness, value: none, id: harrow-vale-2024/spacer-thickness/close-fitting}
  - {parameter: stop-count, value: 3, obtained: recalled}
  - {parameter: spacer-design, value: full-spacer, obtained: practice}
  - {parameter: relief-areas, value: [rugae, incisive-papilla]}
  - {parameter: stop-sites, value: {includes: [canine-region], excludes: [rugae]}}
  - {parameter: spacer-coverage, value: none}
  - {parameter: tray-adhesive, value: yes}
  - {parameter: soak-cast, value: No}
  - parameter: procedure
    value:
      - draw-outline
      - adapt-spacer
      - cure
rulings:
  - parameter: spacer-thickness
    when: {impression-material: polyether}
    value: 2 mm
    because: one sheet is at hand
    decided-on: 2026-05-12
    decided-by: curriculum committee
    review-by: 2027-05-12
cases:
  - id: upper-edentulous
    label: Upper jaw without teeth
    when: {arch: maxillary, dentition: edentulous}
    asks: [wall-thickness, spacer-thickness]
"""


# --- what is read ----------------------------------------------------------------------------------------------------


def test_a_good_form_is_read_in_full(reading):
    form = reading(GOOD)
    assert form.source == Source(
        id="harrow-vale-2024",
        title="Bench handout: custom trays",
        authors=("Harrow Vale Dental School", "Vale, Hanna"),
        year=2024,
        kind="lecture-notes",
        container="Second-year course",
        doi="10.1000/xyz123",
        isbn="978-0-00-000000-2",
        language="en",
        withdrawn="replaced by the edition of 2025",
        edition_of="harrow-vale",
        compiled_from=("another-handout", "older-handout"),
        note="an invented source",
    )
    two, half, three_halves = Fraction(2), Fraction(1, 2), Fraction(3, 2)
    assert [(claim.parameter, claim.value, claim.printed) for claim in form.claims] == [
        ("spacer-thickness", Quantity(half, three_halves, "MilliM"), "0.5-1.5 mm"),
        ("spacer-thickness", Quantity(two, two, "MilliM", True), "about 2 mm"),
        ("spacer-thickness", Nothing(), "none"),
        ("stop-count", Quantity(Fraction(3), Fraction(3), "UNITLESS"), "3"),
        ("spacer-design", Choice("full-spacer"), ""),
        ("relief-areas", Membership(frozenset({"rugae", "incisive-papilla"}), frozenset(), True), ""),
        ("stop-sites", Membership(frozenset({"canine-region"}), frozenset({"rugae"}), False), ""),
        ("spacer-coverage", Nothing(), ""),
        ("tray-adhesive", YesNo(True), ""),
        ("soak-cast", YesNo(False), ""),
        ("procedure", Steps(("draw-outline", "adapt-spacer", "cure")), ""),
    ]
    first, second, third, *_ = form.claims
    # Conditions stand in the vocabulary's order of axes, whatever the order in the form.
    assert first.when == (("arch", "maxillary"), ("impression-material", "zinc-oxide-eugenol-paste"))
    assert first.id == "harrow-vale-2024/spacer-thickness/maxillary+zinc-oxide-eugenol-paste"
    assert (first.at, first.obtained, first.note) == ("p. 14", "read", "said of the upper tray")
    assert (second.obtained, second.reported_by) == ("reported", "another-handout")
    assert third.id == "harrow-vale-2024/spacer-thickness/close-fitting"
    assert {claim.source for claim in form.claims} == {"harrow-vale-2024"}

    (ruling,) = form.rulings
    assert (ruling.id, ruling.parameter) == ("spacer-thickness?impression-material=polyether", "spacer-thickness")
    assert (ruling.decided_on, ruling.review_by) == ("2026-05-12", "2027-05-12")
    assert (ruling.because, ruling.decided_by) == ("one sheet is at hand", "curriculum committee")
    assert ruling.value == Quantity(two, two, "MilliM")

    (case,) = form.cases
    assert (case.id, case.label) == ("upper-edentulous", "Upper jaw without teeth")
    assert case.when == (("arch", "maxillary"), ("dentition", "edentulous"))
    assert case.asks == ("spacer-thickness", "wall-thickness")


@pytest.mark.parametrize("change", [lambda t: "\ufeff" + t, lambda t: t.replace("\n", "\r\n"), lambda t: "---\n" + t])
def test_how_a_file_was_saved_makes_no_difference(reading, change):
    assert reading(change(GOOD)) == reading(GOOD)


def test_words_are_taken_as_they_stand(reading):
    """YAML would make numbers, dates and truth values of these; a form means the text."""
    form = reading("source: {id: 2024-01-02, title: 010, kind: textbook, container: yes, isbn: 1e3, note: 'null'}\n")
    source = form.source
    assert (source.id, source.title, source.container) == ("2024-01-02", "010", "yes")
    assert (source.isbn, source.note) == ("1e3", "null")


def test_what_is_doubtful_but_understood_is_recorded(reading):
    """A book may leave out its page, contradict itself or give a strange number: the check says so, not the form."""
    form = reading(
        "source: {id: a-book, title: T, kind: textbook}\n"
        "claims:\n"
        "- {parameter: spacer-thickness, value: 700 mm}\n"
        "- {parameter: spacer-thickness, value: 2 mm, id: a-book/spacer-thickness/again}\n"
    )
    assert len(form.claims) == 2


def test_a_source_without_claims_is_a_form(reading):
    assert reading("source: {id: a-book, title: T, kind: textbook}\nclaims: []\n").claims == []


# --- any file whatever -----------------------------------------------------------------------------------------------

SCRAPS = [
    "[", "]", "{", "}", ",", ":", " ", "\n", "\t", "-", "- ", "?", "|", ">", "&a ", "*a", "!", "!!int ", "'", '"', "#",
    "%", "@", "`", "~", "null", "---", "...", "\\", "\\x00", "\\ud800", "<<: ", "\x07", "\x85", "\u2028", "\ufeff",
    "\U0001f9b7", "source:", "claims:", "value:", "2 mm", "none", "1/0 in", "[]", "{}", "0", "9" * 30,
]  # fmt: skip


def mutated(text, seed):
    """A form with a few random slips."""
    dice = random.Random(seed)
    for _ in range(dice.randint(1, 5)):
        at, kind = dice.randrange(len(text) + 1), dice.random()
        if kind < 0.25:
            text = text[:at] + text[at + dice.randint(1, 12) :]
        elif kind < 0.75:
            text = text[:at] + dice.choice(SCRAPS) + text[at:]
        elif kind < 0.9:
            lines = text.split("\n")
            line = dice.randrange(len(lines))
            lines[line : line + 1] = dice.choice([[], [lines[line]] * 2, [" " + lines[line]], [lines[line].strip()]])
            text = "\n".join(lines)
        else:
            text = text[:at] + chr(dice.choice([dice.randrange(128), dice.randrange(0xD800)])) + text[at:]
    return text


def accept(reading, text):
    """Read a form or refuse it: nothing else may happen, and what is read can be printed back."""
    with contextlib.suppress(UnusableInput):
        form = reading(text)
        if form.source:
            again = reading(form_text(form.source, form.claims))
            assert again.source == form.source
            assert again.claims == form.claims


@given(st.text(max_size=200) | st.binary(max_size=200))
def test_no_file_raises_anything_but_unusable_input(reading, text):
    accept(reading, text)


@given(st.integers(0, 10**9))
def test_no_slip_in_a_form_raises_anything_but_unusable_input(reading, seed):
    accept(reading, mutated(GOOD, seed))


@pytest.mark.slow
def test_many_slips_in_a_form(reading):
    for seed in range(5_000):
        accept(reading, mutated(GOOD, seed))
