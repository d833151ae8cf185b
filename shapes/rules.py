"""Rules: the shipped shapes, shapes that a department adds, and the page of each rule.

A rule is a shape with a target and an IRI. Its name is the last part of its IRI. A department's file may also restate
``sh:severity``, ``sh:message``, ``tc:help`` or ``sh:deactivated`` of a rule that exists already: the later file wins.
"""

import re
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from rdflib import BNode, Graph, Literal, URIRef
from rdflib.namespace import RDF, SH
from rdflib.term import Node

from trayconcord.kb import namespaces as ns
from trayconcord.kb.errors import nearest, unusable
from trayconcord.kb.files import read_regular
from trayconcord.kb.namespaces import TC
from trayconcord.kb.turtle import read_turtle

SEVERITIES = {str(SH.Violation): "violation", str(SH.Warning): "warning", str(SH.Info): "info"}
_TARGETS = (SH.targetClass, SH.targetNode, SH.targetSubjectsOf, SH.targetObjectsOf)
_RESTATED = (SH.severity, SH.message, TC.help, SH.deactivated)
_SERVICE = re.compile(r"(?<![a-z_])SERVICE\b", re.IGNORECASE)  # a digit may stand right before it
_ESCAPE = re.compile(r"\\u([0-9a-f]{4})|\\U([0-9a-f]{8})", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule: its shape, its severity, and the texts that tell a finding."""

    name: str
    shape: URIRef
    severity: str
    message: str
    help: str
    path: URIRef | None
    shipped: bool


@dataclass(frozen=True)
class RuleBook:
    """All rules in force, with the graph of their shapes."""

    graph: Graph
    rules: dict[str, Rule]


def page(name: str) -> str | None:
    """The page of a shipped rule, in Markdown; None if there is no such rule."""
    if not re.fullmatch(r"[a-z-]+", name):
        return None
    path = files("trayconcord.shapes") / "rules" / f"{name}.md"
    return path.read_text(encoding="utf-8") if path.is_file() else None


def page_names() -> list[str]:
    """The names of the shipped rules, by name."""
    return sorted(
        path.name[:-3] for path in (files("trayconcord.shapes") / "rules").iterdir() if path.name.endswith(".md")
    )


def rule_book(extra: list[Path] | None = None) -> RuleBook:
    """The shipped rules, with those of the given Turtle files or folders of them. Raises `UnusableInput`."""
    graph = Graph(bind_namespaces="none")
    for path in sorted(Path(str(files("trayconcord.shapes") / "rules")).glob("*.ttl")):
        graph += _parse(path)
    shipped = set(_shapes(graph))
    stated_in: dict[URIRef, Path] = {}
    for path in _expand(extra or []):
        addition = _parse(path)
        _refuse_service(path, addition)
        for subject, predicate in {(s, p) for s, p, _ in addition if p in _RESTATED}:
            graph.remove((subject, predicate, None))
        graph += addition
        stated_in |= {subject: path for subject in addition.subjects(unique=True) if isinstance(subject, URIRef)}
        if any(isinstance(s, BNode) for target in _TARGETS for s in addition.subjects(target, None)):
            raise unusable(path, "a shape with a target has no IRI", "give it one: its last part names the rule")
    _refuse_lost(graph, stated_in)
    rules: dict[str, Rule] = {}
    for rule in (_rule(graph, shape, shape in shipped) for shape in _shapes(graph)):
        other = rules.setdefault(rule.name, rule)
        if other is not rule:
            path = stated_in.get(rule.shape) or stated_in[other.shape]
            message = f"two shapes have the name {rule.name}: {other.shape} and {rule.shape}"
            raise unusable(path, message, "give each a last part of its own")
    return RuleBook(graph, dict(sorted(rules.items())))


def _expand(paths: list[Path]) -> list[Path]:
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            found += sorted(path.glob("*.ttl"))
        elif path.is_file():
            found.append(path)
        else:
            raise unusable(path, "does not exist", "name a Turtle file of shapes, or a folder of them")
    return found


def _parse(path: Path) -> Graph:
    graph = Graph(bind_namespaces="none")
    try:
        data = read_regular(path)
    except OSError as error:
        raise unusable(path, f"cannot be read: {error.strerror}", "check the file") from None
    read_turtle(data, str(path), graph, flat=False)
    return graph


def _refuse_service(path: Path, graph: Graph) -> None:
    for predicate in (SH.select, SH.ask, SH.construct):
        for query in graph.objects(None, predicate):
            if _SERVICE.search(_unescaped(str(query))):
                raise unusable(
                    path, "a query uses SERVICE, which would open the network", "remove SERVICE from the query"
                )


def _unescaped(query: str) -> str:
    """A query with its escapes for signs resolved, as SPARQL reads it: S\\u0045RVICE is SERVICE."""
    return _ESCAPE.sub(lambda match: chr(min(int(match[1] or match[2], 16), 0x10FFFF)), query)


def _refuse_lost(graph: Graph, stated_in: dict[URIRef, Path]) -> None:
    """A severity or text stated of a rule that does not exist would be lost without a word."""
    for subject, path in stated_in.items():
        if set(graph.predicates(subject, None)) <= set(_RESTATED):
            known = {ns.local(shape, ns.RULE): shape for shape in _shapes(graph)}
            near = nearest(ns.local(subject, ns.RULE), known)
            fix = f"did you mean rule:{near}?" if near else "list the rules: trayconcord explain"
            raise unusable(path, f"no rule is {subject}", fix)


def _shapes(graph: Graph) -> list[URIRef]:
    targeted = {s for target in _TARGETS for s in graph.subjects(target, None)}
    off = {s for s in graph.subjects(SH.deactivated, None) if graph.value(s, SH.deactivated) == Literal(True)}
    return sorted(s for s in targeted - off if isinstance(s, URIRef))


def only_targeting(graph: Graph, shape: URIRef) -> Graph:
    """A shape and what it refers to, without the rest: a shape that is broken must not break others."""
    result = Graph(bind_namespaces="none")
    todo: list[Node] = [shape, *graph.subjects(RDF.type, SH.ConstraintComponent)]
    seen: set[Node] = set()
    while todo:
        node = todo.pop()
        if node not in seen:
            seen.add(node)
            for predicate, value in graph.predicate_objects(node):
                if predicate not in _TARGETS or node == shape:
                    result.add((node, predicate, value))
                    todo.append(value)
    return result


def _rule(graph: Graph, shape: URIRef, shipped: bool) -> Rule:
    severity = SEVERITIES.get(str(graph.value(shape, SH.severity) or SH.Violation), "violation")
    return Rule(
        name=re.split(r"[/#]", ns.local(shape, ns.RULE))[-1],
        shape=shape,
        severity=severity,
        message=str(graph.value(shape, SH.message) or ""),
        help=str(graph.value(shape, TC.help) or ""),
        path=path if isinstance(path := graph.value(shape, SH.path), URIRef) else None,
        shipped=shipped,
    )
