"""A source of the store printed back as the form it came from; values as a form writes them."""

import re
from fractions import Fraction
from typing import Any

import yaml

from trayconcord.kb.grammar import LONGEST, exact_text
from trayconcord.kb.model import Claim, Source, default_id
from trayconcord.kb.values import (
    Choice,
    Comparable,
    Interval,
    Membership,
    Nothing,
    Quantity,
    Recorded,
    Steps,
    YesNo,
    terminating,
)
from trayconcord.kb.vocabulary import Parameter, Vocabulary


class _InLine(dict[str, Any]):
    """A mapping written on one line."""


class _Row(list[Any]):
    """A list written on one line."""


class _Plain(str):
    """A scalar that is written without quotation marks."""


class _Dumper(yaml.SafeDumper):
    def ignore_aliases(self, data: Any) -> bool:
        return True


_Dumper.add_representer(
    _InLine, lambda dumper, data: dumper.represent_mapping("tag:yaml.org,2002:map", data.items(), flow_style=True)
)
_Dumper.add_representer(
    _Row, lambda dumper, data: dumper.represent_sequence("tag:yaml.org,2002:seq", data, flow_style=True)
)
_Dumper.add_representer(
    _Plain,
    lambda dumper, data: dumper.represent_scalar(
        "tag:yaml.org,2002:bool" if data in ("yes", "no") else "tag:yaml.org,2002:int", str(data)
    ),
)


def form_text(source: Source, claims: list[Claim]) -> str:
    """The form of a source, in YAML."""
    record: dict[str, Any] = {"id": source.id, "title": source.title}
    optional = {
        "authors": _Row(source.authors),
        "year": source.year,
        "kind": source.kind,
        "container": source.container,
        "doi": source.doi,
        "isbn": source.isbn,
        "language": source.language,
        "withdrawn": source.withdrawn,
        "edition-of": source.edition_of,
        "compiled-from": _Row(source.compiled_from),
        "note": source.note,
    }
    record |= {key: value for key, value in optional.items() if value}
    form = {"source": record, "claims": [_claim(claim) for claim in claims]}
    return yaml.dump(form, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=118)


def _claim(claim: Claim) -> dict[str, Any]:
    entry: dict[str, Any] = {"parameter": claim.parameter}
    if claim.when:
        entry["when"] = _InLine(claim.when)
    if claim.value is not None:
        entry["value"] = _value(claim.value, claim.printed)
    optional = {"at": claim.at, "obtained": claim.obtained, "reported-by": claim.reported_by, "note": claim.note}
    entry |= {key: value for key, value in optional.items() if value}
    if claim.id != default_id(claim.source, claim.parameter, claim.when):
        entry["id"] = claim.id
    return entry


def _value(value: Recorded, printed: str) -> Any:
    match value:
        case Quantity() | Nothing() if printed:
            return _Plain(printed) if re.fullmatch(r"0|[1-9]\d*", printed) else printed
        case Nothing():
            return "none"
        case Choice(concept):
            return concept
        case YesNo(yes):
            return _Plain("yes" if yes else "no")
        case Steps(steps):
            return _Row(steps)
        case Membership(includes, excludes, exact):
            if exact:
                return _Row(sorted(includes))
            sides = {"includes": _Row(sorted(includes)), "excludes": _Row(sorted(excludes))}
            return _InLine({side: members for side, members in sides.items() if members})
    raise TypeError(f"no form for {value!r}")


def value_form(value: Comparable, parameter: Parameter, vocabulary: Vocabulary) -> str:
    """A comparable value as a form writes it, on one line: a form that holds it gives this very value.

    Empty for what no form can hold: a quantity of very many digits, a set that says nothing.
    """

    def row(members: tuple[str, ...] | frozenset[str]) -> str:
        return f"[{', '.join(members if isinstance(members, tuple) else sorted(members))}]"

    match value:
        case Interval():
            return _quantity_form(value, parameter, vocabulary)
        case Choice(concept):
            return concept
        case YesNo(yes):
            return "yes" if yes else "no"
        case Steps(steps):
            return row(steps)
        case Membership(includes, excludes, exact):
            if exact:
                return row(includes) if includes else "none"
            if not includes | excludes:
                return ""
            sides = {"includes": includes, "excludes": excludes}
            return "{" + ", ".join(f"{side}: {row(members)}" for side, members in sides.items() if members) + "}"


def _quantity_form(value: Interval, parameter: Parameter, vocabulary: Vocabulary) -> str:
    """In the parameter's unit, or in a smaller one of its kind that writes the ends out, or at least as fractions."""
    if parameter.none_means is not None and value.low == value.high == parameter.none_means:
        return "none"
    own = vocabulary.units[parameter.unit]
    others = vocabulary.units_of(own.kind) if parameter.kind == "interval" else []
    smaller = sorted((unit for unit in others if unit.multiplier < own.multiplier), key=lambda unit: -unit.multiplier)
    fitting = []
    for unit in [own, *(unit for unit in smaller if unit.symbol)]:
        factor = own.multiplier / unit.multiplier
        low, high = (None if end is None else end * factor for end in (value.low, value.high))
        ends = [end for end in (low, high) if end is not None]
        if ends and all(_can_be_written(end) for end in ends):
            as_fraction = any(terminating(end) is None for end in ends)
            fitting.append((as_fraction, exact_text(Quantity(low, high, unit.id), vocabulary)))
    text = min(fitting, key=lambda found: found[0])[1] if fitting else ""  # 20 min, not 1/3 h
    return text if len(text) <= LONGEST else ""


def _can_be_written(number: Fraction) -> bool:
    """Whether the grammar reads the number's text: up to nine digits either side of the point, or a short fraction."""
    decimal = terminating(number)
    if decimal is not None:
        return re.fullmatch(r"-?\d{1,9}(\.\d{1,9})?", decimal) is not None
    return max(abs(number.numerator), number.denominator) < 10**7
