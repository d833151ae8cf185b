"""Forms: how people enter a source, rulings, cases, marking. A form is understood whole or refused whole."""

import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import yaml

from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.identifiers import is_plain
from trayconcord.kb.marking import MarkingPolicy
from trayconcord.kb.marking_form import MarkingReader
from trayconcord.kb.model import Case, Claim, Ruling, Source, default_id, topic_id
from trayconcord.kb.statement_nodes import is_date
from trayconcord.kb.values import Membership, Steps
from trayconcord.kb.vocabulary import Term, Vocabulary
from trayconcord.kb.yaml_nodes import compose

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

_LANGUAGE = re.compile(r"[a-z]{2,3}(?:-[A-Za-z0-9]{2,8})*")
MOST_LISTS = 500
"""Sets or orders that one source may state on one question: each is compared with every other."""

_CLAIM_ID = re.compile(r"[a-z0-9]+(?:[-+/.][a-z0-9]+)*")


@dataclass(frozen=True, slots=True)
class Form:
    """What a form says; ``source`` is None in a form of rulings, cases or marking only."""

    source: Source | None = None
    claims: list[Claim] = field(default_factory=list)
    rulings: list[Ruling] = field(default_factory=list)
    cases: list[Case] = field(default_factory=list)
    marking: MarkingPolicy | None = None


def read_form(path: Path, vocabulary: Vocabulary) -> Form:
    """Read a form. Raises `UnusableInput` with every complaint at its line and column."""
    root = compose(path)
    reader = _FormReader(path, vocabulary)
    form = reader.form(root)
    if reader.complaints:
        raise UnusableInput(reader.complaints)
    return form


class _FormReader(MarkingReader):
    def form(self, root: yaml.MappingNode) -> Form:
        parts = self.mapping(root, "the form", ("source", "claims", "rulings", "cases", "marking"))
        source = self.source(parts["source"]) if "source" in parts else None
        if "claims" in parts and source is None:
            self.complain(parts["claims"], "claims without a source", "add source: with at least id, title and kind")
        if not parts and not self.complaints:
            self.complain(root, "the form is empty", "start with source: or rulings:")
        items = {key: self.sequence(node, key) for key, node in parts.items() if key not in ("source", "marking")}
        claims = [self.claim(node, source.id if source else "") for node in items.get("claims", ())]
        rulings = [self.ruling(node) for node in items.get("rulings", ())]
        cases = [self.case(node) for node in items.get("cases", ())]
        self.not_too_many(items.get("claims", []), claims)
        self.unique("claim", items.get("claims", []), [claim.id for claim in claims])
        self.unique("ruling", items.get("rulings", []), [ruling.id for ruling in rulings])
        self.unique("case", items.get("cases", []), [case.id for case in cases])
        marking = self.marking(parts["marking"]) if "marking" in parts else None
        return Form(source, claims, rulings, cases, marking)

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

    def not_too_many(self, nodes: list[yaml.Node], claims: list[Claim]) -> None:
        counts: Counter[str] = Counter()
        for node, claim in zip(nodes, claims, strict=True):
            counts[claim.parameter] += isinstance(claim.value, Membership | Steps)
            if counts[claim.parameter] > MOST_LISTS:
                message = f"{claim.parameter}: more than {MOST_LISTS} lists by one source"
                self.complain(node, message, "enter what the source says, not every case of it")
                return

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
        if text and not is_plain(text):
            self.complain(
                node, f"{what}: {text[:80]}", "use small letters, digits and single hyphens, as in smith-2016"
            )
            return ""
        return text

    def reference(self, parts: dict[str, yaml.Node], text: dict[str, str], key: str) -> str:
        return self.identifier(parts[key], text[key], key) if key in parts else ""

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
            if text.get(key) and not is_date(text[key]):
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
