"""The ``marking`` block of a form: a course's marking policy, read, and printed back."""

from fractions import Fraction

import yaml

from trayconcord.kb.grammar import ValueProblem, exact_text
from trayconcord.kb.marking import HALF, LEFT_OUT, SITE_AXIS, ZERO, MarkingItem, MarkingPolicy
from trayconcord.kb.measures import not_negative, part_of_one
from trayconcord.kb.model import topic_id
from trayconcord.kb.statement_nodes import StatementReader, is_date
from trayconcord.kb.values import Quantity, terminating
from trayconcord.kb.vocabulary import Parameter, Vocabulary

POLICY_KEYS = ("pass", "borderline", "not-measured", "decided-on", "decided-by", "items")
ITEM_KEYS = ("parameter", "when", "sites", "weight", "tolerance", "uncertainty", "borderline")


class MarkingReader(StatementReader):
    """Reads the ``marking`` block."""

    def marking(self, node: yaml.Node) -> MarkingPolicy:
        """A policy with its items."""
        parts = self.mapping(node, "marking", POLICY_KEYS)
        if isinstance(node, yaml.MappingNode) and "items" not in parts:
            self.complain(node, "marking: items is missing", "add items: with what is marked")
        nodes = self.sequence(parts["items"], "items") if "items" in parts else []
        items = [item for item in (self.marking_item(entry) for entry in nodes) if item is not None]
        seen: set[str] = set()
        for entry, item in zip(nodes, items, strict=False):
            if item.id in seen and len(items) == len(nodes):
                self.complain(entry, f"marking item {item.id} stands twice", "keep one of the two")
            seen.add(item.id)
        unmeasured = self.text(parts["not-measured"], "not-measured") if "not-measured" in parts else LEFT_OUT
        if unmeasured and unmeasured not in (LEFT_OUT, ZERO):
            self.complain(parts["not-measured"], f"not-measured: {unmeasured[:40]}", f"write {LEFT_OUT} or {ZERO}")
        day = self.text(parts["decided-on"], "decided-on") if "decided-on" in parts else ""
        if day and not is_date(day):
            self.complain(parts["decided-on"], f"decided-on: {day[:40]}", "write the date as 2026-05-12")
        borderline = self.part(parts["borderline"], "borderline") if "borderline" in parts else None
        return MarkingPolicy(
            tuple(items),
            borderline=HALF if borderline is None else borderline,
            pass_mark=self.part(parts["pass"], "pass") if "pass" in parts else None,
            unmeasured=unmeasured or LEFT_OUT,
            decided_on=day,
            decided_by=self.text(parts["decided-by"], "decided-by") if "decided-by" in parts else "",
        )

    def marking_item(self, node: yaml.Node) -> MarkingItem | None:
        """One item of a policy."""
        parts = self.mapping(node, "marking item", ITEM_KEYS)
        parameter = self.parameter(node, parts, "marking item")
        when = self.scope(parts["when"]) if "when" in parts else ()
        if parameter is None:
            return None
        if not parameter.on_tray:
            fix = "mark what can be measured or seen when a tray is handed in"
            self.complain(parts["parameter"], f"parameter: {parameter.id} is not taken from a tray", fix)
        sites = self.sites(parts["sites"], parameter) if "sites" in parts else ()
        tolerance, share = self.tolerance(parts["tolerance"], parameter) if "tolerance" in parts else (None, None)
        return MarkingItem(
            topic_id(parameter.id, when),
            parameter.id,
            when,
            sites,
            weight=self.weight(parts["weight"]) if "weight" in parts else Fraction(1),
            tolerance=tolerance,
            tolerance_share=share,
            uncertainty=self.amount(parts["uncertainty"], parameter, "uncertainty") if "uncertainty" in parts else None,
            borderline=self.part(parts["borderline"], "borderline") if "borderline" in parts else None,
        )

    def sites(self, node: yaml.Node, parameter: Parameter) -> tuple[str, ...]:
        """The places where a parameter is looked at, in the order of the vocabulary."""
        if parameter.on_tray == "once":
            self.complain(node, f"sites: {parameter.label} is taken once for a tray", "leave sites out")
        scheme = self.vocabulary.axes[SITE_AXIS].scheme
        items = self.sequence(node, "sites")
        found = [self.concept(item, "sites", scheme) for item in items]
        for number, (item, site) in enumerate(zip(items, found, strict=True)):
            if site and site in found[:number]:
                self.complain(item, f"site {site} stands twice", "name each site once")
        order = self.vocabulary.concepts
        return tuple(sorted({site for site in found if site}, key=lambda site: (order[site].order, site)))

    def tolerance(self, node: yaml.Node, parameter: Parameter) -> tuple[Fraction | None, Fraction | None]:
        """A quantity in the parameter's unit, or a part of each limit; per cent of a percentage are its own unit."""
        printed = self.text(node, "tolerance", 80)
        per_cent = self.vocabulary.unit_names.get("%", "")
        if printed.endswith("%") and parameter.kind == "interval" and parameter.unit != per_cent:
            return None, self.part(node, "tolerance", most=None)
        return self.amount(node, parameter, "tolerance"), None

    def amount(self, node: yaml.Node, parameter: Parameter, what: str) -> Fraction | None:
        """A quantity that is not negative, in the parameter's unit."""
        printed = self.text(node, what, 80)
        if printed and parameter.kind not in ("interval", "count"):
            self.complain(node, f"{what}: {parameter.label} is not a quantity", f"leave {what} out")
            return None
        try:
            return not_negative(printed, parameter, self.vocabulary, what) if printed else None
        except ValueProblem as problem:
            self.complain(node, f"{what}: {problem.message}", problem.fix)
            return None

    def part(self, node: yaml.Node, what: str, most: int | None = 1) -> Fraction | None:
        """A part of one, as 1/2, 0.5 or 50 %."""
        printed = self.text(node, what, 40)
        try:
            number, _ = part_of_one(printed) if printed else (None, False)
        except ValueProblem as problem:
            self.complain(node, f"{what}: {problem.message}", problem.fix)
            return None
        if number is not None and most is not None and number > most:
            self.complain(node, f"{what}: {printed} is more than the whole", "write it as 1/2, 0.5 or 50 %")
            return None
        return number

    def weight(self, node: yaml.Node) -> Fraction:
        """A number that is not negative."""
        printed = self.text(node, "weight", 40)
        try:
            number, in_per_cent = part_of_one(printed) if printed else (Fraction(1), False)
        except ValueProblem as problem:
            self.complain(node, f"weight: {problem.message}", "write a number such as 2 or 1/2")
            return Fraction(1)
        if in_per_cent:
            self.complain(node, f"weight: {printed}", "write a plain number: weights are counted against each other")
        return number


# --- printed back ----------------------------------------------------------------------------------------------------


def policy_form(policy: MarkingPolicy, vocabulary: Vocabulary) -> str:
    """The block that gives this very policy, in YAML; without the items that cannot be read."""
    lines = ["marking:"]
    if policy.pass_mark is not None:
        lines.append(f"  pass: {number_text(policy.pass_mark * 100)} %")
    lines.append(f"  borderline: {number_text(policy.borderline)}")
    lines.append(f"  not-measured: {policy.unmeasured}")
    if policy.decided_on:
        lines.append(f"  decided-on: {policy.decided_on}")
    if policy.decided_by:
        lines.append("  " + yaml.safe_dump({"decided-by": policy.decided_by}, allow_unicode=True, width=10**6).strip())
    items = [item for item in policy.items if not item.troubles]
    lines.append("  items:" + ("" if items else " []"))
    for item in items:
        parameter = vocabulary.parameters[item.parameter]
        parts = [f"parameter: {item.parameter}"]
        if item.when:
            parts.append("when: {" + ", ".join(f"{axis}: {concept}" for axis, concept in item.when) + "}")
        if item.sites:
            parts.append(f"sites: [{', '.join(item.sites)}]")
        parts.append(f"weight: {number_text(item.weight)}")
        if item.tolerance_share is not None:
            parts.append(f"tolerance: {number_text(item.tolerance_share * 100)} %")
        for key, amount in (("tolerance", item.tolerance), ("uncertainty", item.uncertainty)):
            if amount is not None:
                parts.append(f"{key}: {exact_text(Quantity(amount, amount, parameter.unit), vocabulary)}")
        if item.borderline is not None:
            parts.append(f"borderline: {number_text(item.borderline)}")
        lines.append("    - {" + ", ".join(parts) + "}")
    return "\n".join(lines) + "\n"


def number_text(number: Fraction) -> str:
    """A number as a form takes it: in decimals, or as a fraction where those do not end."""
    return terminating(number) or f"{number.numerator}/{number.denominator}"
