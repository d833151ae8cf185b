"""Findings as text for people, as JSON for programs, and as SARIF 2.1.0 for code-review tools."""

from importlib.metadata import version
from itertools import groupby
from typing import Any
from urllib.parse import quote

from trayconcord.generators.value_json import dump, scope_json
from trayconcord.kb.errors import Place
from trayconcord.kb.model import Claim
from trayconcord.kb.store import Store
from trayconcord.shapes.check import Report
from trayconcord.shapes.findings import Finding
from trayconcord.shapes.rules import RuleBook, page
from trayconcord.shapes.wording import name_of, stated_text

SHOWN = 2
"""Findings of one rule about one parameter that the text prints before it folds the rest."""

_LEVELS = {"violation": "error", "warning": "warning", "info": "note"}
_WORDS = {"violation": "violation", "warning": "warning", "info": "remark"}


def text_report(report: Report, everything: bool = False, files: set[str] | None = None) -> str:
    """The findings grouped by rule, with counts, and a summary. ``files`` keeps those that touch one of them."""
    findings = [f for f in report.findings if files is None or any(place.file in files for place in f.where)]
    lines: list[str] = []
    for (severity, rule), group in groupby(findings, key=lambda finding: (finding.severity, finding.rule)):
        found = list(group)
        lines += [f"{rule}: {_counted(len(found), severity)}", ""]
        for _, same in groupby(found, key=lambda finding: finding.parameter):
            alike = list(same)
            shown = alike if everything else alike[:SHOWN]
            said = ""
            for finding in shown:
                lines += _told(finding, report.store)
                if finding.help != said:
                    said = finding.help
                    lines.append(f"  to do: {said}")
            if len(alike) > len(shown):
                lines.append(f"  and {len(alike) - len(shown)} more on the same question (check --all lists them)")
            lines.append("")
    lines += _summary(report, findings, files is not None)
    return "\n".join(lines)


def _counted(count: int, severity: str) -> str:
    return f"{count} {_WORDS[severity]}{'' if count == 1 else 's'}"


def _told(finding: Finding, store: Store) -> list[str]:
    place = finding.where[0] if finding.where else Place("store")
    lines = [f"{place}: {finding.severity}[{finding.rule}] {finding.message}"]
    if finding.positions:
        for text, claims in finding.positions:
            lines.append(f"    {text}")
            lines += [f"      {_claim(claim, store, text)}" for claim in claims]
    elif len(finding.claims) > 1:
        lines += [f"      {_claim(claim, store)}" for claim in finding.claims]
    return lines


def _claim(claim: Claim, store: Store, position: str = "") -> str:
    stated = stated_text(claim, store.vocabulary)
    how = claim.obtained + (f" in {name_of(store.sources, claim.reported_by)}" if claim.reported_by else "")
    where = f", {claim.at}" if claim.at else ""
    said = "" if stated.replace("-", "–") == position.replace("-", "–") else f"{stated}: "
    return (
        f"{said}{name_of(store.sources, claim.source)}{where} ({how or 'unsourced'}) {store.place_of_claim(claim.id)}"
    )


def _summary(report: Report, findings: list[Finding], part: bool) -> list[str]:
    counts = {severity: sum(f.severity == severity for f in findings) for severity in _WORDS}
    standings: dict[str, int] = {}
    for topic in report.comparison.topics:
        standings[topic.standing] = standings.get(topic.standing, 0) + 1
    topics = ", ".join(f"{count} {standing}" for standing, count in sorted(standings.items()))
    lines = [f"error: the rule {name} could not be run: {why}" for name, why in sorted(report.errors.items())]
    lines.append(
        f"{len(report.store.claims)} claims from {len(report.store.sources)} sources; topics: {topics or 'none'}"
    )
    lines.append(
        ", ".join(_counted(count, severity) for severity, count in counts.items())
        + (" that touch what was entered" if part else "")
    )
    idle = [name for name, state in report.states.items() if state == "not exercised"]
    if idle and not part:
        lines.append(f"rules with nothing to look at: {', '.join(idle)}")
    return lines


def json_report(report: Report) -> str:
    """The findings as JSON: the contract that other programs read."""
    return dump(
        {
            "findings": [
                {
                    "rule": finding.rule,
                    "severity": finding.severity,
                    "message": finding.message,
                    "parameter": finding.parameter,
                    "when": scope_json(finding.when),
                    "claims": [claim.id for claim in finding.claims],
                    "positions": [
                        {"value": text, "claims": [claim.id for claim in claims]} for text, claims in finding.positions
                    ],
                    "sources": list(finding.sources),
                    "where": [{"file": place.file, "line": place.line} for place in finding.where],
                    "help": finding.help,
                }
                for finding in report.findings
            ],
            "summary": {
                "claims": len(report.store.claims),
                "sources": len(report.store.sources),
                "violations": report.count("violation"),
                "warnings": report.count("warning"),
                "infos": report.count("info"),
                "rules": report.states,
                "errors": report.errors,
            },
        }
    )


def sarif_report(report: Report, rules: RuleBook) -> str:
    """The findings as SARIF 2.1.0."""
    described = []
    for rule in rules.rules.values():
        text = page(rule.name)
        entry: dict[str, Any] = {
            "id": rule.name,
            "shortDescription": {"text": rule.name.replace("-", " ")},
            "defaultConfiguration": {"level": _LEVELS[rule.severity]},
        }
        if text:
            entry["help"] = {"text": text, "markdown": text}
        described.append(entry)
    return dump(
        {
            "$schema": "https://json.schemastore.org/sarif-2.1.0.json",
            "version": "2.1.0",
            "runs": [
                {
                    "tool": {"driver": {"name": "trayconcord", "version": version("trayconcord"), "rules": described}},
                    "columnKind": "unicodeCodePoints",
                    "results": [_sarif_result(finding) for finding in report.findings],
                }
            ],
        }
    )


def _sarif_result(finding: Finding) -> dict[str, Any]:
    locations = [_sarif_location(place) for place in finding.where]
    result: dict[str, Any] = {
        "ruleId": finding.rule,
        "level": _LEVELS[finding.severity],
        "message": {"text": f"{finding.message}\n{finding.help}" if finding.help else finding.message},
        "locations": locations[:1],
    }
    if locations[1:]:
        result["relatedLocations"] = [{"id": number, **place} for number, place in enumerate(locations[1:], start=1)]
    return result


def _sarif_location(place: Place) -> dict[str, Any]:
    physical: dict[str, Any] = {"artifactLocation": {"uri": _uri(place.file)}}
    if place.line:
        physical["region"] = {"startLine": place.line}
    return {"physicalLocation": physical}


def _uri(file: str) -> str:
    if "://" in file or file.startswith("urn:"):  # a service, or a graph of one
        return quote(file, safe=":/?#[]@!$&'()*+,;=%")
    return ("file://" if file.startswith("/") else "") + quote(file)
