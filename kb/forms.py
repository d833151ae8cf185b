"""Forms: how people enter a source, rulings and taught cases. A form is understood whole or refused whole."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import yaml

from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.grammar import ValueProblem, parse_quantity
from trayconcord.kb.model import Case, Claim, Ruling, Scope, Source, default_id, in_order, topic_id
from trayconcord.kb.values import Choice, Membership, Nothing, Recorded, Steps, YesNo
from trayconcord.kb.vocabulary import Parameter, Term, Vocabulary
from trayconcord.kb.yaml_nodes import NodeReader, compose

SOURCE_KEYS = (
    "id",
    "title",
    "authors",
    "year",
    "kind",
    "container",
    "doi",
    "isbn",
    "language",
    "withdrawn",
    "edition-of",
    "compiled-from",
    "note",
)
CLAIM_KEYS = ("parameter", "when", "value", "at", "obtained", "reported-by", "note", "id")
RULING_KEYS = ("parameter", "when", "value", "because", "decided-on", "decided-by", "review-by", "without-source")
CASE_KEYS = ("id", "label", "when", "asks")

_ID = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(10))}
_LANGUAGE = re.compile(r"[a-z]{2,3}(?:-[A-Za-z0-9]{2,8})*")
_CLAIM_ID = re.compile(r"[a-z0-9]+(?:[-+/.][a-z0-9]+)*")
_YES_NO = {"yes": True, "no": False, "true": True, "false": False}


@dataclass(frozen=True, slots=True)
class Form:
    """What a form says; ``source`` is None in a form of rulings or cases only."""

    source: Source | None = None
    claims: list[Claim] = field(default_factory=list)
    rulings: list[Ruling] = field(default_factory=list)
    cases: list[Case] = field(default_factory=list)


def read_form(path: Path, vocabulary: Vocabulary) -> Form:
    """Read a form. Raises `UnusableInput` with every complaint at its line and column."""
    root = compose(path)
    reader = _FormReader(path, vocabulary)
    form = reader.form(root)
    if reader.complaints:
        raise UnusableInput(reader.complaints)
    return form


class _FormReader(NodeReader):
    def __init__(self, path: Path, vocabulary: Vocabulary) -> None:
        super().__init__(path)
        self.vocabulary = vocabulary

    def form(self, root: yaml.MappingNode) -> Form:
        parts = self.mapping(root, "the form", ("source", "claims", "rulings", "cases"))
        source = self.source(parts["source"]) if "source" in parts else None
        if "claims" in parts and source is None:
            self.complain(parts["claims"], "claims without a source", "add source: with at least id, title and kind")
        if not parts and not self.complaints:
            self.complain(root, "the form is empty", "start with source: or rulings:")
        items = {key: self.sequence(node, key) for key, node in parts.items() if key != "source"}
        claims = [self.claim(node, source.id if source else "") for node in items.get("claims", ())]
        rulings = [self.ruling(node) for node in items.get("rulings", ())]
        cases = [self.case(node) for node in items.get("cases", ())]
        self.unique("claim", items.get("claims", []), [claim.id for claim in claims])
        self.unique("ruling", items.get("rulings", []), [ruling.id for ruling in rulings])
        self.unique("case", items.get("cases", []), [case.id for case in cases])
        return Form(source, claims, rulings, cases)

    def unique(self, what: str, nodes: list[yaml.Node], ids: list[str]) -> None:
        fix = {
            "claim": "give the second an id of its own, such as id: {}-2",
            "ruling": "a course adopts one value for the same conditions: keep one",
            "case": "give each case its own id",
        }[what]
        seen: dict[str, int] = {}
        for node, identifier in zip(nodes, ids, strict=True):
            if identifier and identifier in seen:
                self.complain(
                    node, f"{what} {identifier} stands already at line {seen[identifier]}", fix.format(identifier)
                )
            seen.setdefault(identifier, self.place(node).line)

    def source(self, node: yaml.Node) -> Source:
        parts = self.mapping(node, "source", SOURCE_KEYS)
        for key in ("id", "title", "kind"):
            if isinstance(node, yaml.MappingNode) and key not in parts:
                self.complain(node, f"source: {key} is missing", f"add {key}:")
        text = {key: self.text(value, key) for key, value in parts.items() if key not in ("authors", "compiled-from")}
        year = text.get("year", "")
        if year and not (re.fullmatch(r"\d{4}", year) and 1700 <= int(year) <= 2100):
            self.complain(parts["year"], f"year: {year}", "write the year of publication in four digits")
            year = ""
        kind = self.term(parts["kind"], text["kind"], "kind", self.vocabulary.kinds) if text.get("kind") else ""
        if text.get("doi") and not re.fullmatch(r"10\.\d{4,9}/\S+", text["doi"]):
            self.complain(parts["doi"], f"doi: {text['doi']}", "write the DOI itself, as in 10.1000/xyz123")
        if text.get("language") and not _LANGUAGE.fullmatch(text["language"]):
            self.complain(
                parts["language"], f"language: {text['language'][:40]}", "write its code, as in en, de or pt-BR"
            )
        return Source(
            id=self.identifier(parts["id"], text.get("id", ""), "source id") if "id" in parts else "",
            title=text.get("title", ""),
            authors=tuple(self.texts(parts["authors"], "authors")) if "authors" in parts else (),
            year=int(year or 0),
            kind=kind,
            container=text.get("container", ""),
            doi=text.get("doi", ""),
            isbn=text.get("isbn", ""),
            language=text.get("language", ""),
            withdrawn=text.get("withdrawn", ""),
            edition_of=self.reference(parts, text, "edition-of"),
            compiled_from=self.origins(parts["compiled-from"]) if "compiled-from" in parts else (),
            note=text.get("note", ""),
        )

    def origins(self, node: yaml.Node) -> tuple[str, ...]:
        found = {
            self.identifier(item, self.text(item, "source id"), "source id")
            for item in self.sequence(node, "compiled-from")
        }
        return tuple(sorted(found))

    def texts(self, node: yaml.Node, what: str) -> list[str]:
        return [self.text(item, what) for item in self.sequence(node, what)]

    def texts_of(self, parts: dict[str, yaml.Node], keys: tuple[str, ...]) -> dict[str, str]:
        return {key: self.text(parts[key], key) for key in keys if key in parts}

    def identifier(self, node: yaml.Node, text: str, what: str) -> str:
        if text and (not _ID.fullmatch(text) or len(text) > 80 or text in _RESERVED):
            self.complain(
                node, f"{what}: {text[:80]}", "use small letters, digits and single hyphens, as in smith-2016"
            )
            return ""
        return text

    def reference(self, parts: dict[str, yaml.Node], text: dict[str, str], key: str) -> str:
        return self.identifier(parts[key], text[key], key) if key in parts else ""

    def term(self, node: yaml.Node, word: str, what: str, among: Mapping[str, Term]) -> str:
        """A word that must be the id of a term; the nearest one is offered where it is not."""
        if word in among:
            return word
        near = self.vocabulary.nearest(word, among)
        if near:
            fix = f"did you mean {near}" + (
                f" ({among[near].label})?" if among[near].label.replace(" ", "-") != near else "?"
            )
        elif len(among) <= 12:
            fix = f"use one of: {', '.join(among)}"
        else:
            fix = "list the known terms with: trayconcord terms WORD"
        self.complain(node, f"{what}: unknown term {word[:80]}", fix)
        return ""

    def concept(self, node: yaml.Node, what: str, scheme: str) -> str:
        word = self.text(node, what)
        among: dict[str, Term] = {concept.id: concept for concept in self.vocabulary.in_scheme(scheme)}
        return self.term(node, word, what, among) if word else ""

    def scope(self, node: yaml.Node) -> Scope:
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
        items = self.sequence(node, "value")
        steps = [self.concept(item, "step", scheme) for item in items]
        for number, (item, step) in enumerate(zip(items, steps, strict=True)):
            if step and step in steps[:number]:
                self.complain(item, f"step {step} stands twice", "name each step once")
        if isinstance(node, yaml.SequenceNode) and len(items) < 2:
            self.complain(node, "an order needs two steps", "write [first-step, second-step, …]")
        return Steps(tuple(steps)) if steps and all(steps) else None

    def membership(self, node: yaml.Node, scheme: str) -> Recorded | None:
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

    def claim(self, node: yaml.Node, source: str) -> Claim:
        parts = self.mapping(node, "claim", CLAIM_KEYS)
        parameter, when, value, printed = self.statement(node, parts, "claim")
        text = self.texts_of(parts, ("at", "obtained", "reported-by", "note", "id"))
        obtained = text.get("obtained", "")
        obtained = self.term(parts["obtained"], obtained, "obtained", self.vocabulary.obtained) if obtained else ""
        if "reported-by" in parts and obtained and obtained != "reported":
            self.complain(parts["reported-by"], f"reported-by with obtained: {obtained}", "write obtained: reported")
        identifier = text.get("id", "")
        if (
            identifier
            and source
            and not (_CLAIM_ID.fullmatch(identifier) and identifier.startswith(f"{source}/") and len(identifier) <= 240)
        ):
            self.complain(
                parts["id"], f"id: {identifier[:80]}", f"start it with {source}/ and use small letters, digits, - + /"
            )
        return Claim(
            id=identifier or (default_id(source, parameter, when) if parameter else ""),
            source=source,
            parameter=parameter,
            when=when,
            value=value,
            printed=printed,
            at=text.get("at", ""),
            obtained=obtained,
            reported_by=self.reference(parts, text, "reported-by"),
            note=text.get("note", ""),
        )

    def ruling(self, node: yaml.Node) -> Ruling:
        parts = self.mapping(node, "ruling", RULING_KEYS)
        parameter, when, value, printed = self.statement(node, parts, "ruling")
        text = self.texts_of(parts, ("because", "decided-on", "decided-by", "review-by", "without-source"))
        for key in ("because", "decided-on", "decided-by"):
            if isinstance(node, yaml.MappingNode) and key not in parts:
                self.complain(node, f"ruling: {key} is missing", f"add {key}:")
        for key in ("decided-on", "review-by"):
            if text.get(key) and not _is_date(text[key]):
                self.complain(parts[key], f"{key}: {text[key][:40]}", "write the date as 2026-05-12")
        return Ruling(
            id=topic_id(parameter, when) if parameter else "",
            parameter=parameter,
            when=when,
            value=value,
            printed=printed,
            because=text.get("because", ""),
            decided_on=text.get("decided-on", ""),
            decided_by=text.get("decided-by", ""),
            review_by=text.get("review-by", ""),
            without_source=text.get("without-source", ""),
        )

    def case(self, node: yaml.Node) -> Case:
        parts = self.mapping(node, "case", CASE_KEYS)
        for key in ("id", "when", "asks"):
            if isinstance(node, yaml.MappingNode) and key not in parts:
                self.complain(node, f"case: {key} is missing", f"add {key}:")
        parameters: dict[str, Term] = dict(self.vocabulary.parameters)
        asks = []
        for item in self.sequence(parts["asks"], "asks") if "asks" in parts else []:
            word = self.text(item, "asks")
            asks.append(self.term(item, word, "asks", parameters) if word else "")
        known = sorted({ask for ask in asks if ask}, key=list(parameters).index)
        return Case(
            id=self.identifier(parts["id"], self.text(parts["id"], "id"), "case id") if "id" in parts else "",
            label=self.text(parts["label"], "label") if "label" in parts else "",
            when=self.scope(parts["when"]) if "when" in parts else (),
            asks=tuple(known),
        )


def _is_date(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False
