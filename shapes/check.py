"""The check: load, compare, let the shapes judge, and tell the findings to people."""

import logging
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from rdflib import Graph, URIRef
from rdflib.namespace import RDF, RDFS, SH

from trayconcord.kb.store import Store
from trayconcord.kb.triples import Triples
from trayconcord.kb.turtle import bulk
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.facts import Facts
from trayconcord.shapes.findings import Finding, Teller
from trayconcord.shapes.flat import Judge, flat_shape
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
        return exit_status(bool(self.errors), self.count("violation"))

    def count(self, severity: str) -> int:
        """How many findings have this severity."""
        return sum(finding.severity == severity for finding in self.findings)


def exit_status(errors: bool, violations: int) -> int:
    """0 without violations, 1 with, 2 where a rule could not be run."""
    return 2 if errors else int(violations > 0)


def check(store: Store, rules: RuleBook | None = None, today: date | None = None) -> Report:
    """Check a store against the shipped rules or the given rule book. Without a date no review is due."""
    with bulk():
        return _check(store, rules or rule_book(), today)


def _check(store: Store, rules: RuleBook, today: date | None) -> Report:
    comparison = Comparison(store)
    facts = Facts(store, comparison, today)
    states: dict[str, str] = {}
    errors: dict[str, str] = {}
    teller = Teller(store, facts, rules.rules)
    findings: list[Finding] = []
    for rule, results, looked_at in judged(rules, [store.triples, facts.triples], errors):
        if rule.name in errors:
            states[rule.name] = "errored"
        elif results:
            states[rule.name] = "found"
            findings += [teller.tell(rule, severity, focus, said) for focus, severity, said in results]
        else:
            states[rule.name] = "passed" if looked_at else "not exercised"
    findings.sort(key=Finding.rank)
    return Report(store, comparison, findings, states, errors)


Result = tuple[URIRef, str, str]
"""Focus node, severity, and the shape's own message."""

Judged = tuple[Rule, list[Result], bool]
"""A rule, its results, and whether it had anything to look at."""


def judged(rules: RuleBook, held: list[Triples], errors: dict[str, str]) -> Iterator[Judged]:
    """Every rule on the triples that are held: flat shapes all at once, any other by the engine."""
    flat = {rule.name: shape for rule in rules.rules.values() if (shape := flat_shape(rules.graph, rule))}
    judge = Judge(held, flat.values())
    others = [rule for rule in rules.rules.values() if rule.name not in flat]
    by_engine = {
        rule.name: (rule, results, seen) for rule, results, seen in judged_by_engine(others, rules, held, errors)
    }
    for rule in rules.rules.values():
        shape = flat.get(rule.name)
        if shape is None:
            yield by_engine[rule.name]
        else:
            targets = judge.focus_nodes(shape)
            yield rule, [(node, severity, "") for node, severity in judge.failing(shape, targets)], bool(targets)


def judged_by_engine(
    chosen: list[Rule], rules: RuleBook, held: list[Triples], errors: dict[str, str]
) -> Iterator[Judged]:
    """Some of the rules, each by pySHACL, so that one that is broken does not break others."""
    if not chosen:
        return
    graph = Graph(bind_namespaces="none")  # of the kind that pySHACL asks for
    for triples in held:
        for triple in triples.triples():
            graph.add(triple)
    for rule in chosen:
        results: list[Result] = []
        try:
            results = _validate(graph, rules.graph, rule)
        except Exception as error:  # whatever an engine throws at a bad shape
            errors[rule.name] = " ".join(str(error).split()) or type(error).__name__
        yield rule, results, _focus_nodes(graph, rules.graph, rule.shape)


def _validate(graph: Graph, shapes: Graph, rule: Rule) -> list[Result]:
    from pyshacl import validate
    from pyshacl.errors import ValidationFailure
    from rdflib.plugins.sparql import CUSTOM_EVALS

    logging.getLogger("pyshacl-validate").setLevel(logging.CRITICAL)
    CUSTOM_EVALS["no-service"] = _refuse_service
    _, report, _ = validate(
        graph,
        shacl_graph=only_targeting(shapes, rule.shape),
        inplace=True,
        advanced=False,
        inference="none",
        do_owl_imports=False,
        meta_shacl=False,
    )
    if isinstance(report, ValidationFailure):
        raise report
    assert isinstance(report, Graph)
    found = set()
    for node in report.subjects(RDF.type, SH.ValidationResult):
        about: dict[Any, Any] = dict(report.predicate_objects(node))
        source = about.get(SH.sourceShape)
        own = source == rule.shape or (source, SH.severity, None) in shapes
        severity = SEVERITIES.get(str(about.get(SH.resultSeverity)), "violation") if own else rule.severity
        said = "" if rule.message else str(about.get(SH.resultMessage, ""))  # or one finding would be told twice
        found.add((about[SH.focusNode], severity, said))
    return sorted(found)


def _refuse_service(context: Any, part: Any) -> Any:
    """rdflib asks this before it evaluates a part of a query: no query opens the network, however it is written."""
    if part.name == "ServiceGraphPattern":
        raise ValueError("a query uses SERVICE, which would open the network")
    raise NotImplementedError  # leave it to rdflib


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
