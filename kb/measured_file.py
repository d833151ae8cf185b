"""Files of measurements: what was found on the trays of one student or of a class."""

import re
from collections.abc import Collection
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import yaml

from trayconcord.kb.errors import Place, UnusableInput
from trayconcord.kb.grammar import ValueProblem
from trayconcord.kb.marking import SITE_AXIS
from trayconcord.kb.measures import measured_number, not_negative
from trayconcord.kb.model import comparable
from trayconcord.kb.statement_nodes import StatementReader
from trayconcord.kb.values import Choice, Comparable, Interval, Membership, Nothing, Steps, YesNo
from trayconcord.kb.vocabulary import Parameter, Term, Vocabulary
from trayconcord.kb.yaml_nodes import compose

AT_SITES = "at sites"
"""How a parameter is taken that can be measured at several places of one tray."""
DETAILS = ("value", "uncertainty", "with", "unsure", "note")
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}")


@dataclass(frozen=True, slots=True)
class Measurement:
    """What was found of one parameter on one tray, at a site or (empty) on the tray as a whole.

    A number is an interval without length, in the parameter's unit; ``uncertainty`` is in that unit too, and None where
    nobody stated one; it comes ``uncertainty_from`` the "measurement", its "instrument" or the "file". ``unsure`` marks
    an observation of which the observer is not certain.
    """

    parameter: str
    site: str
    value: Comparable
    printed: str = ""
    uncertainty: Fraction | None = None
    uncertainty_from: str = ""
    unsure: bool = False
    note: str = ""
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class Tray:
    """A tray by the code of whoever made it, with what was measured on it."""

    id: str
    measurements: tuple[Measurement, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class MeasuredFile:
    """The trays of a file, and what the file calls them together."""

    trays: tuple[Tray, ...]
    label: str = ""


def read_measured(path: Path, vocabulary: Vocabulary, sites: Collection[str] | None = None) -> MeasuredFile:
    """Read a file of measurements. Raises `UnusableInput` with every complaint at its line and column.

    ``sites`` are the places that a tray of the case has; without them every place of the vocabulary may be named.
    """
    root = compose(path)
    reader = _MeasuredReader(path, vocabulary, sites)
    found = reader.file(root)
    if reader.complaints:
        raise UnusableInput(reader.complaints)
    return found


class _MeasuredReader(StatementReader):
    def __init__(self, path: Path, vocabulary: Vocabulary, sites: Collection[str] | None) -> None:
        super().__init__(path, vocabulary)
        self.sites = sites
        self.regions: dict[str, Term] = {
            concept.id: concept for concept in vocabulary.in_scheme(vocabulary.axes[SITE_AXIS].scheme)
        }
        self.uncertainties: dict[str, Fraction] = {}
        self.instruments: dict[str, str] = {}

    def file(self, root: yaml.MappingNode) -> MeasuredFile:
        parts = self.mapping(root, "the file", ("label", "uncertainty", "instruments", "tray", "trays"))
        label = self.text(parts["label"], "label", 200) if "label" in parts else ""
        if "instruments" in parts:
            for name, node in self.mapping(parts["instruments"], "instruments").items():
                self.instruments[name] = self.text(node, name, 80)
                self.readable(node, name)
        if "uncertainty" in parts:
            self.defaults(parts["uncertainty"])
        if ("tray" in parts) == ("trays" in parts):
            message = "tray and trays stand side by side" if "tray" in parts else "no tray is measured"
            self.complain(root, message, "write one tray: or a list of trays:")
        nodes = [parts["tray"]] if "tray" in parts else []
        nodes += self.sequence(parts["trays"], "trays") if "trays" in parts else []
        trays = [self.tray(node) for node in nodes]
        seen: dict[str, int] = {}
        for node, tray in zip(nodes, trays, strict=True):
            if tray.id and tray.id in seen:
                self.complain(node, f"tray {tray.id} stands already at line {seen[tray.id]}", "give each its own id")
            seen.setdefault(tray.id, self.place(node).line)
        return MeasuredFile(tuple(trays), label)

    def defaults(self, node: yaml.Node) -> None:
        """The uncertainty of each parameter where a measurement states none."""
        for parameter, _, value in self.by_parameter(node, "uncertainty"):
            printed = self.text(value, parameter.id, 80)
            if printed and parameter.kind not in ("interval", "count"):
                self.complain(value, f"{parameter.label} is not a quantity", "write unsure: yes at an observation")
            elif printed:
                number = self.uncertainty(value, printed, parameter)
                if number is not None:
                    self.uncertainties[parameter.id] = number

    def readable(self, node: yaml.Node, name: str) -> None:
        """Complain of an instrument whose uncertainty suits nothing that a tray shows."""
        printed = self.instruments[name]
        for parameter in self.vocabulary.parameters.values() if printed else ():
            if parameter.on_tray and parameter.kind == "interval":
                with suppress(ValueProblem):
                    not_negative(printed, parameter, self.vocabulary, "uncertainty")
                    return
        if printed:
            self.complain(node, f"instruments: {printed} is no uncertainty", f"write it as {name}: 0.5 mm")

    def by_parameter(self, node: yaml.Node, what: str) -> list[tuple[Parameter, yaml.Node, yaml.Node]]:
        """The entries of a mapping whose keys are parameters that a tray shows: parameter, key and value."""
        parts = self.mapping(node, what)
        keys = {key.value: key for key, _ in node.value} if isinstance(node, yaml.MappingNode) else {}
        found = []
        parameters: dict[str, Term] = dict(self.vocabulary.parameters)
        for name, value in parts.items():
            known = self.term(keys[name], name, what, parameters)
            parameter = self.vocabulary.parameters.get(known)
            if parameter and not parameter.on_tray:
                seen = ", ".join(p.id for p in self.vocabulary.parameters.values() if p.on_tray)
                self.complain(keys[name], f"{what}: {name} is not taken from a tray", f"use one of: {seen}")
            elif parameter:
                found.append((parameter, keys[name], value))
        return found

    def tray(self, node: yaml.Node) -> Tray:
        parts = self.mapping(node, "tray", ("id", "note", "measured"))
        for key in ("id", "measured"):
            if isinstance(node, yaml.MappingNode) and key not in parts:
                self.complain(node, f"tray: {key} is missing", f"add {key}:")
        identifier = self.text(parts["id"], "id") if "id" in parts else ""
        if identifier and not _ID.fullmatch(identifier):
            fix = "write a code of up to 40 letters, digits, hyphens, dots or underlines, not a name"
            self.complain(parts["id"], f"id: {identifier[:60]}", fix)
            identifier = ""
        measured: list[Measurement | None] = []
        for parameter, _, value in self.by_parameter(parts["measured"], "measured") if "measured" in parts else ():
            measured += self.measurements(parameter, value)
        note = self.text(parts["note"], "note") if "note" in parts else ""
        return Tray(identifier, tuple(one for one in measured if one is not None), note)

    def measurements(self, parameter: Parameter, node: yaml.Node) -> list[Measurement | None]:
        """One measurement, or one for each site that is named."""
        if not isinstance(node, yaml.MappingNode):
            return [self.measurement(parameter, "", node)]
        keys = [key.value if isinstance(key, yaml.ScalarNode) else "" for key, _ in node.value]
        if not keys or any(key in DETAILS for key in keys):
            return [self.measurement(parameter, "", node)]
        if parameter.kind == "set" and set(keys) <= {"includes", "excludes"}:
            self.observation(node, parameter)  # which refuses it
            return []
        if parameter.on_tray != AT_SITES:
            fix = f"write {parameter.id}: and the value"
            self.complain(node, f"{parameter.id}: is taken once for a tray, not site by site", fix)
            return []
        named = self.mapping(node, parameter.id)
        key_nodes = {key.value: key for key, _ in node.value if isinstance(key, yaml.ScalarNode)}
        found = []
        for site, value in named.items():
            known = self.site(key_nodes[site], site)
            one = self.measurement(parameter, known, value)  # read at an unknown site too, to tell every mistake
            found.append(one if known else None)
        return found

    def site(self, node: yaml.Node, word: str) -> str:
        """A place on the tray; empty where there is no such place, or none on the trays of this case."""
        known = self.term(node, word, "site", self.regions)
        if known and self.sites is not None and known not in self.sites:
            fix = f"use one of: {', '.join(site for site in self.regions if site in self.sites)}"
            self.complain(node, f"site: a tray of this case has no place {known}", fix)
            return ""
        return known

    def measurement(self, parameter: Parameter, site: str, node: yaml.Node) -> Measurement | None:
        parts = {"value": node}
        if isinstance(node, yaml.MappingNode):
            parts = self.mapping(node, parameter.id, DETAILS)
            if "value" not in parts:
                self.complain(
                    node, f"{parameter.id}: value is missing", "add value:, or leave out what was not measured"
                )
                return None
        understood = len(self.complaints)
        is_number = parameter.kind in ("interval", "count")
        value: Comparable | None
        uncertainty: Fraction | None = None
        if is_number:
            value, printed, uncertainty = self.number(parts["value"], parameter)
        else:
            value, printed = self.observation(parts["value"], parameter), ""
        note = self.text(parts["note"], "note") if "note" in parts else ""
        unsure = self.unsure(parts["unsure"], parameter) if "unsure" in parts else False
        origin = "measurement" if uncertainty is not None else ""
        for key in ("uncertainty", "with"):
            if key in parts and not is_number:
                self.complain(parts[key], f"{key} of what is not a quantity", "write unsure: yes instead")
        if is_number and "uncertainty" in parts:
            if uncertainty is not None:
                self.complain(parts["uncertainty"], "the uncertainty stands twice", "keep one of the two")
            text = self.text(parts["uncertainty"], "uncertainty", 80)
            uncertainty, origin = self.uncertainty(parts["uncertainty"], text, parameter), "measurement"
        if is_number and "with" in parts:
            of_instrument = self.instrument(parts["with"], parameter)
            if uncertainty is None:
                uncertainty, origin = of_instrument, "instrument"
        if is_number and uncertainty is None and parameter.id in self.uncertainties:
            uncertainty, origin = self.uncertainties[parameter.id], "file"
        if value is None or len(self.complaints) > understood:
            return None
        return Measurement(
            parameter.id, site, value, printed, uncertainty, origin, unsure, note, self.place(parts["value"])
        )

    def number(self, node: yaml.Node, parameter: Parameter) -> tuple[Interval | None, str, Fraction | None]:
        printed = self.text(node, parameter.id, 80)
        if not printed:
            return None, "", None
        try:
            number, uncertainty, text = measured_number(printed, parameter, self.vocabulary)
        except ValueProblem as problem:
            self.complain(node, f"{parameter.id}: {problem.message}", problem.fix)
            return None, "", None
        return Interval(number, number), text, uncertainty

    def observation(self, node: yaml.Node, parameter: Parameter) -> Choice | Membership | YesNo | Steps | None:
        """A choice, a yes or no, steps, or all the members of a set that are there."""
        if parameter.kind == "set" and isinstance(node, yaml.MappingNode):
            self.complain(node, f"{parameter.id}: a part of a set", "list all that is there, as [a, b], or write none")
            return None
        found, _ = self.value(node, parameter)
        if isinstance(found, Nothing):
            found = Membership(frozenset(), frozenset(), True)
        if found is None:
            return None
        value = comparable(found, parameter, self.vocabulary)
        assert not isinstance(value, Interval)
        return value

    def unsure(self, node: yaml.Node, parameter: Parameter) -> bool:
        word = self.text(node, "unsure").casefold()
        if word and word not in ("yes", "no", "true", "false"):
            self.complain(node, f"unsure: {word[:40]}", "write yes or no")
        if parameter.kind == "interval":
            self.complain(node, "unsure of a quantity", "state its uncertainty, as in 1.8 mm +- 0.2 mm")
        return word in ("yes", "true")

    def uncertainty(self, node: yaml.Node, printed: str, parameter: Parameter) -> Fraction | None:
        if not printed:
            return None
        try:
            return not_negative(printed, parameter, self.vocabulary, "uncertainty")
        except ValueProblem as problem:
            self.complain(node, f"uncertainty: {problem.message}", problem.fix)
            return None

    def instrument(self, node: yaml.Node, parameter: Parameter) -> Fraction | None:
        """The uncertainty of the instrument that a measurement names."""
        name = self.text(node, "with", 80)
        if name and name not in self.instruments:
            known = ", ".join(self.instruments) or "none so far"
            self.complain(node, f"with: unknown instrument {name}", f"add it under instruments: ({known})")
        return self.uncertainty(node, self.instruments.get(name, ""), parameter)
