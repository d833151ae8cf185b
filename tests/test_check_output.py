"""What `check` prints: the text for people, the JSON that programs read, SARIF for code-review tools."""

import json
import os
import re
from pathlib import Path
from typing import Any

import pytest
from invented import NOTES, enter_forms, store_of, write_shapes

from trayconcord.generators.check_output import SHOWN, json_of, sarif_of, text_report, told
from trayconcord.generators.cli import main
from trayconcord.kb.store import Store, load
from trayconcord.shapes.check import STATES, Report, check
from trayconcord.shapes.rules import rule_book

# The keys of a finding in the design's public contract, with what it says of a finding elsewhere: its positions.
FINDING_KEYS = {
    "rule", "severity", "message", "parameter", "when", "claims", "positions", "sources", "where", "help",
}  # fmt: skip
SUMMARY_KEYS = {"claims", "sources", "violations", "warnings", "infos", "rules", "errors"}
FAULTY = """# Invented for a test: one parameter, five places left out.
source: {id: invented-faults, title: Faults, kind: lecture-notes, compiled-from: [invented-missing]}
claims:
  - {parameter: spacer-thickness, when: {impression-material: polyether}, value: 2 mm, obtained: read}
  - {parameter: spacer-thickness, when: {impression-material: polysulfide}, value: 2 mm, obtained: read}
  - {parameter: spacer-thickness, when: {impression-material: silicone}, value: 2 mm, obtained: read}
  - {parameter: spacer-thickness, when: {arch: maxillary}, value: 2 mm, obtained: read}
  - {parameter: stop-count, value: 3, obtained: read}
"""
"""A source with one violation, five warnings of one rule (four of them on one parameter), and remarks."""


@pytest.fixture(scope="module")
def faulty(tmp_path_factory: pytest.TempPathFactory) -> Report:
    return check(store_of(tmp_path_factory.mktemp("faulty"), FAULTY))


def as_json(report: Report) -> dict[str, Any]:
    document = json.loads(json_of(told(report, "json")))
    assert isinstance(document, dict)
    return document


def test_the_json_has_the_keys_and_types_of_the_contract(shipped_report: Report, faulty: Report) -> None:
    for report in (shipped_report, faulty):
        document = as_json(report)
        assert set(document) == {"findings", "summary"}
        assert document["findings"]
        for finding in document["findings"]:
            assert set(finding) == FINDING_KEYS
            assert finding["severity"] in ("violation", "warning", "info")
            for key in ("rule", "message", "help", "parameter"):
                assert isinstance(finding[key], str)
            assert re.fullmatch(r"[a-z]+(-[a-z]+)*", finding["rule"])
            assert finding["message"] and finding["help"]
            assert all(isinstance(part, str) for pair in finding["when"].items() for part in pair)
            for key in ("claims", "sources"):
                assert all(isinstance(item, str) for item in finding[key])
            assert finding["where"]
            for place in finding["where"]:
                assert set(place) == {"file", "line"}
                assert isinstance(place["file"], str) and isinstance(place["line"], int) and place["line"] > 0
            for position in finding["positions"]:
                assert set(position) == {"value", "claims"}
                assert set(position["claims"]) <= set(finding["claims"])
        summary = document["summary"]
        assert set(summary) == SUMMARY_KEYS
        assert set(summary["rules"].values()) <= set(STATES)
        assert summary["errors"] == {}


def test_the_json_says_what_the_report_says(faulty: Report) -> None:
    document = as_json(faulty)
    assert [f["message"] for f in document["findings"]] == [f.message for f in faulty.findings]
    locator = [f for f in document["findings"] if f["rule"] == "missing-locator"]
    assert {tuple(f["when"].items()) for f in locator if f["parameter"] == "spacer-thickness"} == {
        (("arch", "maxillary"),),
        (("impression-material", "polyether"),),
        (("impression-material", "polysulfide"),),
        (("impression-material", "silicone"),),
    }


def test_the_claims_of_a_finding_are_claims_of_its_sources(shipped_report: Report) -> None:
    source_of = {claim.id: claim.source for claim in shipped_report.store.claims}
    for finding in as_json(shipped_report)["findings"]:
        assert {source_of[claim] for claim in finding["claims"]} <= set(finding["sources"])


def test_text_json_and_sarif_count_alike(shipped_report: Report, faulty: Report, demo_store: Store) -> None:
    for report in (shipped_report, faulty, check(demo_store)):
        document = as_json(report)
        summary, findings = document["summary"], document["findings"]
        for key, severity in (("violations", "violation"), ("warnings", "warning"), ("infos", "info")):
            assert summary[key] == sum(f["severity"] == severity for f in findings)
        text = text_report(report, everything=True)
        counts = re.search(r"^(\d+) violations?, (\d+) warnings?, (\d+) remarks?$", text, re.MULTILINE)
        assert counts is not None
        assert [int(n) for n in counts.groups()] == [summary[key] for key in ("violations", "warnings", "infos")]
        size = re.search(r"^(\d+) claims from (\d+) sources; topics", text, re.MULTILINE)
        assert size is not None
        assert [int(n) for n in size.groups()] == [summary["claims"], summary["sources"]]
        # every finding stands in the text once, under a heading that counts them
        assert len(re.findall(r"^\S+: (?:violation|warning|info)\[", text, re.MULTILINE)) == len(findings)
        headings = re.findall(r"^([a-z-]+): (\d+) (?:violation|warning|remark)s?$", text, re.MULTILINE)
        by_rule: dict[str, int] = {}
        for finding in findings:
            by_rule[finding["rule"]] = by_rule.get(finding["rule"], 0) + 1
        assert {rule: int(count) for rule, count in headings} == by_rule
        sarif = json.loads(sarif_of(told(report, "sarif"), rule_book()))
        assert len(sarif["runs"][0]["results"]) == len(findings)


def test_like_findings_are_folded_and_all_of_them_shown_on_demand(faulty: Report) -> None:
    def told(text: str) -> int:
        return text.count("warning[missing-locator]")

    folded, full = text_report(faulty), text_report(faulty, everything=True)
    assert "missing-locator: 5 warnings" in folded
    assert told(folded) == SHOWN + 1  # two of the four on the spacer, and the one on stops
    assert "and 2 more on the same question" in folded
    assert told(full) == 5
    assert "more on the same question" not in full


def test_what_to_do_is_said_once_for_findings_that_share_it(faulty: Report) -> None:
    todo = "  to do: Add at: with the page, section, table or step."
    assert text_report(faulty, everything=True).count(todo) == 2  # once per parameter


def test_a_conflict_shows_each_claim_with_its_source_its_place_and_its_line(demo_store: Store) -> None:
    text = text_report(check(demo_store), everything=True)
    (line,) = (at for at, text_line in enumerate(text.splitlines()) if "on waiting time before use" in text_line)
    told = "\n".join(text.splitlines()[line : line + 5])
    assert re.search(r"Harrow Vale Dental School 2019, p\. 8 \(read\) \S+harrow-vale-2019\.ttl:\d+", told)
    assert re.search(r"Laboratory 2024, sheet 6 \(read\) \S+harrow-vale-lab-2024\.ttl:\d+", told)


def test_a_report_on_some_files_keeps_what_touches_them(tmp_path: Path) -> None:
    layer = enter_forms(tmp_path, FAULTY, NOTES)
    report = check(load([layer], only=True))
    ours = str(layer / "sources" / "invented-faults.ttl")
    text = text_report(report, everything=True, files={ours})
    assert "missing-locator: 5 warnings" in text
    for file in re.findall(r"^(\S+):\d+: \w+\[", text, re.MULTILINE):
        assert file == ours
    assert text.splitlines()[-1].endswith("that touch what was entered")


def test_a_rule_that_errs_stands_in_every_format(tmp_path: Path, faulty: Report) -> None:
    rules = rule_book([write_shapes(tmp_path, "ours:broken a sh:PropertyShape ; sh:targetClass tc:Claim .")])
    report = check(faulty.store, rules)
    document = as_json(report)
    assert document["summary"]["rules"]["broken"] == "errored"
    assert document["summary"]["errors"]["broken"]
    assert "error: the rule broken could not be run: " in text_report(report)
    run = json.loads(sarif_of(told(report, "sarif"), rules))["runs"][0]
    assert "broken" in {rule["id"] for rule in run["tool"]["driver"]["rules"]}


LEVELS = {"violation": "error", "warning": "warning", "info": "note"}


def test_sarif_has_what_code_review_tools_read(shipped_report: Report, faulty: Report) -> None:
    # SARIF 2.1.0, OASIS 2020: sections 3.13 (log), 3.14 (run), 3.27 (result), 3.28 (location), 3.49 (rule)
    for report in (shipped_report, faulty):
        log = json.loads(sarif_of(told(report, "sarif"), rule_book()))
        assert log["version"] == "2.1.0"
        (run,) = log["runs"]
        assert run["tool"]["driver"]["name"] == "trayconcord"
        rules = [rule["id"] for rule in run["tool"]["driver"]["rules"]]
        assert sorted(rules) == sorted(set(rules)) == sorted(rule_book().rules)
        for result, finding in zip(run["results"], report.findings, strict=True):
            assert result["ruleId"] in rules and result["ruleId"] == finding.rule
            assert result["level"] == LEVELS[finding.severity]
            assert result["message"]["text"].startswith(finding.message)
            places = result["locations"] + result.get("relatedLocations", [])
            assert len(result["locations"]) == 1
            shown = [
                (place["physicalLocation"]["artifactLocation"]["uri"], place["physicalLocation"]["region"]["startLine"])
                for place in places
            ]
            assert [line for _, line in shown] == [place.line for place in finding.where]
            assert all(line > 0 and re.fullmatch(r"(file://)?[^\s\\]+\.ttl", uri) for uri, line in shown)
            related = [place["id"] for place in result.get("relatedLocations", [])]
            assert related == list(range(1, len(related) + 1))


def test_sarif_names_a_file_in_a_folder_with_a_space_by_its_address(tmp_path: Path) -> None:
    (tmp_path / "my notes").mkdir()
    report = check(store_of(tmp_path / "my notes", FAULTY))
    log = json.loads(sarif_of(told(report, "sarif"), rule_book()))
    location = log["runs"][0]["results"][0]["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
    assert location == (tmp_path / "my notes" / "department" / "sources" / "invented-faults.ttl").as_uri()


@pytest.mark.schema
def test_sarif_is_valid_by_its_schema(faulty: Report, shipped_report: Report, tmp_path: Path) -> None:
    schema = os.environ.get("TRAYCONCORD_SARIF_SCHEMA")
    if schema is None:
        in_ci = os.environ.get("CI") == "true"
        assert not in_ci, "continuous integration must bring the SARIF schema"
        pytest.skip("TRAYCONCORD_SARIF_SCHEMA names no schema file; continuous integration brings one")
    from jsonschema import Draft7Validator

    validator = Draft7Validator(json.loads(Path(schema).read_text(encoding="utf-8")))
    broken = rule_book([write_shapes(tmp_path, "ours:broken a sh:PropertyShape ; sh:targetClass tc:Claim .")])
    for report, rules in ((faulty, rule_book()), (shipped_report, rule_book()), (check(faulty.store, broken), broken)):
        log = json.loads(sarif_of(told(report, "sarif"), rules))
        assert [error.message for error in validator.iter_errors(log)] == []
    # a decoy: the validator does refuse what is not SARIF
    log["runs"][0]["results"][0]["level"] = "grave"
    assert list(validator.iter_errors(log))


def test_the_command_prints_each_format_and_returns_the_exit_status(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kb = ["--kb", str(enter_forms(tmp_path, FAULTY)), "--only"]
    assert main(["check", *kb]) == 1
    text = capsys.readouterr().out
    assert main(["check", *kb, "--all"]) == 1
    assert len(capsys.readouterr().out) > len(text)
    assert main(["check", *kb, "--format", "json"]) == 1
    assert json.loads(capsys.readouterr().out)["summary"]["violations"] == 1
    assert main(["check", *kb, "--format", "sarif"]) == 1
    assert json.loads(capsys.readouterr().out)["version"] == "2.1.0"
    shapes = write_shapes(tmp_path, "ours:broken a sh:PropertyShape ; sh:targetClass tc:Claim .")
    assert main(["check", *kb, "--shapes", str(shapes)]) == 2
