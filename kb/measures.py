"""Single measured numbers, with or without their uncertainty, read into the unit of their parameter."""

import re
from fractions import Fraction

from trayconcord.kb.grammar import ValueProblem, parse_quantity, range_text
from trayconcord.kb.model import comparable
from trayconcord.kb.values import Interval, Nothing
from trayconcord.kb.vocabulary import Parameter, Vocabulary

_PLUS_MINUS = re.compile(r"\s*(?:±|\+/-|\+-)\s*")
_BARE = re.compile(r"[-−]?\d+(?:\.\d+)?")
_PART = re.compile(r"(\d{1,7}(?:\.\d{1,9})?|\d{1,7}/\d{1,7})\s*(%|per ?cent)?")


def one_number(printed: str, parameter: Parameter, vocabulary: Vocabulary) -> Fraction:
    """A printed quantity that is one number, in the parameter's unit. Raises `ValueProblem`."""
    try:
        found = parse_quantity(printed, parameter, vocabulary)
    except ValueProblem as problem:  # a form may hold ranges and bounds, and offers them
        raise ValueProblem(problem.rule, problem.message, problem.fix.partition(", a range")[0]) from None
    value = comparable(found, parameter, vocabulary)
    assert isinstance(value, Interval)
    if value.low is None or value.low != value.high:
        raise ValueProblem("malformed-value", f'"{printed}" is a range', "write one number")
    if not isinstance(found, Nothing) and found.about:
        raise ValueProblem("malformed-value", f'"{printed}" does not say how sure it is', "write one number, with +-")
    return value.low


def measured_number(
    printed: str, parameter: Parameter, vocabulary: Vocabulary
) -> tuple[Fraction, Fraction | None, str]:
    """A measurement such as ``1.8 mm +- 0.2 mm``: the number, its uncertainty where one is stated, and the text of the
    number alone. Raises `ValueProblem`, also for what cannot be: a number outside the parameter's plausible range."""
    parts = _PLUS_MINUS.split(printed.strip())
    if len(parts) > 2:
        raise ValueProblem("malformed-value", f'"{printed}" has two uncertainties', "write it as 1.8 mm +- 0.2 mm")
    text, uncertainty = parts[0], None
    if len(parts) == 2:
        uncertainty = not_negative(parts[1], parameter, vocabulary, "uncertainty")
        if _BARE.fullmatch(text):  # 1.8 ± 0.2 mm
            text += " " + re.sub(r"^[\d./\s]+", "", parts[1])
    number = one_number(text, parameter, vocabulary)
    if parameter.plausible is not None:
        least, most = parameter.plausible
        if not least <= number <= most:
            possible = range_text(least, most, vocabulary.units[parameter.unit].symbol)
            raise ValueProblem(
                "implausible-value",
                f"{text.strip()} is impossible for {parameter.label}, which lies in {possible}",
                "look at the number and its unit again; leave it out if it was not measured",
            )
    return number, uncertainty, text.strip()


def not_negative(printed: str, parameter: Parameter, vocabulary: Vocabulary, what: str) -> Fraction:
    """A tolerance or an uncertainty, in the parameter's unit. Raises `ValueProblem`."""
    number = one_number(printed, parameter, vocabulary)
    if number < 0:
        raise ValueProblem("malformed-value", f"the {what} {printed} is negative", "write it without a sign")
    return number


def part_of_one(printed: str) -> tuple[Fraction, bool]:
    """A number such as ``1/2``, ``0.5`` or ``50 %``, and whether it was in per cent. Raises `ValueProblem`."""
    match = _PART.fullmatch(printed.strip())
    if match is None or re.fullmatch(r"\d+/0+", match[1]):
        raise ValueProblem("malformed-value", f'"{printed[:40]}" is no number', "write it as 1/2, 0.5 or 50 %")
    number = Fraction(match[1])
    return (number / 100, True) if match[2] else (number, False)
