"""Reading terms, conditions and values from YAML nodes, with complaints at their places."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path

import yaml

from trayconcord.kb.grammar import ValueProblem, parse_quantity
from trayconcord.kb.model import Scope, in_order
from trayconcord.kb.values import Choice, Membership, Nothing, Recorded, Steps, YesNo
from trayconcord.kb.vocabulary import Parameter, Term, Vocabulary
from trayconcord.kb.yaml_nodes import NodeReader

FEW = 20
"""Terms that a message lists, where none is near."""

_YES_NO = {"yes": True, "no": False, "true": True, "false": False}


class StatementReader(NodeReader):
    """Reads what forms, cases and measurements have in common: terms of the vocabulary, conditions, values."""

    def __init__(self, path: Path, vocabulary: Vocabulary) -> None:
        super().__init__(path)
        self.vocabulary = vocabulary

    def term(self, node: yaml.Node, word: str, what: str, among: Mapping[str, Term]) -> str:
        """A word that must be the id of a term; the nearest one is offered where it is not."""
        if word in among:
            return word
        near = self.vocabulary.nearest(word, among)
        if near:
            fix = f"did you mean {near}" + (
                f" ({among[near].label})?" if among[near].label.replace(" ", "-") != near else "?"
            )
        elif len(among) <= FEW:
            fix = f"use one of: {', '.join(among)}"
        else:
            fix = "list the known terms with: trayconcord terms WORD"
        self.complain(node, f"{what}: unknown term {word[:80]}", fix)
        return ""

    def concept(self, node: yaml.Node, what: str, scheme: str) -> str:
        """The id of a concept of a scheme; empty where it is none."""
        word = self.text(node, what)
        among: dict[str, Term] = {concept.id: concept for concept in self.vocabulary.in_scheme(scheme)}
        return self.term(node, word, what, among) if word else ""

    def scope(self, node: yaml.Node) -> Scope:
        """Conditions: a mapping from axes to concepts."""
        when: dict[str, str] = {}
        for key_node, value in node.value if isinstance(node, yaml.MappingNode) else ():
            axes: dict[str, Term] = dict(self.vocabulary.axes)
            if isinstance(key_node, yaml.ScalarNode) and key_node.value not in axes:
                self.term(key_node, key_node.value, "when", axes)
            elif isinstance(key_node, yaml.ScalarNode):
                axis = self.vocabulary.axes[key_node.value]
                when[axis.id] = self.concept(value, axis.id, axis.scheme)
        self.mapping(node, "when", None)
        return in_order({axis: concept for axis, concept in when.items() if concept}, self.vocabulary)

    def parameter(self, node: yaml.Node, parts: dict[str, yaml.Node], what: str) -> Parameter | None:
        """The parameter that a statement names."""
        if "parameter" not in parts:
            if isinstance(node, yaml.MappingNode):
                self.complain(node, f"{what}: parameter is missing", "add parameter:")
            return None
        parameters: dict[str, Term] = dict(self.vocabulary.parameters)
        word = self.text(parts["parameter"], "parameter")
        known = self.term(parts["parameter"], word, "parameter", parameters) if word else ""
        return self.vocabulary.parameters.get(known)

    def statement(
        self, node: yaml.Node, parts: dict[str, yaml.Node], what: str
    ) -> tuple[str, Scope, Recorded | None, str]:
        """Parameter, conditions, value and the quantity as printed."""
        parameter = self.parameter(node, parts, what)
        understood = len(self.complaints)
        when = self.scope(parts["when"]) if "when" in parts else ()
        if "value" not in parts:
            if isinstance(node, yaml.MappingNode):
                self.complain(node, f"{what}: value is missing", "add value:")
            return parameter.id if parameter else "", when, None, ""
        if parameter is None:
            return "", when, None, ""
        clear = len(self.complaints) == understood  # else no id follows from the conditions
        value, printed = self.value(parts["value"], parameter)
        return parameter.id if clear else "", when, value, printed

    def value(self, node: yaml.Node, parameter: Parameter) -> tuple[Recorded | None, str]:
        """A value of the parameter, and the quantity as printed."""
        scheme = parameter.scheme or ""
        if parameter.kind in ("interval", "count"):
            printed = self.text(node, "value", 200)
            if not printed:
                return None, ""
            try:
                return parse_quantity(printed, parameter, self.vocabulary), printed
            except ValueProblem as problem:
                self.complain(node, f"value: {problem.message}", problem.fix)
                return None, ""
        if parameter.kind == "choice":
            chosen = self.concept(node, "value", scheme)
            return (Choice(chosen) if chosen else None), ""
        if parameter.kind == "yes-no":
            word = self.text(node, "value").casefold()
            if word and word not in _YES_NO:
                self.complain(node, f"value: {word[:80]}", "write yes or no")
            return (YesNo(_YES_NO[word]) if word in _YES_NO else None), ""
        if parameter.kind == "order":
            return self.steps(node, scheme), ""
        return self.membership(node, scheme), ""

    def steps(self, node: yaml.Node, scheme: str) -> Steps | None:
        """Steps in order."""
        items = self.sequence(node, "value")
        steps = [self.concept(item, "step", scheme) for item in items]
        for number, (item, step) in enumerate(zip(items, steps, strict=True)):
            if step and step in steps[:number]:
                self.complain(item, f"step {step} stands twice", "name each step once")
        if isinstance(node, yaml.SequenceNode) and len(items) < 2:
            self.complain(node, "an order needs two steps", "write [first-step, second-step, …]")
        return Steps(tuple(steps)) if steps and all(steps) else None

    def membership(self, node: yaml.Node, scheme: str) -> Recorded | None:
        """A set."""
        if isinstance(node, yaml.ScalarNode):
            if node.value.strip().casefold() == "none":
                return Nothing()
            self.complain(node, f"value: {node.value[:80]} is no set", "write [a, b], {includes: [a]} or none")
            return None
        if isinstance(node, yaml.SequenceNode):
            members = frozenset(self.concept(item, "value", scheme) for item in node.value)
            if not members:
                self.complain(node, "value: an empty set", "write none for a set without members")
            return Membership(members, frozenset(), True) if members and all(members) else None
        understood = len(self.complaints)
        parts = self.mapping(node, "value", ("includes", "excludes"))
        sides = {
            key: frozenset(self.concept(item, key, scheme) for item in self.sequence(part, key))
            for key, part in parts.items()
        }
        includes, excludes = sides.get("includes", frozenset()), sides.get("excludes", frozenset())
        both = sorted(includes & excludes - {""})
        if both:
            self.complain(node, f"value: {both[0]} is in and out", "name it on one side")
        if not includes and not excludes and len(self.complaints) == understood:
            self.complain(node, "value: an empty set", "write none for a set without members")
        return Membership(includes, excludes, False)


def is_date(text: str) -> bool:
    """Whether a text is a date such as 2026-05-12."""
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False
