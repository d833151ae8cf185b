"""The check: load, compare, let the shapes judge, and tell the findings to people."""

import logging
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from rdflib import Graph, URIRef
from rdflib.namespace import RDF, RDFS, SH

from trayconcord.kb.store import Store
from trayconcord.kb.turtle import bulk
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.facts import Facts
from trayconcord.shapes.findings import Finding, Teller
from trayconcord.shapes.rules import SEVERITIES, Rule, RuleBook, only_targeting, rule_book

STATES = ("found", "passed", "not exercised", "errored")


@dataclass(frozen=True)
class Report:
    """The outcome of a check. ``states`` gives for each rule one of `STATES`, ``errors`` why a rule errored."""

    store: Store
    comparison: Comparison
    findings: list[Finding]
    states: dict[str, str]
    errors: dict[str, str] = field(default_factory=dict)

    @property
    def exit_status(self) -> int:
        """0 without violations, 1 with, 2 where a rule could not be run."""
        if self.errors:
            return 2
        return 1 if any(finding.severity == "violation" for finding in self.findings) else 0

    def count(self, severity: str) -> int:
        """How many findings have this severity."""
        return sum(finding.severity == severity for finding in self.findings)


def check(store: Store, rules: RuleBook | None = None, today: date | None = None) -> Report:
    """Check a store against the shipped rules or the given rule book. Without a date no review is due."""
    with bulk():
        return _check(store, rules or rule_book(), today)


def _check(store: Store, rules: RuleBook, today: date | None) -> Report:
    comparison = Comparison(store)
    graph = Graph(bind_namespaces="none")  # of the kind that pySHACL asks for
    graph += store.graph
    facts = Facts(store, comparison, graph, today)
    states: dict[str, str] = {}
    errors: dict[str, str] = {}
    teller = Teller(store, facts)
    findings: list[Finding] = []
    for rule, results in _judge(graph, rules, errors):
        if rule.name in errors:
            states[rule.name] = "errored"
        elif results:
            states[rule.name] = "found"
            findings += [teller.tell(rule, severity, focus, said) for focus, severity, said in results]
        else:
            states[rule.name] = "passed" if _focus_nodes(graph, rules.graph, rule.shape) else "not exercised"
    findings.sort(key=Finding.rank)
    return Report(store, comparison, findings, states, errors)


_Result = tuple[URIRef, str, str]
"""Focus node, severity, and the shape's own message."""


def _judge(graph: Graph, rules: RuleBook, errors: dict[str, str]) -> Iterable[tuple[Rule, list[_Result]]]:
    """Every rule with its results. The shipped rules run together, and one by one only if that fails."""
    shipped = [rule for rule in rules.rules.values() if rule.shipped]
    results: dict[URIRef, list[_Result]] = {}
    try:
        for shape, result in _validate(graph, rules.graph, shipped):
            results.setdefault(shape, []).append(result)
        alone = [rule for rule in rules.rules.values() if not rule.shipped]
    except Exception:  # whatever an engine throws at a bad shape: find out which rule it was
        alone = list(rules.rules.values())
    for rule in alone:
        try:
            results[rule.shape] = [result for _, result in _validate(graph, rules.graph, [rule])]
        except Exception as error:
            errors[rule.name] = " ".join(str(error).split()) or type(error).__name__
    return [(rule, results.get(rule.shape, [])) for rule in rules.rules.values()]


def _validate(graph: Graph, shapes: Graph, rules: list[Rule]) -> list[tuple[URIRef, _Result]]:
    from pyshacl import validate
    from pyshacl.errors import ValidationFailure
    from rdflib.plugins.sparql import CUSTOM_EVALS

    logging.getLogger("pyshacl-validate").setLevel(logging.CRITICAL)
    CUSTOM_EVALS["no-service"] = _refuse_service
    if not rules:
        return []
    _, report, _ = validate(
        graph,
        shacl_graph=only_targeting(shapes, {rule.shape for rule in rules}),
        inplace=True,
        advanced=False,
        inference="none",
        do_owl_imports=False,
        meta_shacl=False,
    )
    if isinstance(report, ValidationFailure):
        raise report
    assert isinstance(report, Graph)
    by_shape = {rule.shape: rule for rule in rules}
    found = set()
    for node in report.subjects(RDF.type, SH.ValidationResult):
        about: dict[Any, Any] = dict(report.predicate_objects(node))
        source = about.get(SH.sourceShape)
        rule = by_shape.get(_owner(source, shapes, by_shape), rules[0])
        own = source == rule.shape or (source, SH.severity, None) in shapes
        severity = SEVERITIES.get(str(about.get(SH.resultSeverity)), "violation") if own else rule.severity
        said = "" if rule.message else str(about.get(SH.resultMessage, ""))  # or one finding would be told twice
        found.add((rule.shape, (about[SH.focusNode], severity, said)))
    return sorted(found)


def _refuse_service(context: Any, part: Any) -> Any:
    """rdflib asks this before it evaluates a part of a query: no query opens the network, however it is written."""
    if part.name == "ServiceGraphPattern":
        raise ValueError("a query uses SERVICE, which would open the network")
    raise NotImplementedError  # leave it to rdflib


def _owner(shape: Any, shapes: Graph, rules: dict[URIRef, Rule]) -> Any:
    """The rule that a nested property shape belongs to; the shape itself where there is none."""
    seen = set()
    while shape not in rules and shape not in seen:
        seen.add(shape)
        shape = shapes.value(None, SH.property, shape) or shape
    return shape


def _focus_nodes(graph: Graph, shapes: Graph, shape: URIRef) -> bool:
    """Whether a shape has anything to look at; a rule that has not has not been passed."""
    for cls in shapes.objects(shape, SH.targetClass):
        for subclass in graph.transitive_subjects(RDFS.subClassOf, cls):
            if (None, RDF.type, subclass) in graph:
                return True
    return (
        any((node, None, None) in graph for node in shapes.objects(shape, SH.targetNode))
        or any((None, predicate, None) in graph for predicate in shapes.objects(shape, SH.targetSubjectsOf))
        or any((None, predicate, None) in graph for predicate in shapes.objects(shape, SH.targetObjectsOf))
    )
