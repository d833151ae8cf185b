"""The check: the four states of a rule, the shapes that a department adds, and what a report promises."""

import socket
from pathlib import Path

import pytest
from invented import NOTES, SHAPES, enter_forms, store_of, write_shapes

from trayconcord.generators.build import build
from trayconcord.generators.check_output import text_report
from trayconcord.generators.cli import main
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.store import Store, load, shipped
from trayconcord.shapes.check import Report, check
from trayconcord.shapes.rules import rule_book

GRAVITY = ["violation", "warning", "info"]

# Each names its rule ours:broken, and each breaks the engine in another place: while it reads the shapes, while it
# reads what they refer to, while it compiles a constraint, while it parses a query.
BROKEN = {
    "no path": "ours:broken a sh:PropertyShape ; sh:targetClass tc:Claim ; sh:minCount 1 .",
    "two paths": "ours:broken a sh:PropertyShape ; sh:targetClass tc:Claim ; sh:path tc:min, tc:max ; sh:minCount 1 .",
    "a nested shape without a path": "ours:broken a sh:NodeShape ; sh:targetClass tc:Claim ; sh:property ours:inner .\n"
    "ours:inner a sh:PropertyShape ; sh:minCount 1 .",
    "a pattern that is none": 'ours:broken sh:targetClass tc:Claim ; sh:path tc:printed ; sh:pattern "(" .',
    "a count that is none": 'ours:broken sh:targetClass tc:Claim ; sh:path tc:min ; sh:minCount "few" .',
    "a query that is none": "ours:broken a sh:NodeShape ; sh:targetClass tc:Claim ; sh:sparql ours:query .\n"
    'ours:query a sh:SPARQLConstraint ; sh:select "SELECT $this WHERE { nonsense" .',
}


def without_shipped(report: Report) -> dict[str, str]:
    """The states of the rules that did not ship."""
    shipped_names = rule_book().rules
    return {name: state for name, state in report.states.items() if name not in shipped_names}


def test_a_rule_passes_or_finds_or_has_nothing_to_look_at(shipped_report: Report) -> None:
    states = shipped_report.states
    assert set(states) == set(rule_book().rules)
    assert states["contested-topic"] == "found"
    assert states["unknown-term"] == "passed"
    assert states["stale-ruling"] == "not exercised"  # the shipped store carries no rulings
    found = {finding.rule for finding in shipped_report.findings}
    assert found == {name for name, state in states.items() if state == "found"}


def test_in_an_empty_store_nothing_passes() -> None:
    report = check(load(only=True))
    assert set(report.states.values()) == {"not exercised"}
    assert report.exit_status == 0


@pytest.mark.parametrize("body", BROKEN.values(), ids=BROKEN)
def test_a_broken_shape_errs_alone(body: str, demo_store: Store, tmp_path: Path) -> None:
    plain = check(demo_store)
    report = check(demo_store, rule_book([write_shapes(tmp_path, body)]))
    assert without_shipped(report) == {"broken": "errored"}
    assert {name: state for name, state in report.states.items() if name != "broken"} == plain.states
    assert report.findings == plain.findings
    assert report.exit_status == 2
    assert list(report.errors) == ["broken"] and report.errors["broken"]
    assert f"error: the rule broken could not be run: {report.errors['broken']}" in text_report(report).splitlines()


def test_a_shipped_rule_that_a_department_breaks_errs_alone(demo_store: Store, tmp_path: Path) -> None:
    plain = check(demo_store)
    report = check(demo_store, rule_book([write_shapes(tmp_path, 'rule:single-voice sh:pattern "(" .')]))
    assert report.states == plain.states | {"single-voice": "errored"}
    assert report.findings == [finding for finding in plain.findings if finding.rule != "single-voice"]
    assert report.exit_status == 2


def test_two_broken_shapes_are_both_named(demo_store: Store, tmp_path: Path) -> None:
    for name in ("one", "other"):
        write_shapes(tmp_path, BROKEN["no path"].replace("broken", name), f"{name}.ttl")
    assert sorted(check(demo_store, rule_book([tmp_path])).errors) == ["one", "other"]


def test_a_rule_of_a_department_is_run_and_told_in_its_own_words(tmp_path: Path) -> None:
    shapes = write_shapes(
        tmp_path,
        """ours:printed-at-length a sh:PropertyShape ;
    sh:targetClass tc:Claim ; sh:path tc:printed ; sh:maxLength 3 ; sh:severity sh:Info ;
    sh:message "{source} prints {value} for {parameter}{conditions}; {unknown} stays" ;
    tc:help "Shorten {value}." .""",
    )
    report = check(store_of(tmp_path, NOTES), rule_book([shapes]))
    (finding,) = (finding for finding in report.findings if finding.rule == "printed-at-length")
    assert finding.message == "Nobody 2020 prints 2-3 mm for spacer thickness (polyether); {unknown} stays"
    assert finding.help == "Shorten 2-3 mm."
    assert finding.severity == "info"
    assert finding.parameter == "spacer-thickness"
    assert finding.sources == ("invented-notes",)
    assert report.states["printed-at-length"] == "found"
    assert report.exit_status == 0


def test_a_nested_shape_without_a_name_keeps_its_severity_and_message(tmp_path: Path) -> None:
    body = """ours:two-parts a sh:NodeShape ; sh:targetClass tc:Source ;
    sh:property [ sh:path bibo:doi ; sh:minCount 1 ; sh:severity sh:Info ; sh:message "no DOI" ] ;
    sh:property [ sh:path bibo:isbn ; sh:minCount 1 ; sh:severity sh:Warning ; sh:message "no ISBN" ] ."""
    report = check(store_of(tmp_path, NOTES), rule_book([write_shapes(tmp_path, body)]))
    found = [(f.severity, f.message) for f in report.findings if f.rule == "two-parts"]
    assert found == [("warning", "no ISBN"), ("info", "no DOI")]


def test_a_rule_that_refers_to_another_is_given_its_own_findings_only(tmp_path: Path) -> None:
    body = """ours:outer sh:targetClass tc:Source ; sh:node ours:inner ; sh:message "outer" .
ours:inner sh:targetClass tc:Claim ; sh:property [ sh:path bibo:doi ; sh:minCount 1 ] ; sh:message "inner" ."""
    report = check(store_of(tmp_path, NOTES), rule_book([write_shapes(tmp_path, body)]))
    assert [f.message for f in report.findings if f.rule == "outer"] == ["outer"]
    assert [f.message for f in report.findings if f.rule == "inner"] == ["inner", "inner"]


def test_a_shape_needs_no_type(tmp_path: Path) -> None:
    # Whatever has a target is a shape: SHACL, W3C 2017, section 2.1.
    body = "ours:untyped sh:targetClass tc:Source ; sh:property [ sh:path bibo:doi ; sh:minCount 1 ] ."
    report = check(store_of(tmp_path, NOTES), rule_book([write_shapes(tmp_path, body)]))
    assert without_shipped(report) == {"untyped": "found"}
    assert report.exit_status == 1  # a violation, where a shape says nothing else: SHACL, section 2.1.4


def test_one_claim_breaking_both_parts_of_a_rule_is_one_finding(tmp_path: Path) -> None:
    layer = enter_forms(tmp_path, NOTES)
    (layer / "sources" / "nameless.ttl").write_text(
        SHAPES + "@prefix parameter: <https://w3id.org/trayconcord/parameter/> .\n"
        "<https://w3id.org/trayconcord/claim/nameless> a tc:Claim ; tc:parameter parameter:soak-cast ; tc:yes true .",
        encoding="utf-8",
    )
    found = [f.message for f in check(load([layer], only=True)).findings if f.rule == "unsourced-claim"]
    assert len(found) == 1
    assert found[0].startswith("an unnamed source gives ")


def test_a_department_restates_a_severity(tmp_path: Path) -> None:
    store = store_of(tmp_path, NOTES)
    assert {f.severity for f in check(store).findings if f.rule == "single-voice"} == {"info"}
    report = check(store, rule_book([write_shapes(tmp_path, "rule:single-voice sh:severity sh:Violation .")]))
    assert {f.severity for f in report.findings if f.rule == "single-voice"} == {"violation"}
    assert report.exit_status == 1


def test_a_department_switches_a_rule_off_and_a_later_file_switches_it_on(tmp_path: Path) -> None:
    store = store_of(tmp_path, NOTES)
    off = write_shapes(tmp_path, "rule:single-voice sh:deactivated true .", "off.ttl")
    on = write_shapes(tmp_path, "rule:single-voice sh:deactivated false .", "on.ttl")
    report = check(store, rule_book([off]))
    assert "single-voice" not in report.states
    assert not [f for f in report.findings if f.rule == "single-voice"]
    assert check(store, rule_book([off, on])).states["single-voice"] == "found"


QUERY = 'ours:asks a sh:NodeShape ; sh:targetNode tc:Claim ; sh:sparql ours:query .\nours:query {} """{}""" .'
REFUSED = {
    "a query with SERVICE": (
        QUERY.format("sh:select", "SELECT $this WHERE { SERVICE <https://example.org/sparql> { $this ?p ?o } }"),
        "would open the network",
    ),
    "one in small letters": (
        QUERY.format("sh:ask", "ASK { service silent <https://example.org/sparql> { $this ?p ?o } }"),
        "would open the network",
    ),
    "a shape without an IRI": ("[] sh:targetClass tc:Claim ; sh:property ours:inner .", "has no IRI"),
    "a severity for no rule": ("rule:single-voic sh:severity sh:Info .", "did you mean rule:single-voice?"),
    "a name that is taken": ("ours:single-voice sh:targetClass tc:Claim ; sh:closed false .", "have the name single-"),
    "a statement without an end": ("ours:x a sh:NodeShape ;\n\n  sh:targetClass", "ours.ttl:10: Turtle syntax"),
    "a prefix that is none": ("ours:x a sh:NodeShape .\n\nours:y\n\n\n  a owl2:Thing .", "ours.ttl:13: Turtle syntax"),
}  # fmt: skip


@pytest.mark.parametrize(("body", "words"), REFUSED.values(), ids=REFUSED)
def test_a_file_of_shapes_is_refused_for(body: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(UnusableInput) as refusal:
        rule_book([write_shapes(tmp_path, body)])
    assert words in str(refusal.value)
    assert "fix: " in str(refusal.value)
    assert "ours.ttl" in str(refusal.value)


def test_shapes_that_are_not_there_are_refused(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match=r"nowhere\.ttl: does not exist"):
        rule_book([tmp_path / "nowhere.ttl"])


def test_imports_are_not_followed(tmp_path: Path, no_network: None) -> None:
    (tmp_path / "elsewhere").mkdir()
    imported = write_shapes(tmp_path / "elsewhere", "ours:imported sh:targetClass tc:Claim ; sh:closed true .")
    imports = f"<https://example.org/our-rules> owl:imports <{imported.as_uri()}>, <https://example.org/more.ttl> .\n"
    ours = write_shapes(tmp_path, imports + "ours:own sh:targetClass tc:Claim ; sh:nodeKind sh:IRI .")
    layer = enter_forms(tmp_path, NOTES)
    (layer / "sources" / "more.ttl").write_text(SHAPES + imports, encoding="utf-8")
    report = check(load([layer], only=True), rule_book([ours]))
    assert without_shipped(report) == {"own": "passed"}


def test_no_command_opens_a_socket(tmp_path: Path, no_network: None) -> None:
    # FROM would make an engine fetch a graph; a JSON-LD context or an import elsewhere would be fetched too
    layer = enter_forms(tmp_path, NOTES)
    body = QUERY.format("sh:select", "SELECT $this FROM <https://example.org/data.ttl> WHERE { $this ?p ?o }")
    shapes = str(write_shapes(tmp_path, body))
    assert main(["check", "--kb", str(layer), "--shapes", shapes]) in (0, 1, 2)
    assert main(["compare", "--kb", str(layer)]) == 0
    assert main(["build", "--kb", str(layer), "--only", "--shapes", shapes, "--out", str(tmp_path / "site")]) in (
        0,
        1,
        2,
    )
    assert main(["form", "--kb", str(layer), "invented-notes"]) == 0


def test_the_network_guard_of_these_tests_guards(monkeypatch: pytest.MonkeyPatch) -> None:
    # a decoy: if the guard let everything through, the tests above would say nothing
    reached = []
    monkeypatch.setattr(socket, "getaddrinfo", lambda *arguments, **_: reached.append(arguments) or [])
    with pytest.raises(OSError):
        socket.create_connection(("example.org", 80), timeout=1)
    assert reached


def test_the_exit_status_is_0_without_and_1_with_a_violation(tmp_path: Path) -> None:
    assert check(store_of(tmp_path, NOTES)).exit_status == 0
    orphan = NOTES.replace("obtained: read}", "obtained: reported, reported-by: nowhere-1990}")
    report = check(store_of(tmp_path, orphan))
    assert [f.rule for f in report.findings if f.severity == "violation"] == ["unknown-source"] * 2
    assert report.exit_status == 1


def test_warnings_alone_leave_the_exit_status_0(shipped_report: Report) -> None:
    assert shipped_report.count("warning") > 0
    assert shipped_report.count("violation") == 0
    assert shipped_report.exit_status == 0


def test_the_gravest_findings_come_first(demo_store: Store, tmp_path: Path, shipped_report: Report) -> None:
    shapes = write_shapes(tmp_path, "rule:single-voice sh:severity sh:Violation .")
    for report in (shipped_report, check(demo_store, rule_book([shapes]))):
        gravities = [GRAVITY.index(finding.severity) for finding in report.findings]
        assert gravities == sorted(gravities)
        assert len(set(gravities)) > 1


def test_firm_contests_come_before_those_that_a_condition_may_explain(shipped_report: Report) -> None:
    rules = [finding.rule for finding in shipped_report.findings]
    last_firm = max(number for number, rule in enumerate(rules) if rule == "contested-topic")
    assert last_firm < rules.index("unstated-condition")
    firm = {topic.id for topic in shipped_report.comparison.topics if topic.firm}
    told = {
        finding.focus.rpartition("/topic/")[2]
        for finding in shipped_report.findings
        if finding.rule == "contested-topic"
    }
    assert told and told <= firm


def test_every_finding_leads_to_the_lines_of_its_claims(shipped_report: Report) -> None:
    texts: dict[str, list[str]] = {}
    assert shipped_report.findings
    for finding in shipped_report.findings:
        assert finding.claims
        for claim in finding.claims:
            place = shipped_report.store.place_of_claim(claim.id)
            assert place in finding.where
            assert place.line > 0
            file = shipped() / Path(place.file).relative_to("kb")
            lines = texts.setdefault(place.file, file.read_text(encoding="utf-8").splitlines())
            assert f"claim/{claim.id}> a tc:Claim" in lines[place.line - 1]


def test_the_check_leaves_the_store_as_it_was(demo_store: Store) -> None:
    before = set(demo_store.graph)
    assert check(demo_store).findings
    assert set(demo_store.graph) == before


def test_a_second_check_says_the_same(demo_store: Store) -> None:
    one, other = check(demo_store), check(demo_store)
    assert one.findings == other.findings
    assert one.states == other.states


def test_a_build_leaves_the_store_as_it_was(demo_store: Store, tmp_path: Path) -> None:
    before = set(demo_store.graph)
    build(check(demo_store), tmp_path / "site")
    assert set(demo_store.graph) == before
