"""A course's marking policy: entered by a form, kept as Turtle, printed back, replaced. Everything here is invented."""

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import enter_forms, store_of

from trayconcord.generators.cli import main
from trayconcord.generators.entry import enter
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.forms import read_form
from trayconcord.kb.marking import LEFT_OUT, ZERO, MarkingItem, MarkingPolicy, policy_triples, read_policy
from trayconcord.kb.marking_form import policy_form
from trayconcord.kb.model import topic_id
from trayconcord.kb.store import Store, load
from trayconcord.kb.triples import Triples
from trayconcord.kb.turtle import new_graph
from trayconcord.shapes.check import check

VOCABULARY = load(only=True).vocabulary

POLICY = """\
marking:
  pass: 60 %
  borderline: 1/3
  not-measured: zero
  decided-on: 2026-05-12
  decided-by: "a board: the first"
  items:
    - {parameter: border-clearance, sites: [posterior-border, labial-sulcus], weight: 3, tolerance: 1/2 mm,
       uncertainty: 200 µm}
    - {parameter: wall-thickness, when: {tray-material: shellac}, weight: 1/3, tolerance: 12.5 %, borderline: 0}
    - {parameter: stop-count, tolerance: 1}
    - {parameter: border-finish, weight: 0}
"""


def test_a_policy_is_stored_and_read_as_it_was_written(tmp_path: Path) -> None:
    layer = enter_forms(tmp_path, POLICY)
    assert [path.relative_to(layer).as_posix() for path in layer.rglob("*.ttl")] == ["marking/policy.ttl"]
    policy = load([layer], only=True).marking
    assert policy is not None
    assert (policy.pass_mark, policy.borderline, policy.unmeasured) == (Fraction(3, 5), Fraction(1, 3), ZERO)
    assert (policy.decided_on, policy.decided_by) == ("2026-05-12", "a board: the first")
    by_id = {item.id: item for item in policy.items}
    assert list(by_id) == ["border-clearance", "border-finish", "stop-count", "wall-thickness?tray-material=shellac"]
    border = by_id["border-clearance"]
    assert border.sites == ("labial-sulcus", "posterior-border")
    assert (border.weight, border.tolerance, border.uncertainty) == (3, Fraction(1, 2), Fraction(1, 5))
    wall = by_id["wall-thickness?tray-material=shellac"]
    assert (wall.weight, wall.tolerance, wall.tolerance_share) == (Fraction(1, 3), None, Fraction(1, 8))
    assert (wall.borderline, border.borderline) == (0, None)
    assert by_id["stop-count"].tolerance == 1


def test_a_policy_that_is_entered_again_takes_the_place_of_the_other_whole(tmp_path: Path) -> None:
    layer = enter_forms(tmp_path, POLICY)
    form = tmp_path / "again.yaml"
    form.write_text("marking: {items: [{parameter: stop-count}]}", encoding="utf-8")
    assert enter([form], [layer], True, layer).replaced == ["marking/policy.ttl"]
    assert load([layer], only=True).marking == MarkingPolicy((MarkingItem("stop-count", "stop-count"),))


def test_two_policies_at_once_are_refused(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="a marking policy stands in"):
        enter_forms(tmp_path, POLICY, POLICY)


def test_the_shipped_store_has_no_policy(shipped_store: Store) -> None:
    assert shipped_store.marking is None


def test_form_prints_the_policy_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    layer = enter_forms(tmp_path, POLICY)
    capsys.readouterr()
    assert main(["form", "marking", "--only", "--kb", str(layer)]) == 0
    printed = capsys.readouterr().out
    assert "    - {parameter: stop-count, weight: 1, tolerance: 1}\n" in printed
    again = enter_forms(tmp_path, printed, name="again")
    assert (again / "marking" / "policy.ttl").read_bytes() == (layer / "marking" / "policy.ttl").read_bytes()
    assert main(["form", "marking", "--only"]) == 2, "no policy, and no source of that name"


weights = st.fractions(min_value=0, max_value=50, max_denominator=30)
parts = st.fractions(min_value=0, max_value=1, max_denominator=30)
TAKEN = [parameter for parameter in VOCABULARY.parameters.values() if parameter.on_tray]
PLACES = [concept.id for concept in VOCABULARY.in_scheme("region")]


@st.composite
def policies(draw: st.DrawFn) -> MarkingPolicy:
    items = []
    for parameter in draw(st.lists(st.sampled_from(TAKEN), max_size=5, unique_by=lambda p: p.id)):
        when = draw(st.sampled_from([(), (("arch", "maxillary"),), (("region", "palate"),)]))
        at_sites = parameter.on_tray == "at sites"
        sites = draw(st.lists(st.sampled_from(PLACES), max_size=3, unique=True)) if at_sites else []
        kind = draw(st.sampled_from(["none", "amount", "share"]))
        measured = parameter.kind in ("interval", "count")
        whole = st.integers(0, 3).map(Fraction)
        amounts = whole if parameter.kind == "count" else weights
        order = VOCABULARY.concepts
        items.append(
            MarkingItem(
                topic_id(parameter.id, when),
                parameter.id,
                when,
                tuple(sorted(sites, key=lambda site: (order[site].order, site))),
                weight=draw(weights),
                tolerance=draw(amounts) if measured and kind == "amount" else None,
                tolerance_share=draw(weights) if parameter.kind == "interval" and kind == "share" else None,
                uncertainty=draw(st.none() | amounts) if measured else None,
                borderline=draw(st.none() | parts),
            )
        )
    items.sort(key=lambda item: (VOCABULARY.parameters[item.parameter].order, len(item.when), item.id))
    by = st.sampled_from(["", "a board", 'the "old": board', "0", "yes"])
    return MarkingPolicy(
        tuple(items), draw(parts), draw(st.none() | parts), draw(st.sampled_from([LEFT_OUT, ZERO])),
        draw(st.sampled_from(["", "2026-05-12"])), draw(by),
    )  # fmt: skip


@pytest.fixture(scope="module")
def form_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A file to write forms to."""
    return tmp_path_factory.mktemp("policies") / "form.yaml"


@given(policy=policies())
@settings(max_examples=60)
def test_a_policy_goes_to_turtle_and_to_a_form_and_back(form_path: Path, policy: MarkingPolicy) -> None:
    graph = new_graph()
    policy_triples(graph, policy, VOCABULARY)
    assert read_policy(Triples(graph), VOCABULARY) == policy
    form_path.write_text(policy_form(policy, VOCABULARY), encoding="utf-8")
    assert read_form(form_path, VOCABULARY).marking == policy


MISTAKES = {
    "marking: {pass: 60 %}": "marking: items is missing",
    "marking: {items: [{weight: 2}]}": "marking item: parameter is missing",
    "marking: {items: [{parameter: stops}]}": "parameter: unknown term stops",
    "marking: {items: [{parameter: flexural-strength}]}": "parameter: flexural-strength is not taken from a tray",
    "marking: {items: [{parameter: stop-count}, {parameter: stop-count}]}": "marking item stop-count stands twice",
    "marking: {items: [{parameter: stop-count, sites: [palate]}]}": "sites: number of stops is taken once for a tray",
    "marking: {items: [{parameter: wall-thickness, sites: [palate, palate]}]}": "site palate stands twice",
    "marking: {items: [{parameter: wall-thickness, sites: [roof]}]}": "sites: unknown term roof",
    "marking: {items: [{parameter: wall-thickness, tolerance: 2}]}": 'tolerance: "2" has no unit',
    "marking: {items: [{parameter: wall-thickness, tolerance: 1-2 mm}]}": 'tolerance: "1-2 mm" is a range',
    "marking: {items: [{parameter: wall-thickness, tolerance: -1 mm}]}": "tolerance: the tolerance -1 mm is negative",
    "marking: {items: [{parameter: wall-thickness, tolerance: some %}]}": 'tolerance: "some %" is no number',
    "marking: {items: [{parameter: frenum-relief, tolerance: 1 mm}]}": "tolerance: relief at the frena is not a quant",
    "marking: {items: [{parameter: wall-thickness, uncertainty: 1 s}]}": "which does not measure wall thickness",
    "marking: {items: [{parameter: stop-count, weight: -1}]}": 'weight: "-1" is no number',
    "marking: {items: [{parameter: stop-count, weight: 20 %}]}": "weight: 20 %",
    "marking: {items: [{parameter: stop-count, weight: 1/0}]}": 'weight: "1/0" is no number',
    "marking: {items: [{parameter: stop-count, points: 2}]}": "marking item: unknown key points",
    "marking: {items: [], pass: 120 %}": "pass: 120 % is more than the whole",
    "marking: {items: [], borderline: half}": 'borderline: "half" is no number',
    "marking: {items: [], not-measured: forgiven}": "not-measured: forgiven",
    "marking: {items: [], decided-on: 12 May}": "decided-on: 12 May",
    "marking: yes": "marking must be a mapping",
}


@pytest.mark.parametrize("text", MISTAKES)
def test_a_mistake_in_a_policy_is_told_at_its_place(tmp_path: Path, text: str) -> None:
    path = tmp_path / "form.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UnusableInput) as error:
        read_form(path, VOCABULARY)
    (complaint,) = error.value.complaints
    assert MISTAKES[text] in complaint.message
    assert complaint.place.line == 1 and complaint.place.column > 1 and complaint.fix


TURTLE = """\
@prefix axis: <https://w3id.org/trayconcord/axis/> .
@prefix concept: <https://w3id.org/trayconcord/concept/> .
@prefix parameter: <https://w3id.org/trayconcord/parameter/> .
@prefix qudt: <http://qudt.org/schema/qudt/> .
@prefix tc: <https://w3id.org/trayconcord/def/> .
@prefix unit: <http://qudt.org/vocab/unit/> .
<https://w3id.org/trayconcord/marking/policy> a tc:MarkingPolicy .
<https://w3id.org/trayconcord/marking/x> a tc:MarkingItem ; tc:parameter parameter:wall-thickness """


@pytest.mark.parametrize(
    ("said", "rule"),
    [
        ("; tc:weight -1.0", "malformed-value"),
        ("; tc:weight 1.0, 2.0", "malformed-value"),
        ('; tc:weight "much"', "malformed-value"),
        ("; tc:borderlineCredit 2.0", "malformed-value"),
        ("; tc:toleranceQuantity 1.0 ; qudt:hasUnit unit:HR", "wrong-dimension"),
        ("; tc:site concept:nowhere", "unknown-term"),
        ("; axis:arch concept:nowhere", "unknown-term"),
        (", parameter:unheard-of", "unknown-term"),
    ],
)
def test_what_cannot_be_read_of_a_policy_written_by_hand_is_a_violation(tmp_path: Path, said: str, rule: str) -> None:
    (tmp_path / "kb" / "marking").mkdir(parents=True)
    text = TURTLE + said + " ."
    if said.startswith(", "):
        text = text.replace("parameter:wall-thickness , ", "")
    (tmp_path / "kb" / "marking" / "policy.ttl").write_text(text, encoding="utf-8")
    store = load([tmp_path / "kb"], only=True)
    findings = check(store).findings
    assert [f.rule for f in findings if f.severity == "violation"] == [rule]
    (finding,) = (f for f in findings if f.rule == rule)
    assert finding.where[0].line == 8
    assert "items: []" in policy_form(store.marking, VOCABULARY)  # type: ignore[arg-type]


def test_a_tolerance_written_by_hand_in_another_unit_is_converted(tmp_path: Path) -> None:
    (tmp_path / "kb" / "marking").mkdir(parents=True)
    text = TURTLE + "; tc:toleranceQuantity 0.1 ; qudt:hasUnit unit:CentiM ."
    (tmp_path / "kb" / "marking" / "policy.ttl").write_text(text, encoding="utf-8")
    policy = load([tmp_path / "kb"], only=True).marking
    assert policy is not None and policy.items[0].tolerance == 1


def test_an_item_without_a_rule_in_any_taught_case_is_found(tmp_path: Path) -> None:
    ruling = (
        "rulings:\n  - {parameter: stop-count, when: {arch: maxillary}, value: 4, because: x, decided-on: 2026-05-12,"
        " decided-by: x, without-source: for a test}\n"
    )
    cases = "cases:\n  - {id: lower, when: {arch: mandibular}, asks: [stop-count]}\n"
    policy = "marking: {items: [{parameter: stop-count}]}\n"
    report = check(store_of(tmp_path, ruling + cases + policy))
    (finding,) = (f for f in report.findings if f.rule == "marking-without-rule")
    assert "number of stops" in finding.message and finding.severity == "warning"
    assert finding.where[0].file.endswith("policy.ttl")
    (tmp_path / "second").mkdir()
    upper = cases + "  - {id: upper, when: {arch: maxillary}, asks: [stop-count]}\n"
    assert check(store_of(tmp_path / "second", ruling + upper + policy)).states["marking-without-rule"] == "passed"
