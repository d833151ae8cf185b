"""The one grammar of values: from what a source prints to a recorded value, and back to text.

Forms of a quantity: ``2 mm``, ``0.5-1.5 mm`` (hyphen, dashes or "to"), ``>= 2 mm``, ``at most 3 mm``, ``about 2 mm``,
``1/8 in``, ``1 1/2 in``, ``2 sheets``, ``2 sheets of 1.5 mm``, ``26 gauge AWG``, ``3:1 by volume``, ``none``.
"""

import re
from fractions import Fraction

from trayconcord.kb.values import (
    Choice,
    Membership,
    Nothing,
    Quantity,
    Recorded,
    Steps,
    YesNo,
    decimal_text,
    terminating,
)
from trayconcord.kb.vocabulary import Parameter, Unit, Vocabulary

LONGEST = 80
"""Characters a printed quantity may have; no trade value comes near it."""

_NUMBER = r"[-−]?(?:\d{1,7}\s+\d{1,4}/\d{1,4}|\d{1,7}/\d{1,7}|\d{1,9}(?:\.\d{1,9})?)"
_DASH = r"\s*(?:-|–|—|−|\bto\b)\s*"
_SINGLE = re.compile(rf"(?P<low>{_NUMBER})\s*(?P<unit>[^\d\s].*)?")
_RANGE = re.compile(
    rf"(?P<low>{_NUMBER})\s*(?P<first_unit>[^\d\s–—−-][^–—−-]*?)??{_DASH}(?P<high>{_NUMBER})\s*(?P<unit>[^\d\s].*)?"
)
_GAUGE = re.compile(rf"(\d{{1,2}})(?:{_DASH}(\d{{1,2}}))?\s*(?:gauge|ga\.?)\s*(.*)", re.IGNORECASE)
_RATIO = re.compile(rf"({_NUMBER})(?:{_DASH}({_NUMBER}))?\s*:\s*({_NUMBER})\s*(.*)")
_SHEETS_OF = re.compile(rf"({_NUMBER})\s*(?:sheets?|layers?)\s+of\s+({_NUMBER})\s*(\S+)", re.IGNORECASE)
_HEDGE = re.compile(r"(?:about|approximately|approx\.?|circa|ca\.?|~|≈)\s*(.*)", re.IGNORECASE)
_AT_LEAST = re.compile(r"(?:>=|≥|at least|not less than|minimum)\s*(.*)", re.IGNORECASE)
_AT_MOST = re.compile(r"(?:<=|≤|at most|not more than|up to|maximum)\s*(.*)", re.IGNORECASE)
_STRICT = re.compile(r"(?:[<>]|more than|less than|over|under)\s*\d", re.IGNORECASE)
_VULGAR = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅓": "1/3", "⅔": "2/3", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}


class ValueProblem(Exception):
    """A value that cannot be read: ``rule`` names the kind of mistake, ``fix`` says what to write instead."""

    def __init__(self, rule: str, message: str, fix: str) -> None:
        super().__init__(message)
        self.rule, self.message, self.fix = rule, message, fix


def parse_quantity(printed: str, parameter: Parameter, vocabulary: Vocabulary) -> Quantity | Nothing:
    """Read a quantity or count as a source prints it. Raises `ValueProblem`."""
    text = " ".join(printed.split())
    for sign, plain in _VULGAR.items():
        text = re.sub(rf"{sign}(?=\d)", f"{sign} ", text)
        text = re.sub(rf"(?<=\d){sign}", f" {plain}", text).replace(sign, plain)
    if len(text) > LONGEST:
        raise ValueProblem("malformed-value", f"a value of {len(text)} characters", "write the quantity alone")
    if text.casefold() in ("none", "nil"):
        if parameter.none_means is None:
            raise ValueProblem("malformed-value", f"{parameter.label} cannot be none", "state a quantity")
        return Nothing()
    if re.search(r"\d,\d", text):
        raise ValueProblem("malformed-value", f'"{printed}" has a comma', "write decimals with a point, as in 0.5")
    if _STRICT.match(text):
        raise ValueProblem(
            "malformed-value",
            f'"{printed}" leaves its own limit out',
            "write >= or <= (or at least, at most); the limit itself then belongs to the range",
        )
    about = False
    bound = "both"
    if match := _HEDGE.fullmatch(text):
        about, text = True, match[1]
    if match := _AT_LEAST.fullmatch(text):
        bound, text = "low", match[1]
    elif match := _AT_MOST.fullmatch(text):
        bound, text = "high", match[1]
    low, high, unit = _range(text, printed, parameter, vocabulary)
    _check_order(low, high, printed)
    if bound != "both" and low != high:
        raise ValueProblem("malformed-value", f'"{printed}" bounds a range', "give one number with at least or at most")
    quantity = Quantity(low if bound != "high" else None, high if bound != "low" else None, unit.id, about)
    if parameter.kind == "count" and any(end is not None and end.denominator != 1 for end in (low, high)):
        raise ValueProblem(
            "malformed-value", f"{parameter.label} is a count, {printed} is not whole", "write a whole number"
        )
    return quantity


def _range(text: str, printed: str, parameter: Parameter, vocabulary: Vocabulary) -> tuple[Fraction, Fraction, Unit]:
    """Both ends and the unit of a quantity without hedge or bound."""
    if match := _GAUGE.fullmatch(text):
        return _gauge(match, parameter, vocabulary)
    if match := _SHEETS_OF.fullmatch(text):
        unit = _unit(match[3], printed, parameter, vocabulary)
        total = _number(match[1]) * _number(match[2])
        return total, total, unit
    if match := _RATIO.fullmatch(text):
        first, last, per = _number(match[1]), _number(match[2] or match[1]), _number(match[3])
        if per <= 0:
            raise ValueProblem(
                "malformed-value", f'"{printed}" divides by nothing', "write a ratio such as 3:1 by volume"
            )
        if not match[4]:
            raise ValueProblem("malformed-value", f'"{printed}" does not say by what', "add by volume or by mass")
        return first / per, last / per, _unit(match[4], printed, parameter, vocabulary)
    if match := _RANGE.fullmatch(text):
        unit = _unit(match["unit"] or "", printed, parameter, vocabulary)
        if match["first_unit"] and _unit(match["first_unit"], printed, parameter, vocabulary) != unit:
            raise ValueProblem("malformed-value", f'"{printed}" has two units', "write both ends in one unit")
        return _number(match["low"]), _number(match["high"]), unit
    if match := _SINGLE.fullmatch(text):
        number = _number(match["low"])
        return number, number, _unit(match["unit"] or "", printed, parameter, vocabulary)
    example = "3" if parameter.kind == "count" else f"2 {_symbol(parameter, vocabulary)}".strip()
    raise ValueProblem(
        "malformed-value",
        f'"{printed}" cannot be read as {parameter.label}',
        f'write it like "{example}", a range, "at least …", "about …"'
        + (' or "none"' if parameter.none_means is not None else ""),
    )


def _number(text: str) -> Fraction:
    text = text.replace("−", "-")
    negative = text.startswith("-")
    total = Fraction(0)
    for part in text.lstrip("-").split():
        above, _, below = part.partition("/")
        if below and int(below) == 0:
            raise ValueProblem("malformed-value", f"{text} divides by nothing", "write a fraction such as 1/8")
        total += Fraction(above) / int(below or 1)
    return -total if negative else total


def _check_order(low: Fraction, high: Fraction, printed: str) -> None:
    if low > high:
        raise ValueProblem("inverted-range", f'"{printed}" runs from high to low', "write the lower end first")


def _gauge(match: re.Match[str], parameter: Parameter, vocabulary: Vocabulary) -> tuple[Fraction, Fraction, Unit]:
    """Gauge numbers as thickness in millimetres, by the tables of the vocabulary."""
    numbers = sorted({int(match[1]), int(match[2] or match[1])})
    systems = {
        name.casefold(): system
        for system in vocabulary.gauges.values()
        for name in (system.symbol, system.label, *system.alt)
    }
    system = systems.get(match[3].strip().casefold())
    if system is None:
        known = [
            f"{decimal_text(system.thickness[numbers[0]])} mm in {system.symbol} ({system.label})"
            for system in vocabulary.gauges.values()
            if numbers[0] in system.thickness
        ]
        raise ValueProblem(
            "malformed-value",
            f"{numbers[0]} gauge " + (f"is {' but '.join(known)}" if known else "needs its gauge system"),
            f"name the gauge system, as in {numbers[0]} gauge AWG",
        )
    missing = [number for number in numbers if number not in system.thickness]
    if missing:
        raise ValueProblem(
            "malformed-value",
            f"{missing[0]} gauge {system.symbol} is not in the table of the store",
            f"write the thickness in mm, or a gauge from {min(system.thickness)} to {max(system.thickness)}",
        )
    millimetre = vocabulary.units["MilliM"]
    _check_kind(millimetre, match[0], parameter, vocabulary)
    ends = sorted(system.thickness[number] for number in numbers)
    return ends[0], ends[-1], millimetre


def _unit(name: str, printed: str, parameter: Parameter, vocabulary: Vocabulary) -> Unit:
    name = name.strip()
    if not name:
        if parameter.kind == "count" or parameter.unit == "UNITLESS":
            return vocabulary.units["UNITLESS"]
        raise ValueProblem(
            "malformed-value",
            f'"{printed}" has no unit',
            f"write the unit, as in {printed} {_symbol(parameter, vocabulary)}",
        )
    identifier = vocabulary.unit_names.get(name) or vocabulary.unit_names.get(name.casefold())
    if identifier is None:
        raise ValueProblem(
            "malformed-value", f'"{name}" is not a known unit', f"write {_allowed(parameter, vocabulary)}"
        )
    unit = vocabulary.units[identifier]
    _check_kind(unit, printed, parameter, vocabulary)
    return unit


def _check_kind(unit: Unit, printed: str, parameter: Parameter, vocabulary: Vocabulary) -> None:
    expected = vocabulary.units[parameter.unit]
    if unit != expected if parameter.kind == "count" else unit.kind != expected.kind:
        raise ValueProblem(
            "wrong-dimension",
            f'"{printed}" is in {unit.label}, which does not measure {parameter.label}',
            f"write {_allowed(parameter, vocabulary)}",
        )


def _symbol(parameter: Parameter, vocabulary: Vocabulary) -> str:
    return vocabulary.units[parameter.unit].symbol if parameter.unit != "UNITLESS" else ""


def _allowed(parameter: Parameter, vocabulary: Vocabulary) -> str:
    if parameter.kind == "count":
        return "a whole number without a unit"
    units = vocabulary.units_of(vocabulary.units[parameter.unit].kind)
    names = [unit.symbol or "a plain number" for unit in units if unit.symbol or parameter.unit == unit.id]
    return "one of " + ", ".join(names) if len(names) > 1 else names[0]


def quantity_text(quantity: Quantity | Nothing, vocabulary: Vocabulary) -> str:
    """A recorded quantity as text, in its own unit: ``about 0.5–1.5 mm``."""
    if isinstance(quantity, Nothing):
        return "none"
    unit = vocabulary.units[quantity.unit]
    return ("about " if quantity.about else "") + range_text(quantity.low, quantity.high, unit.symbol)


def exact_text(quantity: Quantity, vocabulary: Vocabulary) -> str:
    """A recorded quantity as text from which it can be read again exactly, for claims that keep no printed text."""
    ends = [end for end in (quantity.low, quantity.high) if end is not None]
    numbers = [terminating(end) or f"{end.numerator}/{end.denominator}" for end in dict.fromkeys(ends)]
    word = "" if len(ends) == 2 else ("at most " if quantity.low is None else "at least ")
    symbol = vocabulary.units[quantity.unit].symbol if quantity.unit in vocabulary.units else quantity.unit
    after = symbol if symbol.startswith((":", "°")) or not symbol else f" {symbol}"
    return ("about " if quantity.about else "") + word + " to ".join(numbers) + after


def range_text(low: Fraction | None, high: Fraction | None, symbol: str = "") -> str:
    """A range as text: ``2 mm``, ``1–2 mm``, ``at least 2 mm``, ``at most 2 mm``."""
    after = symbol if symbol.startswith((":", "°")) or not symbol else f" {symbol}"
    if low is None or high is None:
        if low is None and high is None:
            return "any"
        word, end = ("at least", low) if low is not None else ("at most", high)
        return f"{word} {decimal_text(end or Fraction(0), 4)}{after}"
    if low == high:
        return f"{decimal_text(low, 4)}{after}"
    joint = " to " if low < 0 or high < 0 else "–"
    return f"{decimal_text(low, 4)}{joint}{decimal_text(high, 4)}{after}"


def value_text(value: Recorded, parameter: Parameter, vocabulary: Vocabulary) -> str:
    """Any recorded value as a reader sees it."""

    def labels(members: frozenset[str] | tuple[str, ...], joint: str = ", ") -> str:
        ordered = members if isinstance(members, tuple) else sorted(members, key=lambda m: vocabulary.concepts[m].order)
        return joint.join(vocabulary.concepts[member].label for member in ordered)

    match value:
        case Quantity() | Nothing():
            return quantity_text(value, vocabulary)
        case Choice(concept):
            return vocabulary.concepts[concept].label
        case YesNo(yes):
            return "yes" if yes else "no"
        case Steps(steps):
            return labels(steps, " → ")
        case Membership(includes, excludes, exact):
            if exact:
                return labels(includes) or "none"
            parts = [f"includes {labels(includes)}"] if includes else []
            parts += [f"leaves out {labels(excludes)}"] if excludes else []
            return "; ".join(parts)
