"""Marking whole trays: what is looked at, how weights are shared, and the score. Everything here is invented."""

from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invented import store_of

from trayconcord.generators.export import rules_document
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.measured_file import Measurement, Tray
from trayconcord.kb.model import Scope
from trayconcord.kb.store import Store
from trayconcord.kb.values import Interval
from trayconcord.shapes.answers import governing_value
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.marking import Mark, Marks, TrayMarks, mark, sites_of

NOTES = """\
source: {id: one-work, title: One, kind: textbook}
claims:
  - {parameter: border-clearance, value: 2 mm, at: p. 1, obtained: read}
  - {parameter: wall-thickness, value: 2-3 mm, at: p. 1, obtained: read}
  - {parameter: stop-count, value: 3, at: p. 1, obtained: read}
  - {parameter: handle-length, value: 8 mm, at: p. 1, obtained: read}
  - {parameter: flexural-strength, value: 60 MPa, at: p. 1, obtained: read}
"""
OTHER = """\
source: {id: other-work, title: Other, kind: textbook}
claims:
  - {parameter: border-clearance, value: 2-3 mm, at: p. 1, obtained: read}
  - {parameter: wall-thickness, value: 2 mm, at: p. 1, obtained: read}
  - {parameter: wall-thickness, when: {region: palate}, value: 4 mm, at: p. 2, obtained: read}
  - {parameter: stop-count, value: 4, at: p. 1, obtained: read}
  - {parameter: flexural-strength, value: 60 MPa, at: p. 1, obtained: read}
"""
RULING = """\
rulings:
  - {parameter: stop-count, value: 4, because: short, decided-on: 2026-05-12, decided-by: a board}
"""
POLICY = """\
marking:
  pass: 1/2
  items:
    - {parameter: border-clearance, sites: [labial-sulcus, buccal-sulcus, posterior-border], weight: 3,
       tolerance: 0.5 mm, uncertainty: 0.2 mm}
    - {parameter: stop-count, weight: 2}
    - {parameter: handle-length}
"""
UPPER: Scope = (("arch", "maxillary"),)
LOWER: Scope = (("arch", "mandibular"),)


def found(parameter: str, number: str, site: str = "", uncertainty: str = "") -> Measurement:
    value = Interval(Fraction(number), Fraction(number))
    return Measurement(parameter, site, value, number, Fraction(uncertainty) if uncertainty else None)


def marks_of(store: Store, *trays: Tray, case: Scope = UPPER) -> Marks:
    return mark(store, Comparison(store), case, trays)


def one(store: Store, *measurements: Measurement, case: Scope = UPPER) -> TrayMarks:
    return marks_of(store, Tray("A", measurements), case=case).trays[0]


def by_place(tray: TrayMarks) -> dict[tuple[str, str], Mark]:
    return {(mark.criterion.parameter.id, mark.criterion.site): mark for mark in tray.marks}


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return store_of(tmp_path_factory.mktemp("plain"), NOTES, OTHER, RULING)


@pytest.fixture(scope="module")
def ruled(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return store_of(tmp_path_factory.mktemp("ruled"), NOTES, OTHER, RULING + POLICY)


def test_the_score_is_that_worked_by_hand(ruled: Store) -> None:
    """Border 3 shared by three sites, 1 each; stops 2; the handle has no rule.

    labial 2.0 ± 0.2 of 1.5-2.5: within, 1. buccal 2.4 ± 0.2: borderline, 1/2. posterior not measured. stops 3 of 4:
    outside, 0. Of what was measured 3/2 of 4; of everything 3/2 of 5.
    """
    tray = one(
        ruled,
        found("border-clearance", "2", "labial-sulcus"),
        found("border-clearance", "2.4", "buccal-sulcus"),
        found("stop-count", "3"),
        found("handle-length", "20"),
    )
    marks = by_place(tray)
    assert {place: (m.verdict, m.weight, m.credit) for place, m in marks.items()} == {
        ("border-clearance", "labial-sulcus"): ("within", 1, 1),
        ("border-clearance", "buccal-sulcus"): ("borderline", 1, Fraction(1, 2)),
        ("border-clearance", "posterior-border"): ("not measured", 1, None),
        ("stop-count", ""): ("outside", 2, 0),
        ("handle-length", ""): ("not marked", 0, None),
    }
    score = tray.score
    assert (score.measured, score.overall, score.counted) == (Fraction(3, 8), Fraction(3, 10), Fraction(3, 8))
    assert (score.least, score.most) == (Fraction(2, 8), Fraction(4, 8))
    assert (tray.passed, tray.depends) == (False, True), "half is the pass mark, and the borderline item decides"
    assert marks["border-clearance", "labial-sulcus"].uncertainty_from == "policy"


def test_what_was_not_measured_counts_as_nothing_where_the_policy_says_so(tmp_path: Path) -> None:
    store = store_of(tmp_path, NOTES, OTHER, RULING + POLICY.replace("pass: 1/2", "pass: 1/2\n  not-measured: zero"))
    tray = one(store, found("stop-count", "4"))
    assert (tray.score.measured, tray.score.overall, tray.score.counted) == (1, Fraction(2, 5), Fraction(2, 5))
    assert tray.passed is False


def test_an_item_may_have_a_borderline_credit_of_its_own(tmp_path: Path) -> None:
    policy = POLICY.replace("weight: 3,", "weight: 3, borderline: 1/4,").replace("pass: 1/2", "borderline: 0")
    store = store_of(tmp_path, NOTES, OTHER, RULING + policy)
    tray = one(store, found("border-clearance", "2.4", "buccal-sulcus"))
    assert by_place(tray)["border-clearance", "buccal-sulcus"].credit == Fraction(1, 4)
    assert tray.passed is None and not tray.depends


def test_the_uncertainty_of_a_measurement_goes_before_that_of_the_policy(ruled: Store) -> None:
    tray = one(ruled, found("border-clearance", "2.4", "buccal-sulcus", uncertainty="0.1"))
    told = by_place(tray)["border-clearance", "buccal-sulcus"]
    assert (told.verdict, told.uncertainty) == ("within", Fraction(1, 10))


def test_a_tray_on_which_nothing_was_measured_has_no_score(ruled: Store) -> None:
    tray = one(ruled)
    assert (tray.score.measured, tray.score.counted, tray.score.overall) == (None, None, 0)
    assert tray.passed is None


def test_what_the_policy_does_not_name_is_told_and_weighs_nothing(ruled: Store) -> None:
    tray = one(ruled, found("stop-count", "4"), found("wall-thickness", "5"))
    told = by_place(tray)["wall-thickness", ""]
    assert (told.verdict, told.weight) == ("outside", 0)
    assert tray.score.counted == 1


def test_a_site_that_the_policy_does_not_name_shares_the_weight(ruled: Store) -> None:
    tray = one(ruled, found("border-clearance", "2", "labial-frenum"))
    shares = {m.weight for (parameter, _), m in by_place(tray).items() if parameter == "border-clearance"}
    assert shares == {Fraction(3, 4)}


def test_without_a_policy_every_parameter_weighs_the_same_and_nothing_is_tolerated(plain: Store) -> None:
    tray = one(plain, found("border-clearance", "2.1"), found("wall-thickness", "2"), found("stop-count", "4"))
    marks = by_place(tray)
    assert {(p, s): (m.verdict, m.weight) for (p, s), m in marks.items()} == {
        ("border-clearance", ""): ("outside", 1),
        ("wall-thickness", ""): ("within", 1),
        ("wall-thickness", "palate"): ("not marked", 0),
        ("stop-count", ""): ("within", 1),
        ("handle-length", ""): ("not marked", 0),
    }
    assert tray.score.counted == Fraction(2, 3)
    assert tray.passed is None


def test_what_nobody_can_see_on_a_tray_is_not_looked_for(plain: Store) -> None:
    names = {criterion.parameter.id for criterion in marks_of(plain).criteria}
    assert "flexural-strength" not in names and "stop-count" in names


def test_where_the_sources_differ_or_only_one_speaks_nothing_is_marked(plain: Store) -> None:
    tray = one(plain, found("wall-thickness", "2", "palate"), found("handle-length", "8"), found("stop-width", "3"))
    bases = {place: (m.verdict, m.criterion.basis) for place, m in by_place(tray).items()}
    assert bases["wall-thickness", "palate"] == ("not marked", "contested")
    assert bases["handle-length", ""] == ("not marked", "one voice")
    assert bases["stop-width", ""] == ("not marked", "open")
    assert tray.score.counted is None


def test_rulings_that_tie_govern_nothing(tmp_path: Path) -> None:
    tied = """\
rulings:
  - {parameter: border-clearance, when: {arch: maxillary}, value: 2 mm, because: x, decided-on: 2026-05-12,
     decided-by: x}
  - {parameter: border-clearance, when: {dentition: edentulous}, value: 3 mm, because: x, decided-on: 2026-05-12,
     decided-by: x, without-source: for a test}
"""
    store = store_of(tmp_path, NOTES, OTHER, tied)
    tray = one(store, found("border-clearance", "2"), case=(*UPPER, ("dentition", "edentulous")))
    told = by_place(tray)["border-clearance", ""]
    assert (told.verdict, told.criterion.basis) == ("not marked", "tied rulings")
    topic = told.criterion.topic
    assert topic.tied and topic.standing == "agreed" and governing_value(topic, store.vocabulary) is None
    rules = rules_document(store, Comparison(store))["rules"]
    tied_rules = [
        rule for rule in rules if rule["when"] == dict(topic.when) and rule["parameter"] == "border-clearance"
    ]
    assert not any({"value", "basis", "ruling"} & set(rule) for rule in tied_rules)


def test_the_more_specific_item_of_a_policy_counts_at_its_site(tmp_path: Path) -> None:
    policy = (
        POLICY + "    - {parameter: border-clearance, when: {region: posterior-border}, weight: 5, tolerance: 1 mm}\n"
    )
    store = store_of(tmp_path, NOTES, OTHER, RULING + policy)
    tray = one(store, found("border-clearance", "3", "posterior-border"))
    marks = by_place(tray)
    told = marks["border-clearance", "posterior-border"]
    assert (told.verdict, told.weight) == ("within", 5)
    assert marks["border-clearance", "labial-sulcus"].weight == Fraction(3, 2)


def test_two_items_that_fit_equally_well_are_refused(tmp_path: Path) -> None:
    policy = """\
marking:
  items:
    - {parameter: stop-count, when: {arch: maxillary}}
    - {parameter: stop-count, when: {dentition: edentulous}}
"""
    store = store_of(tmp_path, NOTES, OTHER, RULING + policy)
    with pytest.raises(UnusableInput, match="fit this case equally well"):
        one(store, case=(*UPPER, ("dentition", "edentulous")))


def test_sites_and_items_that_the_case_does_not_have_are_left_out(tmp_path: Path) -> None:
    policy = """\
marking:
  items:
    - {parameter: border-clearance, sites: [labial-sulcus, lingual-sulcus], weight: 3}
    - {parameter: stop-count, when: {arch: mandibular}}
"""
    store = store_of(tmp_path, NOTES, OTHER, RULING + policy)
    assert [(c.parameter.id, c.site) for c in marks_of(store).criteria] == [("border-clearance", "labial-sulcus")]
    assert [(c.parameter.id, c.site) for c in marks_of(store, case=LOWER).criteria] == [
        ("border-clearance", "labial-sulcus"),
        ("border-clearance", "lingual-sulcus"),
        ("stop-count", ""),
    ]
    assert "retromolar-pad" in sites_of(LOWER, store.vocabulary)
    assert "retromolar-pad" not in sites_of(UPPER, store.vocabulary)


places = st.sampled_from(["labial-sulcus", "buccal-sulcus", "posterior-border"])
measurements = st.dictionaries(places, st.tuples(st.integers(0, 12), st.integers(0, 4)), max_size=3)


@st.composite
def classes(draw: st.DrawFn) -> list[Tray]:
    trays = []
    for name in range(draw(st.integers(1, 5))):
        border = draw(measurements)
        measured = [
            Measurement("border-clearance", site, Interval(Fraction(n, 2), Fraction(n, 2)), "", Fraction(u, 4))
            for site, (n, u) in border.items()
        ]
        measured += [found("stop-count", str(draw(st.integers(0, 5))))] if draw(st.booleans()) else []
        trays.append(Tray(f"T{name}", tuple(draw(st.permutations(measured)))))
    return trays


@given(classes(), st.randoms())
@settings(max_examples=50, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_the_order_of_trays_and_of_measurements_changes_nothing(ruled: Store, trays: list[Tray], dice: Random) -> None:
    comparison = Comparison(ruled)

    def told(trays: list[Tray]) -> dict[str, object]:
        marks = mark(ruled, comparison, UPPER, trays)
        return {
            tray.tray.id: ([(one.verdict, one.weight, one.credit) for one in tray.marks], tray.score)
            for tray in marks.trays
        }

    shuffled = [Tray(tray.id, tuple(dice.sample(tray.measurements, len(tray.measurements)))) for tray in trays]
    dice.shuffle(shuffled)
    assert told(shuffled) == told(trays)


@given(classes())
@settings(max_examples=50, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_every_score_lies_between_its_bounds_and_all_weight_is_shared(ruled: Store, trays: list[Tray]) -> None:
    for tray in mark(ruled, Comparison(ruled), UPPER, trays).trays:
        assert sum(m.weight for m in tray.marks) == 5
        if tray.score.counted is not None:
            assert 0 <= tray.score.least <= tray.score.counted <= tray.score.most <= 1
            assert tray.score.overall <= tray.score.measured
