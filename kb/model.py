"""The records of the store: sources, claims, rulings and taught cases."""

from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from trayconcord.kb.grammar import ValueProblem
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
    decimal_text,
)
from trayconcord.kb.vocabulary import Parameter, Vocabulary

Scope = tuple[tuple[str, str], ...]
"""Conditions: (axis, concept) pairs in the vocabulary's order of axes; an axis that is missing means any."""


@dataclass(frozen=True, slots=True)
class Source:
    """The bibliographic record of a work. ``year`` is 0 where unknown; ``language`` is a BCP 47 tag.

    ``withdrawn`` says in words since when a standard or regulation is no longer in force, or what replaced it.
    """

    id: str
    title: str = ""
    authors: tuple[str, ...] = ()
    year: int = 0
    kind: str = ""
    container: str = ""
    doi: str = ""
    isbn: str = ""
    language: str = ""
    withdrawn: str = ""
    edition_of: str = ""
    compiled_from: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class Trouble:
    """Why a record of the store cannot be compared: the rule it breaks and the particulars."""

    rule: str
    message: str


class Claim(NamedTuple):
    """One statement by one source. ``value`` is None where it cannot be read; ``troubles`` then say why.

    A named tuple, since a large store makes many: a frozen dataclass takes six times as long to make.
    """

    id: str
    source: str
    parameter: str
    when: Scope = ()
    value: Recorded | None = None
    printed: str = ""
    at: str = ""
    obtained: str = ""
    reported_by: str = ""
    note: str = ""
    troubles: tuple[Trouble, ...] = ()


@dataclass(frozen=True, slots=True)
class Ruling:
    """What the course adopts for a parameter under conditions.

    ``positions_then`` holds the positions as they stood on the day, one line each; dates are ISO 8601.
    ``without_source`` is the reason for a value that no source supports. A former ruling, kept as history, has the id
    of the one that took its place, with ``#`` and the date of the decision.
    """

    id: str
    parameter: str
    when: Scope = ()
    value: Recorded | None = None
    printed: str = ""
    because: str = ""
    decided_on: str = ""
    decided_by: str = ""
    review_by: str = ""
    without_source: str = ""
    positions_then: tuple[str, ...] = ()
    troubles: tuple[Trouble, ...] = ()


@dataclass(frozen=True, slots=True)
class Case:
    """A case that a course teaches, and the parameters it wants answered for it."""

    id: str
    label: str = ""
    when: Scope = ()
    asks: tuple[str, ...] = ()
    troubles: tuple[Trouble, ...] = ()


def concepts_in(claim: Claim) -> set[str]:
    """Every concept that a claim names, in its conditions or its value."""
    named = {concept for _, concept in claim.when}
    match claim.value:
        case Choice(concept):
            named.add(concept)
        case Membership(includes, excludes, _):
            named |= includes | excludes
        case Steps(steps):
            named |= set(steps)
    return named


def subjects_of(claim: Claim) -> set[str]:
    """What a claim speaks of: the concepts that it names, and its parameter."""
    return concepts_in(claim) | {claim.parameter}


def default_id(source: str, parameter: str, when: Scope) -> str:
    """The id a claim gets when it names none: ``<source>/<parameter>[/<concept>+<concept>…]``."""
    stem = f"{source}/{parameter}"
    return f"{stem}/{'+'.join(concept for _, concept in when)}" if when else stem


def topic_id(parameter: str, when: Scope) -> str:
    """The public id of a topic, and of the ruling on it: ``<parameter>[?<axis>=<concept>&…]``."""
    return parameter + ("?" + "&".join(f"{axis}={concept}" for axis, concept in when) if when else "")


def in_order(when: dict[str, str], vocabulary: Vocabulary) -> Scope:
    """Conditions as a scope. Unknown axes come last, by name."""
    axes = vocabulary.axes
    return tuple(sorted(when.items(), key=lambda pair: (axes[pair[0]].order if pair[0] in axes else 10**6, pair[0])))


def comparable(value: Recorded, parameter: Parameter, vocabulary: Vocabulary) -> Comparable:
    """A recorded value in the parameter's unit. Raises `ValueProblem` where it is of another kind or dimension."""
    kind = parameter.kind
    match value:
        case Nothing() if kind in ("interval", "count") and parameter.none_means is not None:
            return Interval(parameter.none_means, parameter.none_means)
        case Nothing() if kind == "set":
            return Membership(frozenset(), frozenset(), True)
        case Quantity(low, high, unit_id) if kind in ("interval", "count"):
            if kind == "count" and any(end is not None and end.denominator != 1 for end in (low, high)):
                raise ValueProblem("malformed-value", f"{parameter.label} takes a whole number", "state a whole number")
            if low is not None and high is not None and low > high:
                message = f"the range runs from {decimal_text(low)} to {decimal_text(high)}"
                raise ValueProblem("inverted-range", message, "write the lower end first")
            unit, expected = vocabulary.units.get(unit_id), vocabulary.units[parameter.unit]
            if unit is None:
                raise ValueProblem("unknown-term", f"unknown unit {unit_id}", "use a unit of the vocabulary")
            if unit != expected if kind == "count" else unit.kind != expected.kind:
                raise ValueProblem(
                    "wrong-dimension",
                    f"{unit.label} does not measure {parameter.label}",
                    f"give it in {expected.symbol}",
                )
            if unit == expected:
                return Interval(low, high)
            factor = unit.multiplier / expected.multiplier
            return Interval(_times(low, factor), _times(high, factor))
        case Choice() | YesNo() | Steps() | Membership() if kind == _KIND_OF[type(value)]:
            return value
    wanted = _WANTED.get(kind, "a value")
    raise ValueProblem("malformed-value", f"{parameter.label} takes {wanted}", f"state {wanted}")


_WANTED = {
    "interval": "a quantity",
    "count": "a whole number",
    "choice": "one term of its list",
    "set": "a set of terms",
    "yes-no": "yes or no",
    "order": "steps in order",
}
_KIND_OF: dict[type, str] = {Choice: "choice", YesNo: "yes-no", Steps: "order", Membership: "set"}


def _times(end: Fraction | None, factor: Fraction) -> Fraction | None:
    return None if end is None else end * factor
