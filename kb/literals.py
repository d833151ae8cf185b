"""Exact numbers as RDF literals: ``xsd:decimal`` where the expansion ends, ``owl:rational`` where it does not."""

from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any

from rdflib import Literal
from rdflib.namespace import OWL, XSD

from trayconcord.kb.values import terminating

LONGEST = 100
"""Characters a number in the store may have: nothing measured comes near it, and a drawing can still hold it."""


def number_literal(number: Fraction) -> Literal:
    """The literal of a number, in the canonical form of its datatype."""
    decimal = terminating(number)
    if decimal is None:
        return Literal(f"{number.numerator}/{number.denominator}", datatype=OWL.rational)
    return Literal(decimal if "." in decimal else f"{decimal}.0", datatype=XSD.decimal)


@lru_cache(maxsize=65536)
def _parse(text: str) -> Fraction:
    if "e" in text.casefold():  # rounded to binary, and a few characters could stand for a million digits
        raise ValueError(f"{text} is not an exact number: write it in decimals")
    if len(text) > LONGEST:
        raise ValueError(f"a number of {len(text)} characters")
    return Fraction(text) if "/" in text else Fraction(Decimal(text))


def number_of(literal: Any) -> Fraction:
    """The number a literal stands for. Raises ValueError for anything that is not a finite exact number."""
    try:
        return _parse(str(literal))
    except (ArithmeticError, OverflowError) as error:
        raise ValueError(f"{literal} is not a number") from error
