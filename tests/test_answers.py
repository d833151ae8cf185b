"""Answers for a case: what holds, what the case leaves open, what excludes what, and the reasons behind an answer."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import store_of
from plain_reading import PlainReading

from trayconcord.kb.model import Scope, in_order
from trayconcord.kb.store import Store, load
from trayconcord.kb.values import Choice, Membership
from trayconcord.shapes.answers import Answer, Casebook, contradictions, governing_value, in_case, why, without_repeats
from trayconcord.shapes.compare import Comparison

STORE = load()
COMPARISON = Comparison(STORE)
VOCABULARY = STORE.vocabulary
CASE_AXES = [axis for axis in VOCABULARY.axes.values() if axis.of_case]


@st.composite
def cases(draw: st.DrawFn) -> Scope:
    """Any conditions that a case may state and that do not exclude each other."""
    chosen: dict[str, str] = {}
    for axis in draw(st.lists(st.sampled_from(CASE_AXES), unique=True, max_size=6)):
        chosen[axis.id] = draw(st.sampled_from([concept.id for concept in VOCABULARY.in_scheme(axis.scheme)]))
    case = in_order(chosen, VOCABULARY)
    return case if not contradictions(case, VOCABULARY) else ()


def case_of(**conditions: str) -> Scope:
    return in_order({axis.replace("_", "-"): concept for axis, concept in conditions.items()}, VOCABULARY)


def answers_to(store: Store, parameter: str, case: Scope) -> list[Answer]:
    return Casebook(store, Comparison(store)).answer(store.vocabulary.parameters[parameter], case)


NOTES = """\
source: {id: one-work, title: One, kind: textbook}
claims:
  - {parameter: spacer-thickness, value: 1 mm, at: p. 1, obtained: read}
  - {parameter: spacer-thickness, when: {impression-material: polyether}, value: 2 mm, at: p. 2, obtained: read}
  - {parameter: spacer-thickness, when: {impression-material: polyether, consistency: low-consistency}, value: 3 mm,
     at: p. 3, obtained: read}
  - {parameter: border-clearance, value: 2 mm, at: p. 4, obtained: read}
  - {parameter: border-clearance, when: {region: labial-sulcus}, value: 3 mm, at: p. 4, obtained: read}
"""


def test_a_site_of_its_own_has_an_answer_of_its_own(tmp_path: Path) -> None:
    store = store_of(tmp_path, NOTES)
    whole, site = answers_to(store, "border-clearance", case_of(arch="maxillary"))
    assert whole.topic.when == case_of(arch="maxillary")
    assert dict(site.topic.when) == {"arch": "maxillary", "region": "labial-sulcus"}
    assert [claim.printed for claim in site.topic.claims] == ["3 mm"]


def test_a_case_is_asked_for_what_the_value_depends_on_and_sources_speak_of(tmp_path: Path) -> None:
    store = store_of(tmp_path, NOTES)
    (answer,) = answers_to(store, "spacer-thickness", case_of(arch="maxillary"))
    assert answer.asks == ("impression-material", "consistency")
    (answer,) = answers_to(store, "spacer-thickness", case_of(impression_material="polyether"))
    assert answer.asks == ("consistency",)
    (answer,) = answers_to(store, "spacer-thickness", case_of(impression_material="irreversible-hydrocolloid"))
    assert answer.asks == (), "no source speaks of alginate, and a consistency goes with elastomers only"
    found = Casebook(store, Comparison(store)).answers(case_of(arch="maxillary"))
    (material, consistency) = found.questions
    assert (material.axis, material.choices, material.parameters) == (
        "impression-material",
        ("polyether",),
        ("spacer-thickness",),
    )
    assert consistency.choices == ("low-consistency",)


def test_what_no_source_speaks_of_is_named(tmp_path: Path) -> None:
    store = store_of(tmp_path, NOTES)
    found = Casebook(store, Comparison(store)).answers(())
    assert "handle-length" in {parameter.id for parameter in found.silent}


def test_for_another_case_only_is_told_apart_from_silence(tmp_path: Path) -> None:
    form = "source: {id: one-work, title: One, kind: textbook}\nclaims:\n  - {parameter: stop-count, "
    store = store_of(tmp_path, form + "when: {arch: mandibular}, value: 3, at: p. 1, obtained: read}\n")
    found = Casebook(store, Comparison(store)).answers(case_of(arch="maxillary"))
    assert [parameter.id for parameter in found.elsewhere] == ["stop-count"]


@pytest.mark.parametrize(
    ("conditions", "clash"),
    [
        ({"fabrication_method": "sprinkle-on", "tray_material": "light-cured-resin"}, ["sprinkle-on"]),
        ({"fabrication_method": "fused-deposition", "tray_material": "shellac"}, ["fused-deposition"]),
        ({"impression_material": "irreversible-hydrocolloid", "consistency": "low-consistency"}, ["low-consistency"]),
        ({"fabrication_method": "sprinkle-on", "tray_material": "acrylic-resin"}, []),
        ({"impression_material": "polyether", "consistency": "low-consistency"}, []),
        ({"fabrication_method": "hand-formed", "tray_material": "light-cured-resin"}, []),
    ],
)
def test_conditions_that_do_not_occur_together(conditions: dict[str, str], clash: list[str]) -> None:
    """Common practice, no source: what is made of what, and which materials come in consistencies."""
    assert [found.concept for found in contradictions(case_of(**conditions), VOCABULARY)] == clash


def test_no_shipped_claim_holds_conditions_that_exclude_each_other() -> None:
    assert [claim.id for claim in STORE.claims if contradictions(claim.when, VOCABULARY)] == []


@given(cases())
@settings(max_examples=40)
def test_an_answer_is_the_topic_at_its_scope_and_covers_the_case(case: Scope) -> None:
    found = Casebook(STORE, COMPARISON).answers(case)
    for answer in found.answers:
        assert dict(case).items() <= dict(answer.topic.when).items()
        assert all(not VOCABULARY.axes[axis].of_case for axis in set(dict(answer.topic.when)) - set(dict(case)))
        assert (answer.basis == "open") == (answer.topic.standing == "silent")
        assert (governing_value(answer.topic, VOCABULARY) is None) == (answer.basis != "agreement")
        assert not set(answer.asks) & set(dict(case))
    answered = {answer.parameter.id for answer in found.answers}
    rest = {parameter.id for parameter in (*found.elsewhere, *found.silent)}
    assert not answered & rest
    planned = {p.id for p in VOCABULARY.parameters.values() if VOCABULARY.chapters[p.chapter].planned}
    assert answered | rest == planned


@given(cases(), st.sampled_from(sorted({claim.parameter for claim in STORE.claims})))
@settings(max_examples=60)
def test_the_statements_that_apply_are_those_of_a_plain_reading(case: Scope, parameter: str) -> None:
    found = why(parameter, case, STORE, COMPARISON)
    plain = PlainReading(STORE, parameter).heard(case)
    assert {reason.claim.id for reason in found.reasons if reason.fate == "applies"} == {claim.id for claim in plain}
    assert {reason.claim.id for reason in found.reasons} == {c.id for c in STORE.claims if c.parameter == parameter}


def test_every_fate_of_a_statement_is_told(tmp_path: Path) -> None:
    editions = """\
source: {id: %s, title: Book, kind: textbook, year: %d%s}
claims:
  - {parameter: spacer-thickness, value: %s, at: p. 1, obtained: read}
"""
    copied = NOTES.replace("one-work", "copied-notes").replace("title: One,", "title: Copy, compiled-from: [one-work],")
    store = store_of(
        tmp_path,
        NOTES,
        copied,
        editions % ("book-1990", 1990, "", "5 mm"),
        editions % ("book-2000", 2000, ", edition-of: book-1990", "4 mm"),
        NOTES.replace("one-work", "far-work").replace("polyether", "irreversible-hydrocolloid"),
    )
    found = why("spacer-thickness", case_of(impression_material="polyether"), store, Comparison(store))
    fates = {reason.claim.id: (reason.fate, reason.by) for reason in found.reasons}
    assert fates["one-work/spacer-thickness/polyether"] == ("applies", ())
    assert fates["one-work/spacer-thickness"] == ("overridden", ("one-work/spacer-thickness/polyether",))
    assert fates["one-work/spacer-thickness/polyether+low-consistency"] == ("narrower", ("consistency",))
    assert fates["book-1990/spacer-thickness"] == ("superseded", ("book-2000",))
    assert fates["copied-notes/spacer-thickness/polyether"] == ("repeats", ("one-work",))
    assert fates["far-work/spacer-thickness/irreversible-hydrocolloid"] == ("other case", ())
    assert found.voices == {"book-1990": ("book-2000",), "far-work": ("far-work",), "one-work": ("one-work",)}


def test_the_ruling_that_governs_is_told_beside_the_wider_one(tmp_path: Path) -> None:
    rulings = """\
rulings:
  - {parameter: spacer-thickness, value: 1 mm, because: one, decided-on: 2026-05-12, decided-by: board}
  - {parameter: spacer-thickness, when: {impression-material: elastomer}, value: 2 mm, because: two,
     decided-on: 2026-05-12, decided-by: board}
  - {parameter: spacer-thickness, when: {impression-material: polyether, consistency: low-consistency}, value: 3 mm,
     because: three, decided-on: 2026-05-12, decided-by: board}
"""
    store = store_of(tmp_path, NOTES, rulings)
    found = why("spacer-thickness", case_of(impression_material="polyether"), store, Comparison(store))
    assert [(ruling.because, fate) for ruling, fate in found.rulings] == [
        ("one", "a narrower ruling governs"),
        ("two", "governs"),
        ("three", "is for a narrower case"),
    ]


def test_a_set_reads_without_what_does_not_occur_in_the_case() -> None:
    vocabulary = VOCABULARY
    both = Membership(frozenset({"torus-palatinus", "torus-mandibularis"}), frozenset({"rugae"}))
    lower = in_case(both, (("arch", "mandibular"),), vocabulary)
    assert lower == Membership(frozenset({"torus-mandibularis"}), frozenset())
    assert in_case(both, (), vocabulary) == both
    only = Membership(frozenset({"torus-palatinus"}))
    assert in_case(only, (("arch", "mandibular"),), vocabulary) == only, "a statement is never emptied"
    assert in_case(Choice("torus-palatinus"), (("arch", "mandibular"),), vocabulary) == Choice("torus-palatinus")


def test_a_site_is_told_unless_it_says_what_is_said_of_the_whole(tmp_path: Path) -> None:
    def work(name: str, *claims: str) -> str:
        listed = "\n".join(
            f"  - {{parameter: border-clearance, {claim}, at: p. 1, obtained: read}}" for claim in claims
        )
        return f"source: {{id: {name}, title: {name}, kind: textbook, year: 2020}}\nclaims:\n{listed}\n"

    one = work("one-work", "value: 1 mm")
    other = work("other-work", "value: 5 mm", "when: {region: labial-sulcus}, value: 3 mm")
    store = store_of(tmp_path, one, other)
    found = Casebook(store, Comparison(store)).answer(VOCABULARY.parameters["border-clearance"], ())
    assert len(found) == 2 and without_repeats(found, (), VOCABULARY) == found, "two contests, of different values"
    (tmp_path / "same").mkdir()
    same = store_of(
        tmp_path / "same", one, work("other-work", "value: 1 mm", "when: {region: labial-sulcus}, value: 1 mm")
    )
    found = Casebook(same, Comparison(same)).answer(VOCABULARY.parameters["border-clearance"], ())
    assert len(found) == 2 and without_repeats(found, (), VOCABULARY) == found[:1]
