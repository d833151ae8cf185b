"""Findings as text for people, as JSON for programs, and as SARIF 2.1.0 for code-review tools."""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from importlib.metadata import version
from itertools import groupby
from typing import Any
from urllib.parse import quote

from trayconcord.generators.value_json import dump, scope_json
from trayconcord.kb.errors import Place
from trayconcord.kb.model import Claim
from trayconcord.kb.store import Store
from trayconcord.shapes.check import Report, exit_status
from trayconcord.shapes.findings import GRAVITY, Finding
from trayconcord.shapes.rules import RuleBook, page
from trayconcord.shapes.wording import name_of, stated_text

SHOWN = 2
"""Findings of one rule about one parameter that the text prints before it folds the rest."""

_LEVELS = {"violation": "error", "warning": "warning", "info": "note"}
_WORDS = {"violation": "violation", "warning": "warning", "info": "remark"}


@dataclass(frozen=True, slots=True)
class Section:
    """The findings of one rule about one parameter, put into one of `FORMATS`."""

    severity: str
    rule: str
    order: int
    parameter: str
    count: int
    text: str


@dataclass(frozen=True, slots=True)
class Told:
    """What a check of a store, or of a part of one, has to tell; ``standings`` counts the topics by theirs."""

    sections: list[Section]
    states: dict[str, str]
    errors: dict[str, str]
    standings: dict[str, int]
    claims: int
    sources: int

    def count(self, severity: str) -> int:
        """How many findings have this severity."""
        return sum(section.count for section in self.sections if section.severity == severity)

    @property
    def exit_status(self) -> int:
        """As that of a `Report`."""
        return exit_status(bool(self.errors), self.count("violation"))


def told(report: Report, form: str) -> Told:
    """What a report has to tell, in one of `FORMATS`."""
    return _told(report, report.findings, form)


def _told(report: Report, findings: list[Finding], form: str) -> Told:
    sections = []
    for key, group in groupby(findings, key=lambda found: (found.severity, found.rule, found.order, found.parameter)):
        alike = list(group)
        sections.append(Section(*key, len(alike), FORMATS[form](alike, report.store)))
    standings = dict(Counter(topic.standing for topic in report.comparison.topics))
    store = report.store
    return Told(sections, report.states, report.errors, standings, len(store.claims), len(store.sources))


def together(parts: Iterable[Told]) -> Told:
    """What the parts of a store have to tell, as the whole would: each of them knows all sources."""
    parts = list(parts)
    sections = [section for part in parts for section in part.sections]
    states: dict[str, str] = {}
    for part in parts:
        for rule, state in part.states.items():
            states[rule] = max(states.get(rule, state), state, key=_SAID_BY_PARTS.index)
    return Told(
        sorted(
            sections, key=lambda section: (GRAVITY[section.severity], section.rule, section.order, section.parameter)
        ),
        states,
        {rule: why for part in parts for rule, why in part.errors.items()},
        dict(sum((Counter(part.standings) for part in parts), Counter())),
        sum(part.claims for part in parts),
        max(part.sources for part in parts),
    )


_SAID_BY_PARTS = ("not exercised", "passed", "found", "errored")
"""The states of a rule; of what several parts say, the last of these holds for the whole."""


def text_report(report: Report, everything: bool = False, files: set[str] | None = None) -> str:
    """The findings grouped by rule, with counts, and a summary. ``files`` keeps those that touch one of them."""
    findings = [f for f in report.findings if files is None or any(place.file in files for place in f.where)]
    return text_of(_told(report, findings, "all" if everything else "text"), files is not None)


def text_of(told: Told, part: bool = False) -> str:
    """What was told as text, with a summary; ``part`` says that only findings on what was entered were kept."""
    lines: list[str] = []
    for (severity, rule), group in groupby(told.sections, key=lambda section: (section.severity, section.rule)):
        sections = list(group)
        lines += [f"{rule}: {_counted(sum(section.count for section in sections), severity)}", ""]
        lines += [section.text for section in sections]
    lines += _summary(told, part)
    return "\n".join(lines)


def _in_full(alike: list[Finding], store: Store) -> str:
    return _as_text(alike, store, len(alike))


def _in_brief(alike: list[Finding], store: Store) -> str:
    return _as_text(alike, store, SHOWN)


def _as_text(alike: list[Finding], store: Store, shown: int) -> str:
    lines: list[str] = []
    said = ""
    for finding in alike[:shown]:
        lines += _finding(finding, store)
        if finding.help != said:
            said = finding.help
            lines.append(f"  to do: {said}")
    if len(alike) > shown:
        lines.append(f"  and {len(alike) - shown} more on the same question (check --all lists them)")
    return "\n".join([*lines, ""])


def _counted(count: int, severity: str) -> str:
    return f"{count} {_WORDS[severity]}{'' if count == 1 else 's'}"


def _finding(finding: Finding, store: Store) -> list[str]:
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


def _summary(told: Told, part: bool) -> list[str]:
    topics = ", ".join(f"{count} {standing}" for standing, count in sorted(told.standings.items()))
    lines = [f"error: the rule {name} could not be run: {why}" for name, why in sorted(told.errors.items())]
    lines.append(f"{told.claims} claims from {told.sources} sources; topics: {topics or 'none'}")
    lines.append(
        ", ".join(_counted(told.count(severity), severity) for severity in _WORDS)
        + (" that touch what was entered" if part else "")
    )
    idle = [name for name, state in told.states.items() if state == "not exercised"]
    if idle and not part:
        lines.append(f"rules with nothing to look at: {', '.join(idle)}")
    return lines


def json_of(told: Told) -> str:
    """What was told as JSON, with a summary: the contract that other programs read."""
    summary = {
        "claims": told.claims,
        "sources": told.sources,
        "violations": told.count("violation"),
        "warnings": told.count("warning"),
        "infos": told.count("info"),
        "rules": told.states,
        "errors": told.errors,
    }
    return _filled({"findings": [], "summary": summary}, "findings", told)


def _as_json(alike: list[Finding], store: Store) -> str:
    return _listed(
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
        for finding in alike
    )


def _listed(entries: Iterable[dict[str, Any]]) -> str:
    """Entries of a list as JSON, less the brackets of the list."""
    return ",\n".join(dump(entry).rstrip("\n") for entry in entries)


def _filled(document: dict[str, Any], key: str, told: Told) -> str:
    """A document as JSON whose one empty list of this key holds what was told."""
    before, empty, after = dump(document).partition(f'"{key}": []')  # within a text its quotes would be escaped
    if not told.sections:
        return before + empty + after
    margin = " " * (len(before) - before.rindex("\n") - 1)
    entries = ",\n".join(section.text for section in told.sections).replace("\n", f"\n{margin}  ")
    return f'{before}"{key}": [\n{margin}  {entries}\n{margin}]{after}'


def sarif_of(told: Told, rules: RuleBook) -> str:
    """What was told as SARIF 2.1.0."""
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
    document = {
        "$schema": "https://json.schemastore.org/sarif-2.1.0.json",
        "version": "2.1.0",
        "runs": [
            {
                "tool": {"driver": {"name": "trayconcord", "version": version("trayconcord"), "rules": described}},
                "columnKind": "unicodeCodePoints",
                "results": [],
            }
        ],
    }
    return _filled(document, "results", told)


def _as_sarif(alike: list[Finding], store: Store) -> str:
    return _listed(_sarif_result(finding) for finding in alike)


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


FORMATS: dict[str, Callable[[list[Finding], Store], str]] = {
    "text": _in_brief,
    "all": _in_full,
    "json": _as_json,
    "sarif": _as_sarif,
}
"""How the findings of one rule about one parameter are put; as text, ``all`` leaves nothing out."""
